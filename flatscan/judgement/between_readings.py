"""What may lie between readings taken by hand: *within* holds where the edge was laid, not for the whole floor.

Readings see waves of three spacings and more. A dip narrower than that may lie between two rows of them, and how often
old floors have such dips nobody can say: on invented rooms with one dip between rows 1 m apart the drawn floors called
7 of 40 within wrongly, with rows 0.7 m apart none of 24. So a floor is not called within under an edge that is shorter
than the shortest wave seen, unless the person searched all of it with the bar.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.verdict import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding, Point
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.surface.surface import Surface

#: A wave this much longer than the edge still counts as no longer: spacings are a tape's.
_NEAR = 1.05
#: A wave is seen by three readings.
_READINGS_PER_WAVE = 3.0


def hidden_findings(surface: Surface, findings: Sequence[Finding], field: FieldReadings | None) -> list[Finding]:
    """For each limit set that the surface is within, that what lies between the readings was not seen; else none.

    Only on a floor made from readings, under edges shorter than the waves they see, and where nobody searched. One
    finding for a set, under the longest such edge.
    """
    fit = surface.fit
    if surface.kind != "readings" or fit is None or (field is not None and field.searched_for_gaps):
        return []
    by_set: dict[str, list[Finding]] = {}
    for finding in findings:
        by_set.setdefault(finding.limit_id.partition("/")[0], []).append(finding)
    hidden = []
    for of_set in by_set.values():
        short = [f for f in of_set if f.edge_mm is not None and f.edge_mm * _NEAR < fit.smallest_wave_mm]
        if short and all(f.verdict == "within" for f in of_set):
            hidden.append(_hidden(max(short, key=lambda f: f.edge_mm or 0.0), fit.smallest_wave_mm))
    return hidden


def _hidden(finding: Finding, wave_mm: float) -> Finding:
    hidden = f"dips narrower than {said.run(wave_mm)} may lie between the readings"
    search = "Move the bar over the whole floor, write down the deepest gaps and state # gaps searched: yes"
    where = f"{hidden}. {search}; or read rows {said.tape((finding.edge_mm or 0.0) / _READINGS_PER_WAVE)} apart"
    return replace(finding, value=None, p_over=None, verdict="not_seen", at=None, where=where, contacts=None)


def search_readings(hidden: Sequence[Finding], at: Point) -> list[Reading]:
    """The search that would tell, once, with the longest edge asked for."""
    edges = [f.edge_mm for f in hidden if f.edge_mm is not None]
    if not edges:
        return []
    return [
        Reading(
            at=at,
            what="deepest gaps of the whole floor: move the straightedge over all of it, both ways; begin here",
            instrument=f"{said.edge(max(edges))} straightedge and feeler gauges",
            resolves=f"{said.length(0.5)} or finer",
        )
    ]
