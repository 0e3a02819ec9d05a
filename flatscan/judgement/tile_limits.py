"""Lip limits that depend on the joint and the tile, and level limits that depend on the distance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.constants import MM2_PER_M2

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from flatscan.judgement.limits import Band, Limit

#: Least, best and most, mm.
Range = tuple[float, float, float]
#: Wider than any joint, longer than any tile: what is unknown ends there.
_ANY_JOINT_MM = 1000.0
_ANY_TILE_MM = 10_000.0
#: A step to the other side of a table's edge, mm.
_BESIDE = 1e-6


def lip_limit_mm(limit: Limit, tile_mm: tuple[float, float] | None = None) -> float:
    """The value of a lip limit for a tile of (length, width), ``limit_mm + per_tile_sum * (length + width)``.

    The form of the German tile trade's leaflet of October 2005, (length + width) / 1000 + 1.0 mm. Does not ask
    whether the tile is within the sizes the limit is meant for: ``lip_limit`` does.
    """
    if limit.per_tile_sum == 0.0:
        return limit.limit_mm
    if tile_mm is None:
        raise ValueError("this lip limit grows with the tile: give its length and width")
    return limit.limit_mm + limit.per_tile_sum * sum(tile_mm)


def lip_limit(
    limits: Iterable[Limit], *, joint_mm: float | None = None, tile_mm: tuple[float, float] | None = None
) -> Limit | None:
    """The strictest lip limit meant for this joint width and tile; None where none is.

    A limit tied to something unknown (a joint of unknown width) counts: then the strictest is safe.
    """
    area_m2 = tile_mm[0] * tile_mm[1] / MM2_PER_M2 if tile_mm else None
    tile_sum = sum(tile_mm) if tile_mm else None
    fitting = [
        limit
        for limit in limits
        if limit.what == "lip"
        and _fits(limit.joint_mm, joint_mm)
        and _fits(limit.tile_area_m2, area_m2)
        and _fits(limit.tile_sum_mm, tile_sum)
        and not (limit.per_tile_sum and tile_mm is None)
    ]
    return min(fitting, key=lambda limit: lip_limit_mm(limit, tile_mm), default=None)


@dataclass(frozen=True, slots=True)
class LipLimits:
    """Lip limits for a joint and a tile that are known within bounds only.

    ``likely`` holds for the best estimate; ``strictest`` and ``mildest`` over all that the bounds allow.
    """

    likely: Limit
    likely_mm: float
    strictest_mm: float
    mildest_mm: float


def lip_limits_within(
    limits: Sequence[Limit], joint_mm: Range | None = None, tile_mm: tuple[Range, Range] | None = None
) -> LipLimits | None:
    """The lip limits that may hold for a joint width and tile sides known as (least, best, most); None: unknown.

    A document's limit jumps at a joint width or tile size. Where the measured one is too near a jump to be sure
    which side it is on, a lip is *within* only if it is within the strictest limit that may hold, and *over* only if
    it is over the mildest: then neither word can be wrong for taking the wrong line of the table. Places in the
    bounds for which the document states nothing (a tile larger than it speaks of) are left out, unless that is all
    there is: then None.
    """
    of_lips = [limit for limit in limits if limit.what == "lip"]
    found = []
    for tile in _tiles_to_try(of_lips, tile_mm):
        for joint in _joints_to_try(of_lips, joint_mm):
            limit = lip_limit(of_lips, joint_mm=joint, tile_mm=tile)
            if limit is not None:
                found.append((limit, lip_limit_mm(limit, tile)))
    if not found:
        return None
    values = [value for _, value in found]
    best_joint = None if joint_mm is None else joint_mm[1]
    best_tile = None if tile_mm is None else (tile_mm[0][1], tile_mm[1][1])
    likely = lip_limit(of_lips, joint_mm=best_joint, tile_mm=best_tile)
    strictest = min(found, key=lambda pair: pair[1])
    likely_mm = strictest[1] if likely is None else lip_limit_mm(likely, best_tile)
    return LipLimits(likely or strictest[0], likely_mm, min(values), max(values))


def level_limit_mm(limit: Limit, distance_m: float) -> float:
    """The value of a level limit ``distance_m`` from the nearest reference point (NF DTU 13.3 and 52.10)."""
    return limit.limit_mm + limit.per_m_mm * distance_m + limit.cube_root_mm * math.cbrt(distance_m)


def _fits(band: Band | None, value: float | None) -> bool:
    return band is None or value is None or band.holds(value)


def _joints_to_try(limits: Iterable[Limit], joint_mm: Range | None) -> list[float]:
    """Joint widths that stand for all in the bounds: their ends, and either side of every edge between."""
    edges = [e for limit in limits for e in _edges(limit.joint_mm)]
    return _either_side(edges, joint_mm or (0.0, 0.0, _ANY_JOINT_MM))


def _tiles_to_try(limits: Iterable[Limit], tile_mm: tuple[Range, Range] | None) -> list[tuple[float, float]]:
    """Tiles that stand for all in the bounds; of an unknown tile squares, since only sum and area count."""
    if tile_mm is not None:
        (long, short) = tile_mm
        return list(dict.fromkeys((long[k], short[k]) for k in range(3)))
    edges = [e / 2.0 for limit in limits for e in _edges(limit.tile_sum_mm)]
    edges += [math.sqrt(e * MM2_PER_M2) for limit in limits for e in _edges(limit.tile_area_m2)]
    return [(side, side) for side in _either_side(edges, (0.0, 0.0, _ANY_TILE_MM))]


def _edges(band: Band | None) -> list[float]:
    if band is None:
        return []
    return [e for e in (band.at_least, band.more_than, band.at_most, band.less_than) if e is not None]


def _either_side(edges: Iterable[float], bounds: Range) -> list[float]:
    least, best, most = bounds
    sides = [e + side for e in edges for side in (-_BESIDE, 0.0, _BESIDE) if least < e + side < most]
    return [least, best, most, *sides]
