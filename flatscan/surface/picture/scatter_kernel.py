"""The compiled pass that adds points into pixels."""

from __future__ import annotations

from typing import Any

from numba import njit


@njit(cache=True)
def add_at(key: Any, value: Any, weight: Any, total: Any, weights: Any) -> None:
    """``total[key] += weight · value``, ``weights[key] += weight``; ``value`` (n, k), ``total`` (pixels, k)."""
    for i in range(len(key)):
        at = key[i]
        for k in range(value.shape[1]):
            total[at, k] += weight[i] * value[i, k]
        weights[at] += weight[i]
