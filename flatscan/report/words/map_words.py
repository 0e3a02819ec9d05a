"""The heat map in words, for those who cannot see it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.words import joint_wording, wording
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.joint_words import judged_joints, labelled

if TYPE_CHECKING:
    from flatscan.report.report import Report


def map_words(report: Report) -> str:
    """What the map shows: the worst gaps by their letters, then the joints that are named on it."""
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
