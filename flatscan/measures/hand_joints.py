"""Hand readings of joints and lips taken into the measured joints."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.measures.joints.fusion import contradict, lips_with_hand, spread_along, widths_with_hand
from flatscan.measures.measurement import HeldAgainst
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Joints, MeasuredJoint, Refusal, Station
    from flatscan.sources.hand.hand_reading import HandReading

    Floats = NDArray[np.float64]
    Figure = Literal["width", "depth", "lip"]
    Refused = tuple[tuple[Figure, Refusal], ...]

_FIGURES: dict[str, Figure] = {"lip": "lip", "joint_width": "width", "joint_depth": "depth"}


def fuse_joints(
    joints: Joints, readings: Sequence[HandReading], *, same_place_mm: float
) -> tuple[Joints, list[HeldAgainst]]:
    """Joints with the readings in them, and what became of each; all readings of a kind are taken at once.

    Readings that name no joint stay by themselves. ``same_place_mm``: readings of one joint closer together than this
    are of one place, and must agree.
    """
    numbers = {joint.id: i for i, joint in enumerate(joints.joints)}
    attached = [r for r in readings if r.joint in numbers]
    at = {id(r): _nearest(joints.joints[numbers[r.joint or ""]], r) for r in attached}
    scan = {id(r): _scan(joints.joints[numbers[r.joint or ""]].stations[at[id(r)]], r) for r in attached}
    bad = {id(r) for r in attached if _contradicted(r, scan[id(r)], attached, same_place_mm)}
    pieces = list(joints.joints)
    for number, joint in enumerate(joints.joints):
        good = [r for r in attached if r.joint == joint.id and id(r) not in bad]
        lips = [r for r in good if r.what == "lip"]
        depths = [r for r in good if r.what == "joint_depth"]
        if lips:
            pieces[number] = _with_lips(pieces[number], lips)
        if depths:
            pieces[number] = _with_spread(pieces[number], "depth", depths, [at[id(r)] for r in depths])
    widths = [r for r in attached if r.what == "joint_width" and id(r) not in bad]
    pieces = _with_widths(pieces, widths, numbers, at)
    held = []
    for r in readings:
        if r.joint not in numbers:
            held.append(HeldAgainst(r, scan=None, taken=r.value, conflict=False))
            continue
        after = _scan(pieces[numbers[r.joint]].stations[at[id(r)]], r)
        conflict = id(r) in bad
        held.append(HeldAgainst(r, scan=scan[id(r)], taken=None if conflict else after, conflict=conflict))
    return replace(joints, joints=tuple(pieces)), held


def _nearest(joint: MeasuredJoint, reading: HandReading) -> int:
    return min(range(len(joint.stations)), key=lambda i: math.dist(joint.stations[i].at, reading.at))


def _scan(station: Station, reading: HandReading) -> Quantity | None:
    """The station's figure that the reading is of; of a lip its size, which is what a hand reads."""
    found: Quantity | None = getattr(station, _FIGURES[reading.what])
    if found is None or reading.what != "lip":
        return found
    return replace(found, value=abs(found.value))


def _contradicted(r: HandReading, scan: Quantity | None, every: Sequence[HandReading], same_place_mm: float) -> bool:
    if scan is not None and contradict(scan.value, scan.u, r.value.value, r.value.u):
        return True
    return any(
        o.joint == r.joint
        and o.what == r.what
        and math.dist(o.at, r.at) <= same_place_mm
        and contradict(o.value.value, o.value.u, r.value.value, r.value.u)
        for o in every
    )


def _with_lips(joint: MeasuredJoint, readings: Sequence[HandReading]) -> MeasuredJoint:
    along = np.array([s.along_mm for s in joint.stations])
    middle = (along.min() + along.max()) / 2.0
    values, u = _arrays(joint, "lip")
    # A reading counts where it was read, between stations too.
    start, step = np.array(joint.stations[0].at), _way(joint)
    read = np.array([float((np.array(r.at) - start) @ step) for r in readings]) + along[0] - middle
    read = np.clip(read, -joint.length_mm / 2.0, joint.length_mm / 2.0)
    value, left = lips_with_hand(along - middle, values, u, read, *_hand(readings))
    return _set(joint, "lip", value, left)


def _way(joint: MeasuredJoint) -> Floats:
    step = np.array(joint.line[-1]) - np.array(joint.line[0])
    return np.asarray(step / max(float(np.linalg.norm(step)), 1e-9))


def _with_spread(
    joint: MeasuredJoint, name: Figure, readings: Sequence[HandReading], stations: Sequence[int]
) -> MeasuredJoint:
    value, u = spread_along(*_arrays(joint, name), np.array(stations), *_hand(readings))
    return _set(joint, name, value, u)


def _with_widths(
    pieces: list[MeasuredJoint], readings: Sequence[HandReading], numbers: dict[str, int], at: dict[int, int]
) -> list[MeasuredJoint]:
    """Readings at stations with a wall width tell the floor's rounding; elsewhere they are all that their piece has."""
    index = {
        (i, k): n
        for n, (i, k) in enumerate(
            (i, k)
            for i, joint in enumerate(pieces)
            for k, s in enumerate(joint.stations)
            if s.width is not None and s.wall_width is not None and math.isfinite(s.width.u)
        )
    }
    keyed = [(numbers[r.joint or ""], at[id(r)], r) for r in readings]
    seen = [(index[i, k], r) for i, k, r in keyed if (i, k) in index]
    blind: dict[int, list[tuple[int, HandReading]]] = {}
    for i, k, r in keyed:
        if (i, k) not in index:
            blind.setdefault(i, []).append((k, r))
    after = list(pieces)
    if seen:
        value, u = _floor_widths(pieces, list(index), seen)
        for i, joint in enumerate(pieces):
            own = [(k, index[i, k]) for k in range(len(joint.stations)) if (i, k) in index]
            full, full_u = np.full(len(joint.stations), np.nan), np.full(len(joint.stations), np.nan)
            for k, n in own:
                full[k], full_u[k] = value[n], u[n]
            after[i] = _set(joint, "width", full, full_u)
    for i, pairs in blind.items():
        known = [s.wall_width is not None for s in pieces[i].stations]
        whole = _with_spread(after[i], "width", [r for _, r in pairs], [k for k, _ in pairs])
        stations = [
            old if seen_ else new for old, new, seen_ in zip(after[i].stations, whole.stations, known, strict=True)
        ]
        after[i] = replace(after[i], stations=tuple(stations))
    return after


def _floor_widths(
    pieces: Sequence[MeasuredJoint], keys: Sequence[tuple[int, int]], seen: Sequence[tuple[int, HandReading]]
) -> tuple[Floats, Floats]:
    pairs = [(s.width, s.wall_width) for i, k in keys for s in [pieces[i].stations[k]]]
    width = np.array([w.value for w, _ in pairs if w is not None])
    u = np.array([w.u for w, _ in pairs if w is not None])
    wall_u = np.array([v.u for _, v in pairs if v is not None])
    # The rounding's own uncertainty is what the judged width has beyond the wall width.
    edge_u = float(np.sqrt(np.median(np.maximum(u**2 - wall_u**2, 0.0))))
    return widths_with_hand(width, u, wall_u, edge_u, np.array([n for n, _ in seen]), *_hand([r for _, r in seen]))


def _hand(readings: Sequence[HandReading]) -> tuple[Floats, Floats]:
    return np.array([r.value.value for r in readings]), np.array([r.value.u for r in readings])


def _arrays(joint: MeasuredJoint, name: Figure) -> tuple[Floats, Floats]:
    figures: list[Quantity | None] = [getattr(s, name) for s in joint.stations]
    usable = [q if q is not None and math.isfinite(q.u) else None for q in figures]
    return (
        np.array([math.nan if q is None else q.value for q in usable]),
        np.array([math.nan if q is None else q.u for q in usable]),
    )


def _set(joint: MeasuredJoint, name: Figure, value: Floats, u: Floats) -> MeasuredJoint:
    """The joint with these figures where they are finite; a refusal that a reading has answered is gone."""
    stations = []
    for station, v, doubt in zip(joint.stations, value.tolist(), u.tolist(), strict=True):
        if not math.isfinite(v):
            stations.append(station)
            continue
        found = Quantity(v, doubt, "mm", (("hand and scan", doubt),))
        refused = tuple(pair for pair in station.refused if pair[0] != name)
        stations.append(_replaced(station, name, found, refused))
    return replace(joint, stations=tuple(stations))


def _replaced(station: Station, name: Figure, found: Quantity, refused: Refused) -> Station:
    if name == "lip":
        return replace(station, lip=found, refused=refused)
    if name == "depth":
        return replace(station, depth=found, refused=refused)
    return replace(station, width=found, refused=refused)
