"""The decision rule: what may be said of a measured value and a limit (JCGM 106:2012)."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.judgement.verdict import VerdictWord

_NORMAL = NormalDist()
_HALF = 0.5
#: A chance that equals its bound in decimals may differ from it by this much in binary.
_ROUNDING = 1e-12


def chance_over(value: float, u: float, limit: float) -> float:
    """The chance that the true value is over an upper limit, 1 - Phi((limit - value) / u).

    JCGM 106 clause 7 for a normal state of knowledge. With ``u`` = 0 a value equal to the limit is not over.
    """
    if not (math.isfinite(value) and math.isfinite(limit) and math.isfinite(u) and u >= 0.0):
        raise ValueError(f"value and limit must be finite and u >= 0, got {value}, {limit}, {u}")
    if u == 0.0:
        return float(value > limit)
    # erfc keeps its digits far out in the tail, where 1 - Phi would lose them.
    return 0.5 * math.erfc((limit - value) / (u * math.sqrt(2.0)))


def decide(value: float, u: float, limit: float, confidence: float) -> tuple[float, VerdictWord]:
    """The chance of being over, and the word for it.

    Parameters
    ----------
    value, u, limit : measured value, its standard uncertainty and the upper limit, same unit
    confidence : the chance needed to speak, more than 0.5 and less than 1

    Returns
    -------
    p_over, word
        ``over`` if p_over >= confidence, ``within`` if p_over <= 1 - confidence, else ``not_decided``. This is
        the guard band z u on either side of the limit with z the ``confidence`` quantile (1.645 for 95 %), the
        non-binary rule of ILAC-G8:09/2019 4.2.3
    """
    z = guard_factor(confidence)
    p_over = chance_over(value, u, limit)
    # Compared in z: near the edge a chance has lost the digits that a distance still has.
    if value + z * u <= limit:
        return p_over, "within"
    if value - z * u >= limit:
        return p_over, "over"
    return p_over, "not_decided"


def chance_size_over(value: float, u: float, limit: float) -> float:
    """The chance that the true value's size is over a limit: Phi((-T - v) / u) + 1 - Phi((T - v) / u).

    For what has a sign and a limit on its size, such as a lip; JCGM 106 clause 7 with both tails.
    """
    if limit < 0.0:
        raise ValueError(f"the limit of a size is not negative, got {limit}")
    return min(1.0, chance_over(value, u, limit) + chance_over(-value, u, limit))


def decide_size(value: float, u: float, limit: float, confidence: float) -> tuple[float, VerdictWord]:
    """The chance that the size of a signed value is over, and the word for it; parameters as ``decide``.

    ``within`` needs both tails together to be small. ``over`` needs the measured side's tail alone to reach the
    confidence: a value that is hardly known at all (u many times the limit) would else be called over, because nearly
    any number is larger than the limit.
    """
    z = guard_factor(confidence)
    p_over = chance_size_over(value, u, limit)
    if p_over <= 1.0 - confidence + _ROUNDING:
        return p_over, "within"
    if abs(value) - z * u >= limit:
        return p_over, "over"
    return p_over, "not_decided"


def guard_factor(confidence: float) -> float:
    """Standard uncertainties between a value and the limit at which the rule begins to speak."""
    if not _HALF < confidence < 1.0:
        raise ValueError(f"confidence must be more than 0.5 and less than 1, got {confidence}")
    return _NORMAL.inv_cdf(confidence)


def lean_in_words(p_over: float) -> str:
    """Which way an undecided value leans, in plain words.

    >>> lean_in_words(0.8)
    'more likely over than not (80 in 100)'
    """
    if p_over == _HALF:
        return "as likely over as within"
    if p_over > _HALF:
        return f"more likely over than not ({round(100 * p_over)} in 100)"
    return f"more likely within than over ({round(100 * (1 - p_over))} in 100)"
