"""The page's section on joints and lips, as words for the template."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.page.moving import spot
from flatscan.report.words import joint_story, joint_wording, wording
from flatscan.report.words.joint_words import judged_joints, worst_places

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.report.words.joint_words import Worst

#: More rows than this and nobody reads them; joints.csv holds all.
_MOST_ROWS = 20


def joint_words(report: Report) -> dict[str, Any] | None:
    """What the section says; None where joints were not looked for and nothing was read by hand."""
    joints, hand = report.measurement.joints, report.measurement.hand
    if joints is None and not hand:
        return None
    worst = worst_places(judged_joints(report))
    return {
        "lines": joint_story.joint_lines(report),
        "notes": [] if joints is None else list(dict.fromkeys(_notes(report))),
        "rows": [_row(one) for one in worst[:_MOST_ROWS]],
        "more": joint_story.more_joints_line(min(_MOST_ROWS, len(worst)), len(worst)),
        "refused": [] if joints is None else joint_wording.refused_lines(joints.joints),
        "hand": [joint_wording.hand_line(held, _source(report)) for held in hand],
    }


def _source(report: Report) -> str:
    return "surface" if report.surface.kind == "readings" else "capture"


def _notes(report: Report) -> list[str]:
    joints = report.measurement.joints
    picture = [] if report.picture is None else list(report.picture.inferences)
    if joints is None:
        return picture
    return [*([joints.network.how] if joints.network.pieces else []), *joints.notes, *picture]


def _row(one: Worst) -> dict[str, Any]:
    return {
        "id": one.joint.id,
        "verdict": one.word,
        "what": joint_wording.KIND_TEXT[one.what],
        "value": "" if one.value is None else wording.size(one.value),
        "limit": "" if one.limit_mm is None else wording.length(one.limit_mm),
        "chance": wording.chance(one.p_over),
        "place": joint_wording.where(one),
        "spot": "" if one.station is None else spot(one.station.at, one.joint.id),
    }
