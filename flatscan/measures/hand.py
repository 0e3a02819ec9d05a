"""Hand readings taken into a measurement: weighted by uncertainty where they agree with the scan, shown where not."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.measures.hand_joints import fuse_joints
from flatscan.measures.joints.fusion import contradict, fused
from flatscan.measures.lone_spots import held_alone
from flatscan.measures.measurement import HeldAgainst
from flatscan.measures.realised_hand import answers_for_floor, floor_after, own_figure
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.measures.joints.joints import Joints
    from flatscan.measures.measurement import GapSpot, Measurement
    from flatscan.settings import JointSettings
    from flatscan.sources.hand.hand_reading import HandReading
    from flatscan.surface.surface import Surface

#: A reading belongs to the figure of its kind within this distance.
SAME_PLACE_MM = 300.0
#: A reading that names no joint belongs to the joint that runs within this distance of it.
_ON_JOINT_MM = 100.0
_SAME_EDGE_MM = 5e-3


def take_in(
    measurement: Measurement,
    readings: Sequence[HandReading],
    settings: JointSettings,
    *,
    surface: Surface | None = None,
) -> Measurement:
    """The measurement with hand readings fused into it; ``Measurement.hand`` says what each did.

    Gaps: the worst place of that edge within 300 mm is fused with the reading by 1/u²; where that place answers for
    a whole floor known by hand readings, only what both have in common moves (``realised_hand``). Lips: the whole
    piece's line profits. Widths: the rounding of the tile edges, one for the floor, and the station read. Depths:
    the piece, with a spread from place to place. A reading that contradicts the scan (``fusion.contradict``), or
    another reading of the same place, changes nothing and is marked, so that the judgement can say so. A reading
    beside which the scan has no figure is kept and judged by itself.

    Parameters
    ----------
    readings : in any order
    settings : station spacing
    surface : the floor, for checking places and for gaps read away from the worst places; None: neither

    Raises
    ------
    InputError
        for a place off the floor, or a joint that is not on this floor or not at that place
    """
    if not readings:
        return measurement
    placed = [_placed(reading, measurement.joints, surface) for reading in readings]
    gaps, of_gaps = _fuse_gaps(measurement, [r for r in placed if r.what == "gap"], surface)
    of_joints = [r for r in placed if r.what != "gap"]
    joints, held = measurement.joints, held_alone(of_joints)
    if joints is not None and joints.joints:
        joints, held = fuse_joints(joints, of_joints, same_place_mm=2.0 * settings.station_mm)
    hand = sorted([*of_gaps, *held], key=lambda h: h.reading.row)
    return replace(measurement, gaps=gaps, joints=joints, hand=(*measurement.hand, *hand))


def _placed(reading: HandReading, joints: Joints | None, surface: Surface | None) -> HandReading:
    """The reading, its joint named as on the map; raises for a place or joint that does not exist."""
    where = f"hand readings, row {reading.row}"
    place = f"({reading.at[0] / MM_PER_M:.2f}, {reading.at[1] / MM_PER_M:.2f}) m"
    if surface is not None and _off_floor_mm(surface, reading.at) > SAME_PLACE_MM:
        raise InputError(where, f"the place {place} is not on this floor", "Check x_m and y_m, in metres from corner 0")
    if reading.what == "gap" or joints is None or not joints.joints:
        return reading
    away = {
        joint.id: min((math.dist(s.at, reading.at) for s in joint.stations), default=math.inf)
        for joint in joints.joints
    }
    if reading.joint is None:
        nearest = min(away, key=away.__getitem__)
        return replace(reading, joint=nearest) if away[nearest] <= _ON_JOINT_MM else reading
    name = next((known for known in away if known.lower() == reading.joint.strip().lower()), None)
    if name is None:
        raise InputError(
            where,
            f"this floor has no joint {reading.joint}",
            "Take the name from joints.csv, or leave it empty so that the nearest joint is taken",
        )
    if away[name] > SAME_PLACE_MM:
        raise InputError(
            where,
            f"joint {name} does not run at {place} but {said.tape(away[name])} from it",
            "Use the readings file of this capture, or correct the joint or the place",
        )
    return replace(reading, joint=name)


def _off_floor_mm(surface: Surface, at: tuple[float, float]) -> float:
    rows, cols = np.nonzero(surface.inside)
    if rows.size == 0:
        return 0.0
    x0, y0 = surface.xy_mm(0, 0)
    return float(np.hypot(x0 + cols * surface.cell_mm - at[0], y0 + rows * surface.cell_mm - at[1]).min())


def _lone(reading: HandReading) -> HeldAgainst:
    return HeldAgainst(reading, scan=None, taken=reading.value, conflict=False)


def _fuse_gaps(
    measurement: Measurement, readings: Sequence[HandReading], surface: Surface | None
) -> tuple[tuple[GapSpot, ...], list[HeldAgainst]]:
    """Spots with their readings, worst first again, and what became of each reading."""
    spots = measurement.gaps
    of_spot: dict[int, list[HandReading]] = {}
    held: list[HeldAgainst] = []
    for reading in readings:
        near = [
            (math.dist(s.at, reading.at), i)
            for i, s in enumerate(spots)
            if reading.edge_mm is not None and abs(s.edge_mm - reading.edge_mm) < _SAME_EDGE_MM
        ]
        distance, index = min(near, default=(math.inf, -1))
        if distance < SAME_PLACE_MM:
            of_spot.setdefault(index, []).append(reading)
        else:
            held.append(_on_map(reading, measurement, surface))
    fresh = list(spots)
    for index, of_one in of_spot.items():
        of_floor = surface if answers_for_floor(spots[index], measurement, surface) else None
        scan = spots[index].gap if of_floor is None else own_figure(spots[index], measurement, of_floor)
        bad = any(contradict(scan.value, scan.u, r.value.value, r.value.u) for r in of_one) or _quarrel(of_one)
        taken = None if bad else _together([scan, *(r.value for r in of_one)])
        if taken is not None:
            read = _together([r.value for r in of_one])
            gap = taken if of_floor is None else floor_after(spots[index], scan, read, taken, of_floor)
            fresh[index] = replace(spots[index], gap=gap)
        held += [HeldAgainst(r, scan=scan, taken=taken, conflict=bad) for r in of_one]
    return tuple(sorted(fresh, key=lambda s: -s.gap.value)), held


def _together(quantities: Sequence[Quantity]) -> Quantity:
    value, u = fused(np.array([q.value for q in quantities]), np.array([q.u for q in quantities]))
    return Quantity(value, u, "mm", (("hand and scan", u),))


def _on_map(reading: HandReading, measurement: Measurement, surface: Surface | None) -> HeldAgainst:
    """A reading away from the worst places, beside what the gap map of its edge says there, if anything."""
    maps = [m for m in measurement.gap_maps if abs(m.edge_mm - (reading.edge_mm or 0.0)) < _SAME_EDGE_MM]
    if surface is None or not maps:
        return _lone(reading)
    (x0, y0), gap_map = surface.xy_mm(0, 0), maps[0]
    row, col = round((reading.at[1] - y0) / surface.cell_mm), round((reading.at[0] - x0) / surface.cell_mm)
    rows, cols = gap_map.gap_mm.shape
    if not (0 <= row < rows and 0 <= col < cols):
        return _lone(reading)
    value, u = float(gap_map.gap_mm[row, col]), float(gap_map.u_mm[row, col])
    if not (math.isfinite(value) and math.isfinite(u)):
        return _lone(reading)
    scan = Quantity(value, u, "mm")
    if contradict(value, u, reading.value.value, reading.value.u):
        return HeldAgainst(reading, scan=scan, taken=None, conflict=True)
    return HeldAgainst(reading, scan=scan, taken=_together([scan, reading.value]), conflict=False)


def _quarrel(readings: Sequence[HandReading]) -> bool:
    return any(
        contradict(a.value.value, a.value.u, b.value.value, b.value.u)
        for i, a in enumerate(readings)
        for b in readings[i + 1 :]
    )
