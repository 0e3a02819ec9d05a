"""Limit sets: what the published documents and the trade allow, as data with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: How far the value can be trusted: read in the source, read on a page that restates it, recalled, or unsourced.
Mark = Literal["read", "restated", "from memory", "common practice, no source"]
LimitKind = Literal["gap", "span_gap", "lip", "joint_width", "joint_depth", "slope"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSource:
    """Where the values come from. ``reference`` is the page or document where they were read."""

    document: str
    mark: Mark
    table: str = ""
    year: str = ""
    reference: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit. ``gap``: beneath an edge of ``edge_mm``. ``span_gap``: over contacts up to ``edge_mm`` apart."""

    what: LimitKind
    limit_mm: float
    edge_mm: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSet:
    """A named set of limits.

    ``spans`` are (distance between contacts in mm, limit in mm) columns where the source interpolates
    between them; ``limits_for`` (H6) turns them into the exact stepped ``span_gap`` limits of a room.
    """

    id: str
    title: str
    source: LimitSource
    limits: tuple[Limit, ...] = ()
    spans: tuple[tuple[float, float], ...] = ()
    round_to_mm: float | None = None
    applies_to: str = ""
    note: str = ""
