"""How values, limits and verdicts are said to people: what ``said`` tells in the reader's units, put into phrases.

Rounding happens there and here, once, by the uncertainty.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import COVERAGE_K
from flatscan.quantity import Quantity, decimals_for, decimals_shown
from flatscan.quantity import spread as spread  # noqa: PLC0414 - told from here too
from flatscan.said import area as area  # noqa: PLC0414
from flatscan.said import cell as cell  # noqa: PLC0414
from flatscan.said import length as length  # noqa: PLC0414
from flatscan.said import reach as reach  # noqa: PLC0414

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.judgement.limits import Limit, LimitSource
    from flatscan.judgement.verdict import AnswerCode, VerdictWord
    from flatscan.levelling.plan import MethodName
    from flatscan.measures.measurement import GapSpot

VERDICT_TEXT: Mapping[VerdictWord, str] = {
    "over": "over",
    "not_decided": "not decided",
    "within": "within",
    "not_seen": "not seen",
}
#: A shape beside each verdict word, so that neither colour nor reading is needed alone.
VERDICT_SHAPE: Mapping[VerdictWord, str] = {"over": "▲", "not_decided": "◆", "within": "●", "not_seen": "○"}
#: Worst first: the order in which verdicts are shown, and which of two wins at one place.
VERDICT_RANK: Mapping[VerdictWord, int] = {"over": 0, "not_decided": 1, "not_seen": 2, "within": 3}

ANSWER_TITLE: Mapping[AnswerCode, str] = {
    "lay_as_is": "Lay over it as it is",
    "fill_joints_and_lips": "Fill joints and take down lips, then lay",
    "level_areas": "Level these areas, then lay",
    "level_all": "Level the whole floor, then lay",
    "not_decided": "Cannot be told yet",
}

#: The name of each way, a comma, and what it is.
METHOD_TEXT: Mapping[MethodName, str] = {
    "patch": "patch, by trowel, only where the limit asks for it",
    "grind_and_patch": "grind and patch, the high places come down first",
    "skim": "skim, a thin coat of even thickness over everything",
    "screed": "screed, to one plane over the whole floor, which may slope",
    "flood": "flood, self-levelling, poured to a water level",
    "lift_tiles": "lift tiles, the old ones come up and the base is measured anew",
}


def signed(value: float, places: int) -> str:
    """A number with its sign and a true minus; what rounds to nothing has no sign.

    >>> signed(-3.04, 1), signed(0.04, 1), signed(2.0, 0)
    ('−3.0', '0.0', '+2')
    """
    size = f"{abs(value):.{places}f}"
    if float(size) == 0.0:
        return size
    return f"{'−' if value < 0 else '+'}{size}"


def quantity(q: Quantity) -> str:
    """``5.2 ± 0.6 mm``, the ± being U with k = 2."""
    if not math.isfinite(q.u):
        return _unsure(q)
    return q.text()


def size(q: Quantity) -> str:
    """A gap or a range of heights, which cannot be negative: ``5.2 ± 0.6 mm``, or ``2.6 mm (0 to 9.1)``."""
    if not math.isfinite(q.u):
        return _unsure(q)
    return q.size_text()


def weight(mass: Quantity) -> str:
    """What a volume weighs, beside the volume that tells its range.

    >>> from flatscan.quantity import Quantity
    >>> weight(Quantity(1.53, 0.2, "kg")), weight(Quantity(381.7, 70.0, "kg"))
    ('1.5 kg', '382 kg')
    """
    return said.mass(mass.value, 1 if said.in_unit(mass.value, "kg") < 10.0 else 0)  # noqa: PLR2004


def _unsure(q: Quantity) -> str:
    return f"{said.number(q.value, q.unit, 1)} {said.unit(q.unit)}, uncertainty unknown"


def gap(spot: GapSpot, what: str = "gap", *, edge: bool = True) -> str:
    """A gap beneath its edge, or (``what`` is span_gap) by its contacts; one across unseen floor may be more."""
    told = f"at least {size(spot.gap)}" if spot.bridges_hole else size(spot.gap)
    return f"{told} {laid(spot.edge_mm, what)}" if edge else told


def laid(edge_mm: float, what: str = "gap") -> str:
    """How the edge lay that a gap was read with.

    >>> laid(2000.0), laid(7106.0, "span_gap")
    ('under 2 m', 'between contacts up to 7.11 m apart')
    """
    if what != "span_gap":
        return under_edge(edge_mm)
    return f"between contacts up to {reach(round(edge_mm, -1))} apart"


def extreme(q: Quantity, *, high: bool) -> str:
    """How far the highest or the lowest place is from the plane.

    >>> from flatscan.quantity import Quantity
    >>> extreme(Quantity(4.4, 0.4, "mm"), high=True), extreme(Quantity(0.0, 4.4, "mm"), high=False)
    ('highest +4.4 ± 0.8 mm', 'lowest, by 0 to 8.8 mm')
    """
    word, sign = ("highest", "+") if high else ("lowest", "−")
    if math.isfinite(q.u) and q.value < q.expanded:
        return f"{word}, by {q.size_text()}"
    return f"{word} {sign}{quantity(q)}"


def under_edge(edge_mm: float) -> str:
    """``under 2 m``: which edge a gap was read with."""
    return f"under {reach(edge_mm)}"


def litres(volume_l: Quantity, interval_l: tuple[float, float] | None = None) -> str:
    """A volume with its 95 % range; without ``interval_l`` value ± U, its range where U is the larger.

    >>> from flatscan.quantity import Quantity
    >>> litres(Quantity(104.4, 0.5, "l")), litres(Quantity(0.2, 0.2, "l"))
    ('104.4 ± 1.0 litres', '0.2 litres (0 to 0.6)')
    >>> litres(Quantity(224.0, 42.0, "l"), (146.2, 318.4)), litres(Quantity(0.04, 0.1, "l"), (0.0, 0.31))
    ('224 litres (146 to 318)', '0 to 0.3 litres')
    >>> with said.speaking("imperial"):
    ...     litres(Quantity(104.4, 0.5, "l"))
    '27.6 ± 0.3 US gal'
    """
    if not math.isfinite(volume_l.u):
        return f"{said.volume(volume_l.value)}, uncertainty unknown"
    if interval_l is not None:
        return spread(volume_l.value, interval_l, "litres")
    named = Quantity(volume_l.value, volume_l.u, "litres")
    if volume_l.value < volume_l.expanded:
        return named.size_text()
    # A small uncertainty is rounded up, never to nothing.
    expanded = said.in_unit(volume_l.expanded, "l")
    places = decimals_for(expanded)
    shown = max(expanded, 10.0**-places) if volume_l.u > 0.0 else 0.0
    return f"{said.in_unit(volume_l.value, 'l'):.{places}f} ± {shown:.{places}f} {said.unit('litres')}"


def bags(count: int, interval: tuple[int, int], bag_kg: float) -> str:
    """Whole bags to buy with the 95 % range.

    >>> bags(1, (1, 1), 25.0), bags(3, (2, 3), 20.0)
    ('1 bag of 25 kg', '3 bags of 20 kg (2 to 3)')
    """
    told = f"{count} {'bag' if count == 1 else 'bags'} of {said.bag(bag_kg)}"
    return told if interval[0] == interval[1] else f"{told} ({interval[0]} to {interval[1]})"


def share(part: float) -> str:
    """A share in per cent that never rounds up to all or down to none.

    >>> share(0.998), share(0.5), share(0.0004), share(1.0)
    ('more than 99 %', '50 %', 'less than 1 %', '100 %')
    """
    percent = 100.0 * part
    if 99.0 < percent < 100.0:  # noqa: PLR2004
        return "more than 99 %"
    if 0.0 < percent < 1.0:
        return "less than 1 %"
    return f"{percent:.0f} %"


_LEAST_CHANCE = 1e-6
#: (least chance of being over, how it is said); common wording, no source.
_CHANCES = (
    (0.99, "almost certainly over"),
    (0.95, "very likely over"),
    (0.60, "more likely over than within"),
    (0.40, "as likely over as within"),
    (0.05, "more likely within than over"),
    (0.01, "very likely within"),
    (0.0, "almost certainly within"),
)


def chance(p_over: float | None) -> str:
    """The chance of being over the limit in plain words, with its figure.

    >>> chance(0.7), chance(1.0)
    ('more likely over than within (70 % chance of over)', 'almost certainly over (more than 99 % chance of over)')
    """
    if p_over is None:
        return ""
    words = next(text for least, text in _CHANCES if p_over >= least)
    # A chance worked out from a model is never all or none.
    return f"{words} ({share(min(max(p_over, _LEAST_CHANCE), 1.0 - _LEAST_CHANCE))} chance of over)"


#: What a limit is about, in words; the keys are those of ``judgement.limits``.
_KINDS = {"gap": "gap", "span_gap": "gap", "joint_width": "joint width", "joint_depth": "joint depth", "slope": "fall"}


def kind(what: str) -> str:
    """What a finding is about.

    >>> kind("joint_width"), kind("span_gap"), kind("lip")
    ('joint width', 'gap', 'lip')
    """
    return _KINDS.get(what, what)


def limit(rule: Limit) -> str:
    """One limit as a phrase: ``3 mm under 2 m``."""
    told = length(rule.limit_mm)
    if rule.per_tile_sum:
        told += f" and {rule.per_tile_sum:g} of the tile's length and width"
    if rule.edge_mm is None:
        return f"{kind(rule.what)} {told}"
    if rule.what == "gap":
        return f"{told} under {said.edge(rule.edge_mm)}"
    if rule.what == "span_gap":
        return f"{told} between contacts up to {said.edge(rule.edge_mm)} apart"
    return f"{kind(rule.what)} {told} over {said.edge(rule.edge_mm)}"


def source(s: LimitSource) -> str:
    """Where a limit comes from and how far that can be trusted."""
    if s.document == s.mark:
        return s.mark
    named = ", ".join(part for part in (s.document, s.table, s.year) if part)
    return f"{named} ({s.mark})"


def plus_minus(u: float, unit: str) -> str:
    """U = 2 u of an uncertainty that stands alone.

    >>> plus_minus(0.13, "mm"), plus_minus(0.013, "mm")
    ('± 0.3 mm', '± 0.03 mm')
    """
    expanded = COVERAGE_K * u
    return f"± {said.in_unit(expanded, unit):.{decimals_shown(expanded, unit)}f} {said.unit(unit)}"
