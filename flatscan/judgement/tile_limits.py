"""Lip limits that depend on the joint and the tile, and level limits that depend on the distance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan.constants import MM2_PER_M2

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.judgement.limits import Band, Limit


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


def level_limit_mm(limit: Limit, distance_m: float) -> float:
    """The value of a level limit ``distance_m`` from the nearest reference point (NF DTU 13.3 and 52.10)."""
    return limit.limit_mm + limit.per_m_mm * distance_m + limit.cube_root_mm * math.cbrt(distance_m)


def _fits(band: Band | None, value: float | None) -> bool:
    return band is None or value is None or band.holds(value)
