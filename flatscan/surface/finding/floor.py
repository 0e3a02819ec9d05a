"""Which of the many planes in a capture is the floor.

The floor is the lowest extended surface that was seen from above: not the largest plane (a table top,
a wall or the ceiling often is), and not the lowest (a pit, a stairwell or a reflection may be).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.finding.planefinding import (
    Plane,
    local_normals,
    main_directions,
    plane_cells,
    planes_across,
    rows_facing,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEAST_FLOOR_M2 = 0.25
#: A phone's idea of up is good to half a degree, a floor falls up to 20 mm/m (1.1°); a ramp is no floor to lay over.
_TILT_RAD = np.deg2rad(10.0)
#: A lower surface of less than this share of the largest one is a pit, a stairwell or a reflection.
_LEAST_SHARE = 0.15
#: The same where the larger one is only a step higher: then the lower one must be nearly as large.
_LEAST_SHARE_OF_STEP = 0.5
_STEP_MM = 400.0
#: What stands on a floor is looked for between these heights above it.
_ABOVE_MM = (100.0, 1000.0)
_CEILING_RATIO = 3.0
#: Trust in the axes of the file where nothing else tells: z up is the commonest, then y.
_AXIS_TRUST = {2: 1.0, 1: 0.8, 0: 0.4}
_ODD_AXIS_TRUST = 0.3
#: An axis within about 15° of a file axis counts as that axis.
_ALONG_AXIS = 0.966


@dataclass(frozen=True, slots=True, eq=False)
class Cloud:
    """The thinned capture the floor is sought in.

    ``points_mm`` (n, 3) float64; ``viewpoints_mm`` (v, 3) or None; ``view_of_point`` (n,) or None;
    ``looks`` (v, 3) unit viewing directions or None.
    """

    points_mm: NDArray[np.float64]
    viewpoints_mm: NDArray[np.float64] | None = None
    view_of_point: NDArray[np.uint16] | None = None
    looks: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class FloorPlane:
    """``normal · p = offset_mm``, normal pointing up out of the floor.

    ``up_reason`` says how up was found where the capture did not know it; ``other_levels`` are the
    areas (m²) and heights (mm) of other near-horizontal surfaces within a step of the floor.
    """

    normal: NDArray[np.float64]
    offset_mm: float
    area_m2: float
    up_reason: str | None = None
    other_levels: tuple[tuple[float, float], ...] = ()


def find_floor_plane(
    cloud: Cloud, up: NDArray[np.float64] | None, rng: np.random.Generator, *, reach_mm: float
) -> FloorPlane | None:
    """The floor's plane, None where no near-horizontal surface of 0.25 m² was seen from above.

    Parameters
    ----------
    up : (3,) unit vector, or None to try every main direction of the cloud both ways
    reach_mm : points this close to a plane lie on it; about half of what a floor waves
    """
    rows, normals = local_normals(cloud.points_mm, rng)
    if up is not None:
        facing = rows_facing(rows, normals, up, _TILT_RAD)
        planes = planes_across(cloud.points_mm, facing, up, rng, tilt_rad=_TILT_RAD, reach_mm=reach_mm)
        return _choose(cloud, planes)
    return _search_all_ways(cloud, rows, normals, rng, reach_mm)


def _search_all_ways(
    cloud: Cloud,
    rows: NDArray[np.int64],
    normals: NDArray[np.float64],
    rng: np.random.Generator,
    reach_mm: float,
) -> FloorPlane | None:
    """Every main direction is tried as up and as down; the best supported floor wins."""
    found: list[tuple[float, FloorPlane]] = []
    ways: list[list[Plane]] = []
    for axis in main_directions(normals, rng):
        facing = rows_facing(rows, normals, axis, _TILT_RAD)
        ways.append(planes_across(cloud.points_mm, facing, axis, rng, tilt_rad=_TILT_RAD, reach_mm=reach_mm))
    # What lies on no plane is furniture and clutter, and it stands on the floor.
    loose = np.ones(len(cloud.points_mm), dtype=bool)
    for plane in (plane for planes in ways for plane in planes):
        loose[plane.rows] = False
    for planes in ways:
        for way in (planes, [_flipped(plane) for plane in planes]):
            floor = _choose(cloud, way)
            if floor is not None:
                found.append((_support(cloud, floor, loose), floor))
    if not found:
        return None
    _, floor = max(found, key=lambda pair: pair[0])
    seen = cloud.viewpoints_mm is not None
    reason = "the cameras looked down on it" if seen else "nearly everything else lies on that side of the floor"
    return FloorPlane(floor.normal, floor.offset_mm, floor.area_m2, reason, floor.other_levels)


def _flipped(plane: Plane) -> Plane:
    return Plane(-plane.normal, -plane.offset_mm, plane.rows, plane.area_m2)


def _support(cloud: Cloud, floor: FloorPlane, loose: NDArray[np.bool_]) -> float:
    """How well a floor explains the capture: nothing beneath it, clutter near it, cameras looking down on it."""
    distance = cloud.points_mm @ floor.normal - floor.offset_mm
    beneath = float(np.mean(distance < -_ABOVE_MM[0]))
    clutter = distance[loose & (np.abs(distance) > _ABOVE_MM[0])]
    near = float(np.mean((clutter > 0) & (clutter < _ABOVE_MM[1]))) if len(clutter) else 0.0
    along = int(np.abs(floor.normal).argmax())
    trust = _AXIS_TRUST[along] if abs(floor.normal[along]) > _ALONG_AXIS else _ODD_AXIS_TRUST
    if floor.normal[along] < 0:
        trust *= 0.5
    looks = float(np.mean(-(cloud.looks @ floor.normal))) if cloud.looks is not None else 0.0
    return float((1.0 - beneath) ** 4 * (0.2 + near) * trust * np.sqrt(floor.area_m2) * np.exp(3.0 * looks))


def _choose(cloud: Cloud, planes: list[Plane]) -> FloorPlane | None:
    """The lowest extended plane of those that were seen from above."""
    planes = [plane for plane in planes if plane.area_m2 >= LEAST_FLOOR_M2 and _seen_from_above(cloud, plane)]
    if not planes:
        return None
    largest = max(plane.area_m2 for plane in planes)
    centres = {id(plane): cloud.points_mm[plane.rows].mean(axis=0) for plane in planes}
    for plane in sorted(planes, key=lambda p: float(planes[0].distance_mm(centres[id(p)]))):
        heights = [(p.area_m2, float(plane.distance_mm(centres[id(p)]))) for p in planes if p is not plane]
        near = tuple((area, height) for area, height in heights if abs(height) < _STEP_MM)
        step_up = max((area for area, height in near if height > 0), default=0.0)
        if plane.area_m2 >= max(_LEAST_SHARE * largest, _LEAST_SHARE_OF_STEP * step_up):
            return FloorPlane(plane.normal, plane.offset_mm, plane.area_m2, other_levels=near)
    return None


def _seen_from_above(cloud: Cloud, plane: Plane) -> bool:
    """By the viewpoints where known; else a ceiling has the room beneath it and nothing on it."""
    if cloud.viewpoints_mm is not None and len(cloud.viewpoints_mm):
        above = plane.distance_mm(cloud.viewpoints_mm) > 0
        if cloud.view_of_point is not None:
            above = above[cloud.view_of_point[plane.rows]]
        return bool(np.mean(above) > 0.5)  # noqa: PLR2004 - most of them
    over, under = _beside(cloud, plane)
    return under <= _CEILING_RATIO * over + 0.02 * len(plane.rows)


def _beside(cloud: Cloud, plane: Plane) -> tuple[int, int]:
    """Points over and under a plane within a person's reach, above and below its own footprint."""
    distance = plane.distance_mm(cloud.points_mm)
    cells = plane_cells(cloud.points_mm, plane.normal)
    low = cells[plane.rows].min(axis=0) - 1
    footprint = np.zeros(cells[plane.rows].max(axis=0) - low + 2, dtype=bool)
    footprint[tuple((cells[plane.rows] - low).T)] = True
    footprint = _dilated(footprint)
    near = (np.abs(distance) > _ABOVE_MM[0]) & (np.abs(distance) < _ABOVE_MM[1])
    near &= np.all((cells >= low) & (cells - low < footprint.shape), axis=1)
    beside = distance[near][footprint[tuple((cells[near] - low).T)]]
    return int((beside > 0).sum()), int((beside < 0).sum())


def _dilated(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """One cell wider, so that walls at the border count."""
    from scipy.ndimage import binary_dilation

    grown: NDArray[np.bool_] = binary_dilation(mask, np.ones((3, 3), dtype=bool))
    return grown
