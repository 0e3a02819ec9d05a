"""``report.html``: the whole result on one page that works offline, on a phone and on paper."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan.report.page.field import field_page
from flatscan.report.page.joints import joint_words
from flatscan.report.page.levelling import levelling_page
from flatscan.report.page.moving import hash_source, spot, viewer_of
from flatscan.report.page.pictures import as_letters
from flatscan.report.page.site import site_page, site_pictures
from flatscan.report.result.result import versions
from flatscan.report.words import caption, field_words, joint_wording, places, plain_text, story, traced, wording
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.doubts import doubts_of
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.how_measured import budget_parts, how_measured
from flatscan.report.words.map_words import map_words
from flatscan.report.words.told_files import told_names, told_settings
from flatscan.report.words.told_findings import decision_rule, listed_findings, more_findings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.judgement.verdict import Finding, VerdictWord
    from flatscan.report.report import Report
    from flatscan.report.words.drawn import Shown
    from flatscan.surface.surface import Surface

_MOST_HUMPS = 5
#: More hand readings than these fold into one step.
_MOST_READINGS = 3
#: The words of a page with long tables.
_WORDS_LETTERS = 200_000


def page_html(report: Report, picture_png: bytes, floor_jpg: bytes = b"", after_png: bytes = b"") -> str:
    """Fill the page; every text is escaped, nothing on it is fetched, and only its own script is run.

    ``floor_jpg``: the floor from straight above; ``after_png``: the floor before and after levelling; empty: there is
    none.
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    viewer = viewer_of(report)
    style = _text_of("page.css") + viewer.style
    pictures = as_letters(
        {"map": picture_png, "floor": floor_jpg, "after": after_png, "above": viewer.photo} | site_pictures(report),
        len(viewer.data) + len(viewer.script) + len(style) + _WORDS_LETTERS,
    )
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    page = environment.from_string(_text_of("page.html"))
    filled = page.render(
        # Style, script and data are ours or made to stand there; escaping would break them.
        style=Markup(style),  # noqa: S704
        style_hash=Markup(hash_source(style)),  # noqa: S704
        script=Markup(viewer.script),  # noqa: S704
        script_hash=Markup(hash_source(viewer.script)),  # noqa: S704
        viewer=Markup(viewer.html),  # noqa: S704
        data=Markup(viewer.data),  # noqa: S704
        looks=Markup(viewer.looks),  # noqa: S704
        pictures=pictures,
        picture_alt=map_words(report),
        verdict=_verdict,
        **_words(report),
    )
    return plain_text.printable_lines(filled)


def _words(report: Report) -> dict[str, Any]:
    shown, findings = shown_gaps(report), listed_findings(report.verdict.findings)
    return {
        "answer": report.verdict.answer,
        "steps": _steps(report),
        "frame": places.FRAME_TEXT,
        "cautions": cautions_for(report),
        "gaps": [_gap(one, report.surface) for one in shown],
        "site": site_page(report),
        "field": field_page(report),
        "budget": _budget(shown),
        "humps": [
            f"{wording.size(h.clearance)} {wording.under_edge(h.edge_mm)}, {places.point(h.at)}"
            for h in report.measurement.humps[:_MOST_HUMPS]
        ],
        "joints": joint_words(report),
        "findings": [_finding(finding) for finding in findings],
        "more_findings": more_findings(findings, report.verdict.findings),
        "decision_rule": decision_rule(report),
        "limits": caption.limit_lines(report),
        "levelling": levelling_page(
            report.plan,
            report.verdict.answer.code,
            by_hand=field_words.by_hand(report.surface),
            findings=report.verdict.findings,
        ),
        "how": how_measured(report),
        "doubts": doubts_of(report),
        "inputs": list(zip(told_names(report.inputs), report.inputs, strict=True)),
        "record": [
            ("Made with", ", ".join(f"{name} {version}" for name, version in versions().items())),
            ("Time taken", ", ".join(f"{stage} {seconds:.1f} s" for stage, seconds in report.seconds)),
        ],
        "settings": list(_flat(msgspec.to_builtins(told_settings(report.settings)))),
    }


def _steps(report: Report) -> list[dict[str, Any]]:
    """In their order; more than a few hand readings in a row are one step that unfolds. Each knows its place."""
    steps = story.next_steps(report)
    spots = {story.reading(one): spot(one.at, "read here") for one in report.verdict.next_readings}
    by_hand = [step for step in steps if step.startswith(story.READ_BY_HAND)]
    folds = len(by_hand) > _MOST_READINGS
    places = [{"text": step.removeprefix(story.READ_BY_HAND), "spot": spots.get(step, "")} for step in by_hand]
    told = {
        "text": f"Read by hand at {len(by_hand)} places, those that decide most first",
        "places": places,
        "spot": "",
    }
    return [
        told if folds and step == by_hand[0] else {"text": step, "places": [], "spot": spots.get(step, "")}
        for step in steps
        if not folds or step == by_hand[0] or step not in by_hand
    ]


def _verdict(word: VerdictWord | None) -> Any:
    """Shape, word and colour together."""
    from markupsafe import Markup

    if word is None:
        return "no limit"
    return Markup('<span class="verdict {}"><span aria-hidden="true">{}</span> {}</span>').format(
        word, wording.VERDICT_SHAPE[word], wording.VERDICT_TEXT[word]
    )


def _gap(one: Shown, surface: Surface) -> dict[str, Any]:
    return {
        "letter": one.letter,
        "verdict": one.verdict,
        "gap": wording.gap(one.spot, one.what),
        "span": wording.reach(round(one.spot.span_mm, -1)),
        "place": places.point(one.spot.at),
        "readings": traced.told(traced.from_readings(one.spot, surface)),
        "spot": spot(one.spot.at, one.letter, one.spot.contacts, one.spot.edge_mm),
    }


def _budget(shown: tuple[Shown, ...]) -> str:
    """What the ± of the first gap is made of, the largest part first: what to improve."""
    if not shown or not shown[0].spot.gap.budget:
        return ""
    gap = shown[0].spot.gap
    told = ", ".join(f"{name} {wording.plus_minus(u, gap.unit)}" for name, u in budget_parts(gap))
    return f"The ± of {shown[0].letter} is made of: {told} (each k = 2, added as squares)."


def _finding(finding: Finding) -> dict[str, Any]:
    of = f" of {finding.joint}" if finding.joint else ""
    value = finding.value
    if value is not None and finding.what == "lip":
        value = joint_wording.unsigned(value)
    return {
        "verdict": finding.verdict,
        "what": f"{wording.kind(finding.what)}{of}",
        "value": "" if value is None else wording.size(value),
        "limit": wording.length(finding.limit_mm),
        "chance": wording.chance(finding.p_over),
        "limit_id": story.limit_set(finding),
        "where": finding.where,
        "spot": spot(finding.at, _short(finding), finding.contacts, finding.edge_mm),
    }


def _short(finding: Finding) -> str:
    """What the map calls the place of a finding."""
    if finding.verdict == "not_seen":
        return wording.VERDICT_TEXT["not_seen"]
    return finding.joint or finding.placement or wording.kind(finding.what)


def _flat(settings: Any, name: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(settings, dict):
        for key, value in settings.items():
            yield from _flat(value, f"{name}.{key}" if name else key)
    elif isinstance(settings, list):
        yield name, ", ".join(str(item) for item in settings)
    else:
        yield name, "not set" if settings is None else str(settings)


def _text_of(name: str) -> str:
    return (resources.files("flatscan.report.page") / name).read_text(encoding="utf-8")
