"""The result folder: written aside, then renamed into place, so that it is whole or not there."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from flatscan import new_folder
from flatscan.report.result.result import json_of, result_of
from flatscan.said import speaking
from flatscan.sources.hand.typed import is_typed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from flatscan.report.report import Report

#: Every name a result folder may hold, as they are told to people. A folder with anything else in it is not replaced,
#: even with --force.
FILE_NAMES = (
    "result.json", "heatmap.png", "report.html", "gaps.csv", "findings.csv", "areas.csv", "height.tif", "height.json",
    "joints.csv", "stations.csv", "readings.csv", "next_readings.csv", "floor.jpg", "methods.csv", "after.png",
    "marking_out.pdf", "marking_out.csv", "plan.dxf", "joint_work.csv", "floor.npz", "report.pdf",
    "notice_of_concern.pdf",
)  # fmt: skip
_PART_OF = "a result"
#: A result's readings.csv has no value to fill in; one that has is a person's own table.
_TYPED_INTO = frozenset({"readings.csv", "next_readings.csv"})


def refuse_existing(folder: Path, *, force: bool) -> None:
    """Raise OutputError where ``write_report`` would: before the long work, not after it."""
    new_folder.refuse_existing(
        folder, may_hold=FILE_NAMES, part_of=_PART_OF, force=force, written_by_hand=_written_by_hand
    )


def write_report(report: Report, out: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the result folder and return its files.

    Parameters
    ----------
    report : the whole run
    out : the folder to make, in one that is there
    force : replace a result folder of that name; the old one is there until the new one is whole

    Raises
    ------
    OutputError
        where the folder exists (and may not be replaced) or cannot be written
    """

    def write(folder: Path) -> None:
        with speaking(report.settings.units):
            _write_files(report, folder)

    return new_folder.write_folder(
        out, write, may_hold=FILE_NAMES, part_of=_PART_OF, force=force, written_by_hand=_written_by_hand
    )


def _written_by_hand(path: Path) -> bool:
    """A sheet of next readings with values in it, or a table of one's own by a name that results use too."""
    return path.name in _TYPED_INTO and is_typed(path)


def as_json(report: Report) -> str:
    """What ``result.json`` holds."""
    return json_of(result_of(report)).decode().rstrip("\n")


def as_words(report: Report, written: Sequence[Path] = (), *, full: bool = False) -> str:
    """One screen, or the ``full`` text, as fits standard output: coloured on a terminal, ASCII where it must be."""
    import sys

    from flatscan.report.terminal.full import full_text
    from flatscan.report.terminal.lines import wants_ascii, wants_colour, width_of
    from flatscan.report.terminal.screen import summary

    stream, words = sys.stdout, full_text if full else summary
    with speaking(report.settings.units):
        return words(
            report,
            colour=wants_colour(stream),
            width=width_of(stream),
            ascii_text=wants_ascii(stream),
            files=written,
        )


def _write_files(report: Report, folder: Path) -> None:
    from flatscan.comparing.kept import kept_of
    from flatscan.report.heights import write_heights
    from flatscan.report.page.page import page_html
    from flatscan.report.picture.floor_photo import floor_jpg
    from flatscan.report.picture.heatmap import heatmap_png
    from flatscan.report.plan_files import write_plan_files
    from flatscan.report.record.letter_pdf import concern_letter_pdf
    from flatscan.report.record.record_pdf import record_pdf
    from flatscan.report.saved_basis import FILE_NAME, basis_bytes
    from flatscan.report.tables.joints import joints_csv, stations_csv
    from flatscan.report.tables.next_readings import readings_csv
    from flatscan.report.tables.readings import field_csv, has_readings
    from flatscan.report.tables.tables import findings_csv, gaps_csv
    from flatscan.report.words.cautions import cautions_for
    from flatscan.report.words.joint_words import judged_joints

    result = json_of(result_of(report))
    (folder / "result.json").write_bytes(result)
    tables: dict[str, Callable[[Report], str]] = {"gaps": gaps_csv, "findings": findings_csv}
    if report.measurement.joints is not None and report.measurement.joints.joints:
        tables |= {"joints": joints_csv, "stations": stations_csv}
    if has_readings(report):
        tables["readings"] = field_csv
    if any(reading.kind is not None for reading in report.verdict.next_readings):
        tables["next_readings"] = lambda report: readings_csv(report.verdict)
    for name, table in tables.items():
        (folder / f"{name}.csv").write_text(table(report), encoding="utf-8", newline="")
    write_heights(report.surface, folder / "height.tif")
    picture = heatmap_png(report)
    (folder / "heatmap.png").write_bytes(picture)
    seen_from_above = b""
    if report.picture is not None:
        seen_from_above = floor_jpg(report.picture, report.surface, judged_joints(report))
        (folder / "floor.jpg").write_bytes(seen_from_above)
    after = write_plan_files(
        report.plan,
        report.surface,
        folder,
        survey=report.survey,
        doors_mm=report.settings.place.doors_mm,
        cautions=cautions_for(report),
        paper=report.settings.level.paper,
    )
    if report.basis is not None:
        kept = kept_of(report.plan, report.measurement, report.surface.cell_mm)
        (folder / FILE_NAME).write_bytes(basis_bytes(report.basis, kept))
    page = page_html(report, picture, seen_from_above, after)
    (folder / "report.html").write_text(page, encoding="utf-8", newline="\n")
    digest = hashlib.sha256(result).hexdigest()
    paper = report.settings.level.paper
    sheet = folder / "marking_out.pdf"
    record = record_pdf(
        report,
        map_png=picture,
        after_png=after,
        floor_jpg=seen_from_above,
        result_sha256=digest,
        paper=paper,
        marking_pdf=sheet.read_bytes() if sheet.exists() else b"",
    )
    (folder / "report.pdf").write_bytes(record)
    letter = concern_letter_pdf(report, result_sha256=digest, paper=paper)
    if letter is not None:
        (folder / "notice_of_concern.pdf").write_bytes(letter)
