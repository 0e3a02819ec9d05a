"""``report.html``: the whole result on one page that works offline, on a phone and on paper."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan import said
from flatscan.report import caption, field_words, joint_wording, places, plain_text, story, traced, wording
from flatscan.report.cautions import cautions_for
from flatscan.report.doubts import doubts_of
from flatscan.report.drawn import shown_gaps
from flatscan.report.joint_words import judged_joints, labelled
from flatscan.report.page_field import field_page
from flatscan.report.page_joints import joint_words
from flatscan.report.page_levelling import levelling_page
from flatscan.report.page_pictures import as_letters
from flatscan.report.page_site import site_page, site_pictures
from flatscan.report.page_viewer import hash_source, spot, viewer_of
from flatscan.report.result import versions
from flatscan.report.told_files import told_names, told_settings

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from flatscan.judgement.verdict import Finding, VerdictWord
    from flatscan.measures.measurement import FNumbers
    from flatscan.quantity import Quantity
    from flatscan.report.drawn import Shown
    from flatscan.report.report import Report
    from flatscan.surface.surface import Surface

Pairs = list[tuple[str, str]]
#: A part of an uncertainty smaller than this share of the whole changes it by less than 1 in 1000.
_LEAST_SHARE = 0.04
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
        picture_alt=_alt(report),
        verdict=_verdict,
        **_words(report),
    )
    return plain_text.printable_lines(filled)


def _words(report: Report) -> dict[str, Any]:
    shown, findings = shown_gaps(report), _listed(report.verdict.findings)
    return {
        "answer": report.verdict.answer,
        "steps": _steps(story.next_steps(report)),
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
        "more_findings": _more_findings(findings, report.verdict.findings),
        "decision_rule": _decision_rule(report),
        "limits": caption.limit_lines(report),
        "levelling": levelling_page(
            report.plan,
            report.verdict.answer.code,
            by_hand=field_words.by_hand(report.surface),
        ),
        "how": _how(report),
        "doubts": doubts_of(report),
        "inputs": list(zip(told_names(report.inputs), report.inputs, strict=True)),
        "record": [
            ("Made with", ", ".join(f"{name} {version}" for name, version in versions().items())),
            ("Time taken", ", ".join(f"{stage} {seconds:.1f} s" for stage, seconds in report.seconds)),
        ],
        "settings": list(_flat(msgspec.to_builtins(told_settings(report.settings)))),
    }


def _steps(steps: Sequence[str]) -> list[dict[str, Any]]:
    """In their order; more than a few hand readings in a row are one step that unfolds."""
    by_hand = [step.removeprefix(story.READ_BY_HAND) for step in steps if step.startswith(story.READ_BY_HAND)]
    if len(by_hand) <= _MOST_READINGS:
        return [{"text": step, "places": []} for step in steps]
    first = next(n for n, step in enumerate(steps) if step.startswith(story.READ_BY_HAND))
    told = {"text": f"Read by hand at {len(by_hand)} places, those that decide most first", "places": by_hand}
    return [
        told if n == first else {"text": step, "places": []}
        for n, step in enumerate(steps)
        if n == first or not step.startswith(story.READ_BY_HAND)
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
    parts = sorted((part for part in gap.budget if part[1] >= _LEAST_SHARE * gap.u), key=lambda part: -part[1])
    told = ", ".join(f"{name.replace('_', ' ')} {wording.plus_minus(u, gap.unit)}" for name, u in parts)
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
    return finding.joint or finding.placement or wording.kind(finding.what)


def _listed(findings: Sequence[Finding]) -> list[Finding]:
    """Of joints and straightedge readings only the worst for each limit: their own tables have the rest."""
    worst = {(f.limit_id, f.placement is None): f for f in reversed(findings) if _in_own_table(f)}
    return [f for f in findings if not _in_own_table(f) or f is worst[f.limit_id, f.placement is None]]


def _in_own_table(finding: Finding) -> bool:
    return finding.joint is not None or finding.placement is not None


def _more_findings(listed: Sequence[Finding], found: Sequence[Finding]) -> str:
    left = [f for f in found if f not in listed]
    kinds = ["joints and lips"] if any(f.joint is not None for f in left) else []
    kinds += ["single straightedge readings"] if any(f.placement is not None for f in left) else []
    return f"Of {' and '.join(kinds)} the worst for each limit; all are in findings.csv." if kinds else ""


def _decision_rule(report: Report) -> str:
    confidence = report.settings.judge.confidence
    return (
        f"Over or within is said where the chance of it is at least {wording.share(confidence)}, else not decided "
        "(JCGM 106). ± is the expanded uncertainty, k = 2 (about 95 %)."
    )


def _how(report: Report) -> Pairs:
    lines = [
        _capture(report),
        ("Flatness", story.flatness_line(report)),
        ("Slope", story.slope_line(report) or _no_slope(report.surface)),
        *(_f_number_lines(report.measurement.f_numbers) if report.measurement.f_numbers else []),
        ("Doubt of one height", _noise(report.surface)),
        ("Noise floor", caption.noise_floor_line(report) or _no_noise_floor(report.surface)),
        *(("Taken as read", text) for text in report.surface.inferences),
    ]
    return [(name, text) for name, text in lines if text]


def _capture(report: Report) -> tuple[str, str]:
    name, _, told = caption.capture_line(report).partition(": ")
    return (name, told) if told and name == "Capture" else ("Readings", caption.capture_line(report))


def _no_slope(surface: Surface) -> str:
    if field_words.by_hand(surface):
        return "not given: it takes level readings against true gravity"
    return "not given: the capture does not know which way gravity points"


def _no_noise_floor(surface: Surface) -> str:
    return "not simulated" if surface.realisations_mm is None else ""


def _noise(surface: Surface) -> str:
    noise, drawn = surface.noise, surface.realisations_mm
    if drawn is not None:
        typical = wording.plus_minus(field_words.height_u_mm(surface), "mm")
        return f"{typical} over the floor, from {len(drawn)} floors that agree with the readings; {noise.how}"
    return (
        f"{said.thickness(noise.white_mm, 2)} that differs from cell to cell, "
        f"{said.thickness(noise.correlated_mm, 2)} that hangs together "
        f"over {wording.cell(noise.length_mm)}, {said.thickness(noise.systematic_mm, 2)} of slow bends (one standard "
        f"uncertainty each); {noise.how}"
    )


def _f_number_lines(f: FNumbers) -> Pairs:
    found = [f"{name} {_said(q)}" for name, q in (("FF", f.ff), ("FL", f.fl)) if q is not None]
    return [("F-numbers", "; ".join([*found, *f.notes]))]


def _said(q: Quantity | None) -> str:
    return "" if q is None else wording.quantity(q)


def _alt(report: Report) -> str:
    lines = [
        f"{one.letter}: {wording.gap(one.spot, one.what)}, "
        f"{wording.VERDICT_TEXT[one.verdict] if one.verdict else 'no limit'}"
        for one in shown_gaps(report)
    ]
    lines += [
        f"{one.joint.id}: {joint_wording.value(one.what, one.value)}, {wording.VERDICT_TEXT[one.word]}"
        for one in labelled(judged_joints(report))
        if one.value is not None and one.word is not None
    ]
    return "Map of the floor's heights with the worst gaps. " + "; ".join(lines)


def _flat(settings: Any, name: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(settings, dict):
        for key, value in settings.items():
            yield from _flat(value, f"{name}.{key}" if name else key)
    elif isinstance(settings, list):
        yield name, ", ".join(str(item) for item in settings)
    else:
        yield name, "not set" if settings is None else str(settings)


def _text_of(name: str) -> str:
    return (resources.files("flatscan.report") / name).read_text(encoding="utf-8")
