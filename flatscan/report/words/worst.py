"""The worst places of the whole floor, gaps and joints together, as the terminal lists them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.report.words import joint_wording, places, story, wording
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.joint_words import judged_joints, word_rank, worst_places
from flatscan.report.words.judged_placements import judged_placements

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Point, VerdictWord
    from flatscan.report.report import Report
    from flatscan.report.words.drawn import Shown
    from flatscan.report.words.joint_words import Worst
    from flatscan.report.words.judged_placements import JudgedPlacement


@dataclass(frozen=True, slots=True)
class Place:
    """A worst place in words. ``label``: its letter or its joint, as on the map. ``kind``: what it is about.

    ``at`` is the place that ``where`` tells in words.
    """

    label: str
    kind: str
    said: str
    word: VerdictWord | None
    p_over: float | None
    where: str
    excess: float
    at: Point

    @property
    def rank(self) -> tuple[int, float, float]:
        """Worst first: the word, the chance of being over as a person tells chances, then how far over."""
        return word_rank(self.word), -round(self.p_over or 0.0, 2), -self.excess


def worst_of_all(report: Report, most: int) -> list[Place]:
    """At most ``most`` places, worst first; the worst of each kind comes before the second of any."""
    found = [_gap(one, report) for one in shown_gaps(report)]
    found += [_placement(one, report) for one in judged_placements(report) if one.verdict == "over" or one.conflict]
    found += [_joint(one) for one in _once(worst_places(judged_joints(report)))]
    found.sort(key=lambda one: one.rank)
    sure = [one for one in found if one.word == "over"] or found
    first = list({one.kind: one for one in reversed(sure)}.values())
    kept = [*first, *(one for one in found if one not in first)][:most]
    return sorted(kept, key=lambda one: one.rank)


def _once(worst: list[Worst]) -> list[Worst]:
    """No joint twice for one kind of figure, and of each joint only its worst."""
    return list({one.joint.id: one for one in reversed(worst)}.values())[::-1]


def _gap(one: Shown, report: Report) -> Place:
    said, p_over, excess = wording.gap(one.spot, one.what), None, 0.0
    if one.finding is not None:
        said += f", {story.limit_text(one.finding, report)}"
        p_over = one.finding.p_over
        excess = one.spot.gap.value / one.finding.limit_mm if one.finding.limit_mm else 0.0
    return Place(one.letter, "gap", said, one.verdict, p_over, f"at {places.point(one.spot.at)}", excess, one.spot.at)


def _placement(one: JudgedPlacement, report: Report) -> Place:
    gap, finding = one.figure.gap, one.finding
    if finding is None:
        raise ValueError("a worst place has been judged")
    said = f"{wording.size(gap)} {wording.laid(finding.edge_mm or 0.0, finding.what)}, read directly"
    said += f", {story.limit_text(finding, report)}"
    if one.conflict:
        said += "; the surface disagrees"
    excess = gap.value / finding.limit_mm if finding.limit_mm else 0.0
    where = f"at {places.point(one.figure.at)}"
    return Place(one.number, "straightedge", said, finding.verdict, finding.p_over, where, excess, one.figure.at)


def _joint(one: Worst) -> Place:
    if one.value is None or one.limit_mm is None or one.station is None:
        raise ValueError("a worst place has been measured and judged")
    said = f"{joint_wording.value(one.what, one.value)}, limit {wording.length(one.limit_mm)}"
    excess = one.value.value / one.limit_mm if one.limit_mm else 0.0
    return Place(one.joint.id, one.what, said, one.word, one.p_over, joint_wording.where(one), excess, one.station.at)
