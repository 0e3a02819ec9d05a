"""``report.pdf``: the survey record to sign, send and keep."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flatscan.report.record.binding_words import binding_facts
from flatscan.report.record.evidence import evidence_pages, short_id
from flatscan.report.record.front import front_page, head_fields, site_of
from flatscan.report.record.held_against import findings_table
from flatscan.report.record.levelling import levelling_pages
from flatscan.report.record.measured import measured_pages
from flatscan.report.record.photos import photo_pages
from flatscan.report.record.pictures import fitted
from flatscan.report.record.ready import ready_table
from flatscan.report.record.setting import day_of, paper_name, set_pages
from flatscan.report.record.site_words import not_recorded, site_facts
from flatscan.report.words import field_words
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.joint_story import hand_line, joint_lines
from flatscan.report.words.map_words import map_words

if TYPE_CHECKING:
    from flatscan.report.record.site_words import Facts
    from flatscan.report.report import Report
    from flatscan.settings import Paper
    from flatscan.sources.survey.site import Site

#: Longest side and largest file of each picture: with the photographs the record stays below 5 MB.
_MAP, _AFTER, _FLOOR = (1800, 1_200_000), (2000, 700_000), (1600, 700_000)


def record_pdf(
    report: Report,
    *,
    map_png: bytes,
    after_png: bytes,
    floor_jpg: bytes,
    result_sha256: str,
    paper: Paper,
    marking_pdf: bytes = b"",
) -> bytes:
    """The survey record. Two runs on the same report agree byte for byte.

    Parameters
    ----------
    report : the whole run
    map_png, after_png, floor_jpg : the heat map, the floor before and after levelling, the floor from straight above;
        b"": there is none
    result_sha256 : SHA-256 of ``result.json``, whose record this is
    paper : A4 or US letter
    marking_pdf : the marking-out sheet on the same paper, whose pages come last, true to scale; b"": there is none
    """
    pictures = {
        "map.png": fitted(map_png, most_pixels=_MAP[0], most_bytes=_MAP[1], trim=True),
        "after.png": fitted(after_png, most_pixels=_AFTER[0], most_bytes=_AFTER[1], trim=True),
        "floor.jpg": fitted(floor_jpg, most_pixels=_FLOOR[0], most_bytes=_FLOOR[1], trim=True),
    }
    pictures = {name: data for name, data in pictures.items() if data}
    photos, photo_files = photo_pages(report)
    data = record_data(report, result_sha256, paper) | {
        "photos": photos,
        "map_alt": map_words(report),
        "sheet_pages": _pages_of(marking_pdf),
        "has": {name.partition(".")[0]: name in pictures for name in ("map.png", "after.png", "floor.jpg")},
    }
    sheet = {"marking_out.pdf": marking_pdf} if marking_pdf else {}
    return set_pages("record.typ", data, pictures | photo_files | sheet)


def _pages_of(pdf: bytes) -> int:
    if not pdf:
        return 0
    import pypdf

    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


def record_data(report: Report, result_sha256: str, paper: Paper) -> dict[str, Any]:
    """All words and figures of the record."""
    site = site_of(report)
    binding = [facts for facts in (binding_facts(report.survey),) if facts.rows]
    return {
        "paper": paper_name(paper),
        "id": short_id(result_sha256),
        "date": day_of(site.visit.date),
        "front": front_page(report),
        "ready": ready_table(report.verdict),
        "findings": findings_table(report),
        "cautions": [[caution.title, caution.text] for caution in cautions_for(report)],
        "joints": joint_lines(report),
        "by_hand": _by_hand(report),
        "facts": [{"title": facts.title, "rows": facts.rows} for facts in (*told_here(site), *binding)],
        "sounded": [*field_words.soundness_lines(report), *field_words.sound_reasons(report)[:1]],
        "unrecorded": not_recorded(site),
        "levelling": levelling_pages(report),
        "measured": measured_pages(report),
        "evidence": evidence_pages(report, result_sha256),
    }


def told_here(site: Site) -> list[Facts]:
    """The groups of which something was recorded, without what the first page has of the visit."""
    first_page = {name for name, _ in head_fields(site.visit)} | {"Address"}
    found = [
        replace(facts, rows=tuple(row for row in facts.rows if facts.title != "Visit" or row[0] not in first_page))
        for facts in site_facts(site)
    ]
    return [facts for facts in found if facts.rows]


def _by_hand(report: Report) -> list[str]:
    """What was read by hand, in counts: readings.csv and the answer's reasons have the single readings."""
    made = field_words.made_from(report)
    lines = [f"Taken: {made}"] if made else []
    return [*lines, *filter(None, [hand_line(report)])]
