"""What a comparison says to people, in plain sentences without their last stop."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.comparing.comparison import AreaNow, Change, GapNow, OpenSpot
    from flatscan.judgement.verdict import VerdictWord
    from flatscan.quantity import Quantity
    from flatscan.report.comparison.run import ComparisonRun

_SAID: dict[VerdictWord, tuple[str, str]] = {
    "within": ("now passes", "now pass"),
    "over": ("is still over", "are still over"),
    "not_decided": ("is not decided", "are not decided"),
    "not_seen": ("was not seen", "were not seen"),
}
_ORDER: tuple[VerdictWord, ...] = ("within", "over", "not_decided", "not_seen")
_KIND = {"gap": "gap", "lip": "lip", "joint_width": "joint width", "joint_depth": "joint depth"}
_MOST_CHANGES = 3
NOTHING_OPEN = "No place is over its limit, and none is undecided"


def headline(run: ComparisonRun) -> str:
    """The answer in one sentence.

    It is about the planned areas; where none was planned, about what changed.
    """
    areas = run.found.areas
    if not areas:
        changed = len(run.found.difference.changes)
        if not changed:
            return "No work was planned, and nothing has certainly changed."
        return f"No work was planned, and {_count(changed, 'place has', 'places have')} changed."
    words = [area.verdict for area in areas]
    if len(areas) == 1:
        return f"The planned area {_SAID[words[0]][0]}."
    if set(words) == {"within"}:
        return f"All {len(areas)} planned areas now pass."
    parts = [f"{n} {_SAID[word][n > 1]}" for word in _ORDER if (n := words.count(word))]
    first = "" if "within" in words else "none passes yet: "
    return f"Of {len(areas)} planned areas {first}{', '.join(parts)}."


def floor_line(run: ComparisonRun) -> str:
    """What the result after says of the whole floor."""
    return f"The whole floor, by the result after the work: {run.after.answer_text.rstrip('.')}"


def volume_lines(run: ComparisonRun) -> list[str]:
    """Placed against planned; areas that are thicker than planned."""
    found = run.found
    lines = []
    if found.datum.kind == "shape_only":
        lines.append(
            f"How much was placed is not known from two captures of the floor alone: {found.datum.why}. Only the "
            "change of shape is shown"
        )
    elif found.placed_l is not None and found.planned_l is not None:
        planned = wording.litres(found.planned_l)
        lines.append(f"{amount(found.placed_l)} placed in the areas to fill; {planned} planned")
        unseen = [area for area in found.areas if not area.planned.grinds and area.placed_l is None]
        if unseen:
            lines.append(f"{_names(unseen)} not counted: too little of it was seen twice")
    for area in found.areas:
        if area.too_thick and area.thickest is not None:
            thick = wording.quantity(area.thickest)
            lines.append(
                f"Area {area.planned.number} is thicker than planned: {thick}, at most "
                f"{said.thickness(area.planned.max_mm)} was planned"
            )
    return lines


def change_lines(run: ComparisonRun) -> list[str]:
    """What changed beyond noise, and how small a change would show."""
    difference = run.found.difference
    least = said.thickness(difference.least_mm)
    if run.found.alignment.exact:
        return ["Both folders hold the same measurement, so nothing differs"]
    if not difference.changes:
        return [f"No difference is more than the noise of the two captures, which hides changes below {least}"]
    lines = []
    for planned, where in ((True, "in the planned areas"), (False, "where no work was planned")):
        some = [change for change in difference.changes if change.planned == planned]
        if some:
            more = f", the {_MOST_CHANGES} largest" if len(some) > _MOST_CHANGES else ""
            told = "; ".join(_change(change) for change in some[:_MOST_CHANGES])
            lines.append(f"{_count(len(some), 'place has', 'places have')} certainly changed {where}{more}: {told}")
    lines.append(f"Changes below {least} over a hand's breadth are not told from noise")
    return lines


def _change(change: Change) -> str:
    sign = "up" if change.rise.value > 0 else "down"
    size = wording.quantity(_positive(change.rise))
    return f"{said.area(change.area_m2)} {sign} by {size} on average, most at {places.point(change.at)}"


def how_lines(run: ComparisonRun) -> list[str]:
    """How the maps and the heights were brought together, and by which limits it is judged."""
    found = run.found
    lines = []
    if not found.alignment.exact:
        turn = found.alignment.pose.turned_deg
        turned = "not turned" if turn == 0 else f"turned by {turn} degrees, anticlockwise,"
        sigma = wording.plus_minus(found.alignment.sigma_mm, "mm")
        lines.append(f"The map after lies {turned} on the map before; a place is known to {sigma}")
    datum = found.datum
    if datum.kind != "shape_only":
        sure = "" if found.alignment.exact else f" ({wording.plus_minus(datum.u_mm, 'mm')})"
        lines.append(f"{datum.why[0].upper()}{datum.why[1:]}{sure}, taken as unchanged")
    if not found.same_limits:
        before, after = (_limits(one.gap_limits) for one in (run.before, run.after))
        lines.append(f"The limits differ: before {before}, after {after}. What passes is judged by those after")
    return lines


def untold_lines(run: ComparisonRun) -> list[str]:
    """What the result after the work cannot tell of the whole floor."""
    return [f"Not told: {text}" for text in run.found.untold]


def open_line(spot: OpenSpot) -> str:
    """One place that is still open, its value, where it is, and what it was."""
    return "; ".join(part for part in (*open_parts(spot), where(spot)) if part)


def open_parts(spot: OpenSpot) -> tuple[str, str]:
    """What it is, and what it was before."""
    edge = f" {wording.under_edge(spot.edge_mm)}" if spot.what == "gap" and spot.edge_mm is not None else ""
    of = f" of {spot.joint}" if spot.joint else ""
    size = f"{_KIND.get(spot.what, spot.what)}{of} {wording.size(spot.value)}{edge}"
    return f"{size}, limit {said.length(spot.limit_mm)}", history(spot)


def where(spot: OpenSpot) -> str:
    """Two tapes, and the planned area."""
    area = f" (area {spot.area})" if spot.area is not None else ""
    return f"{places.point(spot.at)}{area}"


def history(spot: OpenSpot) -> str:
    """Whether it was so before."""
    if spot.before is None:
        return ""
    was = wording.size(spot.before)
    return {
        "new": f"new, it was {was}" if spot.verdict == "over" else f"it was {was}, within then",
        "still": f"it was {was}",
        "unsure": f"it was {was}, not decided then",
        "not_measured": "",
    }[spot.history]


def next_steps(run: ComparisonRun) -> list[str]:
    """What to do now, first things first."""
    spots, areas = run.found.open_spots, run.found.areas
    steps = []
    over = [spot for spot in spots if spot.verdict == "over"]
    doubt = [spot for spot in spots if spot.verdict == "not_decided"]
    if over:
        gaps = [spot for spot in over if spot.what == "gap"]
        if gaps:
            steps.append(f"Level again {_at(gaps, over)}. The plan for it is in the result after the work")
        if len(gaps) < len(over):
            steps.append("Fill the joints and take down the lips that are still over")
        fresh = [spot for spot in over if spot.history == "new"]
        if fresh:
            steps.append(
                f"Look at {_count(len(fresh), 'place that was', 'places that were')} within before the work: the edge "
                "of a fill may stand too high there"
            )
    if doubt:
        steps.append(
            f"Lay the straightedge by hand at {_count(len(doubt), 'place', 'places')} that the capture cannot decide"
        )
    hidden = [area for area in areas if area.verdict == "not_seen"]
    if hidden:
        steps.append(f"Capture {_names(hidden)} again: too little of it was seen after the work")
    steps += [f"{text[0].upper()}{text[1:]}" for text in run.found.untold]
    if not steps:
        steps.append("No gap is left to level. Follow the result after the work for all else before you lay")
    steps.append("Let the compound dry as its data sheet says, and test the moisture, before it is covered")
    return steps


def _at(gaps: Sequence[OpenSpot], over: Sequence[OpenSpot]) -> str:
    numbers = [number for number, spot in enumerate(over, 1) if spot in gaps]
    return f"at place {numbers[0]}" if len(numbers) == 1 else f"at the {len(numbers)} places that are over"


def gap_cells(area: AreaNow) -> tuple[str, str, str]:
    """Edge with limit, gap before, gap now: of the edge that is worst against its limit now."""
    gap = worst_gap(area)
    if gap is None:
        return "", "", ""
    before, now = ("" if q is None else wording.size(q) for q in (gap.before, gap.now))
    return f"{said.reach(gap.edge_mm)}, {said.length(gap.limit_mm)}", before, now


def worst_gap(area: AreaNow) -> GapNow | None:
    """The edge with the largest gap over its limit now, or before where none was measured now."""

    def share(gap: GapNow) -> float:
        value = gap.now or gap.before
        return -math.inf if value is None else value.value / gap.limit_mm

    return max(area.gaps, key=share, default=None)


def amount(volume_l: Quantity) -> str:
    """Litres that may be less than nothing by the noise: ``0.3 ± 0.5 litres``."""
    if volume_l.value >= 0.0:
        return wording.litres(volume_l)
    return f"0 to {said.volume(max(0.0, volume_l.value + volume_l.expanded))}"


def thick_cell(area: AreaNow) -> str:
    """The thickest place now."""
    if area.thickest is None:
        return "not known"
    return wording.quantity(area.thickest)


def placed_cell(area: AreaNow) -> str:
    """Litres placed."""
    if area.placed_l is None:
        return "not known"
    return amount(area.placed_l) + (" off" if area.planned.grinds else "")


def verdict(word: VerdictWord) -> str:
    """Shape and word."""
    return f"{wording.VERDICT_SHAPE[word]} {wording.VERDICT_TEXT[word]}"


def _limits(pairs: Sequence[tuple[float, float]]) -> str:
    return (
        " and ".join(f"{said.length(limit)} {wording.under_edge(edge)}" for edge, limit in sorted(set(pairs)))
        or "no gap limit"
    )


def _names(areas: Sequence[AreaNow]) -> str:
    numbers = ", ".join(str(area.planned.number) for area in areas)
    return f"{'area' if len(areas) == 1 else 'areas'} {numbers}"


def _count(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


def _positive(q: Quantity) -> Quantity:
    from dataclasses import replace

    return replace(q, value=abs(q.value))
