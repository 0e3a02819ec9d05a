"""Measures: the straightedge gap, humps, flatness parameters and F-numbers, each with its doubt."""

from flatscan.measures.measure import measure

__all__ = ["measure"]
