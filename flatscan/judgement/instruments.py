"""Which instrument a hand reading takes, and how finely it must read to decide."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.decision import guard_factor
from flatscan.sources.hand.instruments import hand_u_mm

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Finding
    from flatscan.sources.hand.hand_reading import HandWhat

#: From the coarsest that will do to the finest a person carries: instrument and what it is read to, mm.
_OPTIONS: dict[HandWhat, tuple[tuple[str, float], ...]] = {
    "gap": tuple(("{edge} straightedge and feeler gauges", step) for step in (1.0, 0.5, 0.2, 0.1, 0.05)),
    "lip": tuple(("short straightedge and feeler gauges", step) for step in (0.2, 0.1, 0.05)),
    "joint_width": (("steel rule", 0.5), ("calliper or taper gauge", 0.1), ("calliper or taper gauge", 0.05)),
    "joint_depth": (("depth gauge", 0.5), ("calliper with a depth rod", 0.1), ("calliper with a depth rod", 0.05)),
}
#: Half of all true values lie further than this many u from the best estimate (exact: Phi^-1(3/4)).
_HALF_LIE_BEYOND = 0.6744897501960817


def instrument_for(what: HandWhat, finding: Finding, confidence: float) -> tuple[str, str]:
    """The coarsest instrument that is likely to decide, and what it must resolve, in words.

    Together with the scan a reading has 1/u² = 1/u_scan² + 1/u_hand², and decides where the true value is further
    than z u from the limit. That distance is taken as the measured one or, where the scan hardly knows the value, as
    what half of all possible true values exceed.
    """
    options = _OPTIONS[what]
    needed = needed_u_mm(finding, confidence)
    for name, step in options:
        if hand_u_mm(what, name, step) <= needed:
            return _named(name, finding), f"{said.length(step)} or finer"
    name, step = options[-1]
    even_that = "and even that may not tell so close to the limit: if the reading agrees, treat it as over"
    return _named(name, finding), f"{said.length(step)}, {even_that}"


def usual_instrument(what: HandWhat) -> tuple[str, str]:
    """For a place of which nothing is known yet."""
    name, step = _OPTIONS[what][0]
    return name, f"{said.length(step)} or finer"


def needed_u_mm(finding: Finding, confidence: float) -> float:
    """The largest standard uncertainty of a hand reading that would likely decide this finding; 0: none would."""
    if finding.value is None:
        return math.inf
    value, u = abs(finding.value.value), finding.value.u
    if u == 0.0 or not math.isfinite(u):
        return math.inf
    distance = max(abs(finding.limit_mm - value), _HALF_LIE_BEYOND * u)
    fused = distance / guard_factor(confidence)
    if fused >= u:
        return math.inf
    return 1.0 / math.sqrt(1.0 / fused**2 - 1.0 / u**2)


def _named(name: str, finding: Finding) -> str:
    return name.format(edge=edge_text(finding.edge_mm))


def edge_text(edge_mm: float | None) -> str:
    """``2 m``: the straightedge to take in hand."""
    return said.edge(round(edge_mm or 0.0, -1) if not said.imperial() else edge_mm or 0.0)
