"""Long bends of the floor that the readings could not see: why a limit stays open, and what to read to close it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import COVERAGE_K
from flatscan.judgement.verdict import Reading

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.verdict import Finding, Point
    from flatscan.surface.readings.fit import LongMode
    from flatscan.surface.surface import Surface

#: How a reading that would show an unseen bend begins.
TO_SEE = "to see the "
#: A bend whose U is less than this share of the limit is not what keeps it open.
_LEAST_SHARE = 0.1


def unseen_bends(surface: Surface, findings: Iterable[Finding]) -> tuple[LongMode, ...]:
    """The bends that may keep these gap findings open, the least known first; none where none is open.

    The floors drawn from the readings hold the doubt already; here it only gets its name.
    """
    limits = [f.limit_mm for f in findings if f.verdict == "not_decided" and f.placement is None]
    if not limits or surface.fit is None:
        return ()
    least_mm = _LEAST_SHARE * min(limits) / COVERAGE_K
    unseen = [mode for mode in surface.fit.modes if not mode.seen and mode.sd_mm >= least_mm]
    return tuple(sorted(unseen, key=lambda mode: -mode.sd_mm))


def bend_reasons(bends: Sequence[LongMode]) -> list[str]:
    """One sentence for all of them, and the cure."""
    if not bends:
        return []
    named = " and ".join(f"{b.name} (± {said.thickness(COVERAGE_K * b.sd_mm)})" for b in bends)
    cures = "; ".join(dict.fromkeys(b.cure for b in bends if b.cure))
    it = "it" if len(bends) == 1 else "they"
    cure = f". What would show {'it' if len(bends) == 1 else 'them'}: {cures}" if cures else ""
    could = f"{it} could carry places that measure within over the limit"
    return [f"The readings do not show the floor's {named}, and {could}{cure}"]


def bend_readings(bends: Sequence[LongMode], at: Point) -> list[Reading]:
    """What to read so that they are seen, each cure once."""
    cured: dict[str, list[str]] = {}
    for bend in bends:
        if bend.cure:
            cured.setdefault(bend.cure, []).append(bend.name)
    return [
        Reading(
            at=at,
            what=f"{TO_SEE}{' and the '.join(names)}: {cure}",
            instrument="straightedge and feeler gauges, or level and staff",
            resolves=f"{said.length(0.5)} or finer",
        )
        for cure, names in cured.items()
    ]
