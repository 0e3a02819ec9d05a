"""Each laying of a straightedge judged by itself, beside what the surface made from all of them says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.decision import decide
from flatscan.judgement.limits import Limit
from flatscan.judgement.places import place_in_words
from flatscan.judgement.steps import span_limit_mm
from flatscan.judgement.verdict import Finding
from flatscan.measures.joints.fusion import contradict

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.limits import LimitSet
    from flatscan.measures.measurement import Measurement, PlacementFigure

TOO_SHORT = "a bar shorter than the edge of the limit cannot say within"
DISAGREES = "its readings and the surface disagree: read again"
#: Bars whose lengths differ by less than this share are one bar: 10 ft (3048 mm) answers a limit for 3 m. A bar 2 %
#: longer shows a bend's gap 4 % larger.
_SAME_BAR = 0.02


def placement_findings(measurement: Measurement, limit_sets: Sequence[LimitSet], confidence: float) -> list[Finding]:
    """Every placement's own gap against every gap limit that its bar can answer (rules R1 and R2).

    A placement over its limit makes its place over. *Within* it says of its own chord only, so it never makes a floor
    within. Where its gap contradicts what the surface says of the same chord, and the two would be called by different
    words, it is not decided.
    """
    return [
        _finding(limit_set, limit, figure, confidence)
        for figure in measurement.placements
        if tells_gap(figure)
        for limit_set in limit_sets
        for limit in answered_limits(limit_set, figure, confidence)
    ]


def tells_gap(figure: PlacementFigure) -> bool:
    """Whether it says anything of gaps: a bar balanced on a crest touches at one place and shows the hump alone."""
    return figure.hump is None or figure.span_mm > 0.0


def answered_limits(limit_set: LimitSet, figure: PlacementFigure, confidence: float) -> list[Limit]:
    """The gap limits of a set that this placement can answer.

    A chord is one that an edge of length E can lie on where its contacts are no further apart than E. Of a longer edge
    than the bar it can say *over* only: the longer edge may find a deeper gap at the same place.
    """
    found = []
    for limit in limit_set.limits:
        if limit.what != "gap" or limit.edge_mm is None or figure.span_mm > limit.edge_mm * (1.0 + _SAME_BAR):
            continue
        long_enough = figure.edge_mm >= limit.edge_mm * (1.0 - _SAME_BAR)
        if long_enough or decide(figure.gap.value, figure.gap.u, limit.limit_mm, confidence)[1] == "over":
            found.append(limit)
    if limit_set.spans:
        found.append(Limit(what="span_gap", limit_mm=span_limit_mm(limit_set, figure.span_mm), edge_mm=figure.span_mm))
    return found


def placement_name(number: str, row: int) -> str:
    """What a person calls it: by its number on the sheet, else by its line in the file.

    >>> placement_name("7", 12), placement_name("", 12)
    ('straightedge 7', 'straightedge of row 12')
    """
    return f"straightedge {number}" if number else f"straightedge of row {row}"


def speaks(finding: Finding) -> bool:
    """Whether a finding counts in the answer: a placement that is not over says nothing the surface does not hold."""
    return finding.placement is None or finding.conflict or finding.verdict == "over"


def placement_reasons(findings: Iterable[Finding], laid: int = 0) -> list[str]:
    """How many placements are over by themselves, and the worst; none where none was judged.

    ``laid``: how many there are that tell of gaps, judged or not.
    """
    worst: dict[str, Finding] = {}
    for finding in findings:  # worst first
        if finding.placement is not None:
            worst.setdefault(finding.placement, finding)
    if not worst:
        return [f"{laid} straightedge readings, none over by itself; {TOO_SHORT}"] if laid > 1 else []
    counts = {word: sum(f.verdict == word for f in worst.values()) for word in ("over", "not_decided", "within")}
    told = ", ".join(f"{n} {word.replace('_', ' ')}" for word, n in counts.items() if n)
    if laid > len(worst):
        reasons = [f"{len(worst)} of {laid} straightedge readings answer a limit by themselves: {told}"]
    elif len(worst) > 1:
        reasons = [f"Each of {len(worst)} straightedge readings by itself: {told}"]
    else:
        reasons = [f"The one straightedge reading by itself: {told}"]
    first = next(iter(worst.values()))
    if first.verdict == "over" and first.value is not None:
        place = first.where.partition(";")[0]
        reasons[0] += f"; worst {first.value.size_text()}, {place} (limit {said.length(first.limit_mm)})"
    if laid > len(worst):
        reasons[0] += f"; {TOO_SHORT}, nor one whose contacts lie further apart"
    apart = [f for f in worst.values() if f.conflict]
    if apart:
        named = ", ".join(f.where.split(",")[0] for f in apart[:_MOST_NAMED])
        more = f" and {len(apart) - _MOST_NAMED} more" if len(apart) > _MOST_NAMED else ""
        reasons.append(f"Readings that the surface made from all of them contradicts: {named}{more}: read again there")
    return reasons


_MOST_NAMED = 4


def _finding(limit_set: LimitSet, limit: Limit, figure: PlacementFigure, confidence: float) -> Finding:
    gap, surface = figure.gap, figure.surface
    p_over, word = decide(gap.value, gap.u, limit.limit_mm, confidence)
    conflict = surface is not None and contradict(surface.value, surface.u, gap.value, gap.u)
    if conflict and surface is not None and decide(surface.value, surface.u, limit.limit_mm, confidence)[1] != word:
        word = "not_decided"
    tail = f"; {DISAGREES}" if conflict else ""
    name = placement_name(figure.number, figure.row)
    return Finding(
        what=limit.what,
        limit_id=f"{limit_set.id}/{limit.what}-{limit.edge_mm:.0f}",
        limit_mm=limit.limit_mm,
        value=gap,
        p_over=p_over,
        verdict=word,
        at=figure.at,
        where=f"{name}, {place_in_words(figure.at)}{tail}",
        edge_mm=limit.edge_mm,
        contacts=figure.contacts,
        conflict=conflict,
        placement=figure.number or f"row {figure.row}",
    )
