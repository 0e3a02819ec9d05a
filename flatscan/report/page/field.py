"""The page's sections on readings taken by hand, as words for the template."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.page.moving import spot
from flatscan.report.words import field_words, places, wording
from flatscan.report.words.judged_placements import judged_placements

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.report.words.judged_placements import JudgedPlacement

#: More rows than this and nobody reads them; readings.csv holds all.
_MOST_ROWS = 60


def field_page(report: Report) -> dict[str, Any]:
    """What the sections say; a section without words is not shown."""
    judged = sorted(judged_placements(report), key=lambda one: one.rank)
    more = len(judged) - _MOST_ROWS
    return {
        "rows": [_row(one, report) for one in judged[:_MOST_ROWS]],
        "more": f"Listed are the worst {_MOST_ROWS} of {len(judged)}; readings.csv has all." if more > 0 else "",
        "corrected": field_words.systematic_line(report),
        "blind": field_words.blind_lines(report),
        "sound": field_words.soundness_lines(report),
        "rule": [] if report.field is None else field_words.sound_reasons(report)[:1] * bool(report.field.soundings),
        "left_out": field_words.left_out_lines(report),
    }


def _no_verdict(one: JudgedPlacement, report: Report) -> str:
    """Why there is no word for it."""
    edges = [rule.edge_mm for limits in report.limits for rule in limits.limits if rule.what == "gap" and rule.edge_mm]
    return "bar too short to say within" if one.tells_gap and edges and one.figure.edge_mm < max(edges) else "no limit"


def _row(one: JudgedPlacement, report: Report) -> dict[str, Any]:
    figure, finding = one.figure, one.finding
    parts = [wording.size(figure.gap)] if one.tells_gap else []
    parts += [f"hump {wording.size(figure.hump)}"] if figure.hump is not None else []
    return {
        "number": one.number,
        "verdict": one.verdict,
        "why": _no_verdict(one, report),
        "gap": "; ".join(parts),
        "limit": "" if finding is None else wording.length(finding.limit_mm),
        "surface": "" if figure.surface is None else wording.size(figure.surface),
        "apart": wording.reach(round(figure.span_mm, -1)) if figure.span_mm else "",
        "place": places.point(figure.at) + ("; the surface disagrees: read it again" if one.conflict else ""),
        "spot": spot(figure.at, one.number, figure.contacts, figure.edge_mm),
    }
