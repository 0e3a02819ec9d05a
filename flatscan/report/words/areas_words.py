"""Why the areas that are drawn take less than the whole way of levelling."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.picture.marks import grinds
from flatscan.report.words import levelling_words, wording

if TYPE_CHECKING:
    from flatscan.levelling.plan import LevellingPlan

#: Litres that differ by no more than this share are taken as the same.
_LEAST_APART = 0.1


def areas_line(plan: LevellingPlan, *, by_hand: bool) -> str:
    """Why the areas that are drawn take less than the way as a whole; "" where they differ by a tenth at most."""
    chosen = levelling_words.chosen_of(plan)
    filled = [area.volume_l.value for area in plan.areas if not grinds(area)]
    if chosen is None or not filled or not levelling_words.takes_known(chosen):
        return ""
    drawn, whole = sum(filled), chosen.volume_p_l[1]
    if whole - drawn <= _LEAST_APART * whole:
        return ""
    rest = _beside_areas(plan, whole - drawn, by_hand=by_hand)
    total = wording.spread(whole, chosen.volume_p_l[::2], "litres").partition(" (")[0]
    return f"The areas drawn take {said.volume(drawn)} on the floor as best known; the rest of the {total} is {rest}"


def _beside_areas(plan: LevellingPlan, left_l: float, *, by_hand: bool) -> str:
    """What the litres beside the areas are for."""
    missed = 0.0 if plan.scattered_l is None else plan.scattered_l.value
    work = plan.joint_work
    joints = 0.0 if work is None else sum(fill.volume.value for fill in work.fills if fill.word == "over")
    source = "readings" if by_hand else "capture"
    parts = (
        ("the holes of tiles that come out", left_l - missed - joints),
        ("joints to fill", joints),
        (f"dips that the {source} may have missed: keep it for where the straightedge shows them", missed),
    )
    told = [name for name, part in parts if part > _LEAST_APART * left_l]
    return f"for {' and '.join(told)}"
