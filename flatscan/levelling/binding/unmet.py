"""Which rule a way of levelling cannot keep, and where, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.rules import UPPER_KINDS, asks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds, NamedMask
    from flatscan.surface.surface import Surface

_CAPPING = (*UPPER_KINDS, "fixed_height")


def unmet_words(surface: Surface, bounds: Bounds, beyond: NDArray[np.bool_], by_mm: NDArray[np.floating]) -> str:
    """The rule that is missed most, by how much and where, and the other rules that are missed; "" where none is.

    Parameters
    ----------
    beyond : (rows, cols) bool, cells that need more fill than ``bounds.most_fill_mm``
    by_mm : (rows, cols), how much more, mm
    """
    excess = np.where(beyond & np.isfinite(by_mm), by_mm, -np.inf)
    worst = np.unravel_index(int(np.argmax(excess)), excess.shape)
    row, col = int(worst[0]), int(worst[1])
    if not np.isfinite(excess[row, col]):
        return ""
    most = float(bounds.most_fill_mm[row, col])
    here = np.zeros_like(beyond)
    here[row, col] = True
    at_worst = [rule for rule in _capping(bounds) if _binds(rule, bounds, here)]
    allowed = " and ".join(asks(rule) for rule in at_worst) or f"{said.thickness(most)} is allowed"
    needed = said.thickness(most + float(by_mm[row, col]))
    words = f"{allowed} and {needed} is needed {place_in_words(surface.xy_mm(row, col))}"
    also = [f"'{r.name}'" for r in _capping(bounds) if r not in at_worst and _binds(r, bounds, beyond)]
    return f"{words}; more than is allowed at {' and '.join(also)} too" if also else words


def _capping(bounds: Bounds) -> Sequence[NamedMask]:
    return [rule for rule in bounds.rules if rule.kind in _CAPPING]


def _binds(rule: NamedMask, bounds: Bounds, cells: NDArray[np.bool_]) -> bool:
    """Whether in any of the cells this rule, not a stricter one, says how much may lie there."""
    return bool((bounds.most_fill_mm[rule.mask & cells] == np.float32(rule.value_mm or 0.0)).any())
