"""Limit sets: what the published documents and the trade allow, as data with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: How far the value can be trusted: read in the source, read on a page that restates it, recalled, or unsourced.
Mark = Literal["read", "restated", "from memory", "common practice, no source"]
LimitKind = Literal["gap", "span_gap", "lip", "joint_width", "joint_depth", "slope", "level"]
#: How the document lays the straightedge. ``resting``: on the floor, the gap between its contacts. ``feet``: on two
#: equal feet, plus or minus about their height. ``plane``: plus or minus from a required plane. ``unstated``: the
#: document gives plus or minus and how the edge lies was not read.
Placement = Literal["resting", "feet", "plane", "unstated"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSource:
    """Where the values come from. ``reference`` is the page or document where they were read."""

    document: str
    mark: Mark
    table: str = ""
    year: str = ""
    reference: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The values of something for which a limit is meant; every bound given must hold."""

    at_least: float | None = None
    more_than: float | None = None
    at_most: float | None = None
    less_than: float | None = None

    def holds(self, value: float) -> bool:
        """Whether ``value`` lies in the band.

        >>> Band(at_least=6.0).holds(6.0), Band(less_than=6.0).holds(6.0)
        (True, False)
        """
        return (
            (self.at_least is None or value >= self.at_least)
            and (self.more_than is None or value > self.more_than)
            and (self.at_most is None or value <= self.at_most)
            and (self.less_than is None or value < self.less_than)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit. ``gap``: beneath an edge of ``edge_mm``. ``span_gap``: over contacts up to ``edge_mm`` apart.

    A lip limit may hold only for joints of some width (``joint_mm``) or tiles of some size (``tile_area_m2``,
    ``tile_sum_mm``: length + width), and may grow with the tile: ``limit_mm + per_tile_sum * (length + width)``.
    A level limit may grow with the distance d from the nearest reference point:
    ``limit_mm + per_m_mm * d + cube_root_mm * d**(1/3)``, d in m, for distances in ``distance_m``.
    ``source`` is given where it differs from the set's.
    """

    what: LimitKind
    limit_mm: float
    edge_mm: float | None = None
    note: str = ""
    source: LimitSource | None = None
    joint_mm: Band | None = None
    tile_area_m2: Band | None = None
    tile_sum_mm: Band | None = None
    per_tile_sum: float = 0.0
    distance_m: Band | None = None
    per_m_mm: float = 0.0
    cube_root_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSet:
    """A named set of limits.

    ``spans`` are (distance between contacts in mm, limit in mm) columns where the source interpolates
    between them; ``steps.stepped_limits`` turns them into the ``span_gap`` limits of a room.
    ``conflict`` says where sources disagree and what was taken.
    """

    id: str
    title: str
    source: LimitSource
    limits: tuple[Limit, ...] = ()
    spans: tuple[tuple[float, float], ...] = ()
    round_to_mm: float | None = None
    placement: Placement = "resting"
    applies_to: str = ""
    note: str = ""
    conflict: str = ""

    def source_of(self, limit: Limit) -> LimitSource:
        """The source of one of its limits."""
        return limit.source or self.source
