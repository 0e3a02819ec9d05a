"""Readings find their gap or joint, change it or contradict it, and nothing else."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from flatscan.errors import InputError
from flatscan.measures.hand import take_in
from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
from flatscan.measures.joints.network import JointNetwork, JointPiece
from flatscan.measures.joints.stations import stations_along
from flatscan.measures.measurement import Flatness, GapMap, GapSpot, Measurement
from flatscan.quantity import Quantity
from flatscan.settings import JointSettings
from flatscan.sources.hand.hand_reading import HandReading

SETTINGS = JointSettings()


def mm(value: float, u: float) -> Quantity:
    return Quantity(value, u, "mm")


def spot(value: float, at, edge_mm: float = 2000.0, u: float = 0.4) -> GapSpot:
    return GapSpot(edge_mm, mm(value, u), value, 0.1, at, (at, at), 1000.0, 0.0, bridges_hole=False)


def reading(what, value, at, *, u=0.1, row=2, edge_mm=None, joint=None) -> HandReading:
    return HandReading(row=row, what=what, at=at, value=mm(value, u), edge_mm=edge_mm, joint=joint)


@pytest.fixture
def measurement() -> Measurement:
    """Three joints of 600 mm along x, 500 mm apart; J3 has no figures. Two gaps."""
    pieces = tuple(JointPiece((0.0, y), (600.0, y), (None, None), 1.0) for y in (500.0, 1000.0, 1500.0))
    network = JointNetwork(pieces, (), None, "picture", "invented")
    rows = stations_along(network, 50.0)
    joints = []
    for i, piece in enumerate(pieces):
        seen = i < 2
        stations = tuple(
            Station(
                at=tuple(rows.at_mm[k].tolist()),
                along_mm=float(rows.along_mm[k]),
                stretch_mm=50.0,
                wall_width=mm(3.0, 0.1) if seen else None,
                width=mm(3.75, math.hypot(0.1, 0.53)) if seen else None,
                lip=mm(-0.5, 1.0) if seen else None,
                refused=(("depth", "too_coarse"),) if seen else (("depth", "too_coarse"), ("lip", "smoothed")),
            )
            for k in np.flatnonzero(rows.piece == i)
        )
        joints.append(MeasuredJoint(f"J{i + 1}", i, (piece.start, piece.end), stations))
    flat = Flatness(*(mm(1.0, 0.1) for _ in range(5)))
    gaps = (spot(4.0, (1000.0, 1000.0)), spot(3.0, (3000.0, 1000.0)), spot(2.5, (1000.0, 1000.0), 1000.0))
    return Measurement(flat, gaps, (), (), None, (), joints=Joints(network, tuple(joints)))


def test_no_reading_changes_nothing(measurement):
    assert take_in(measurement, (), SETTINGS) is measurement


def test_a_gap_is_fused_at_its_place_and_edge_and_the_order_kept(measurement):
    """(4.0 ± 0.4, 2.8 ± 0.3): weights 6.25 and 11.11, mean 3.232, u 0.24; it stays first."""
    after = take_in(measurement, [reading("gap", 2.8, (1100.0, 1050.0), u=0.3, edge_mm=2000.0)], SETTINGS)
    assert [(s.at, s.edge_mm) for s in after.gaps][:1] == [((1000.0, 1000.0), 2000.0)]
    assert (after.gaps[0].gap.value, after.gaps[0].gap.u) == pytest.approx((3.232, 0.24))
    assert after.gaps[1:] == measurement.gaps[1:]
    (held,) = after.hand
    assert (held.scan, held.taken, held.conflict) == (measurement.gaps[0].gap, after.gaps[0].gap, False)
    low = take_in(measurement, [reading("gap", 2.7, (1000.0, 1000.0), u=0.2, edge_mm=2000.0)] * 3, SETTINGS)
    assert [s.gap.value for s in low.gaps] == sorted((s.gap.value for s in low.gaps), reverse=True)
    assert low.gaps[0].at == (3000.0, 1000.0)


@pytest.mark.parametrize(("at", "edge"), [((1301.0, 1000.0), 2000.0), ((1000.0, 1000.0), 3000.0)])
def test_a_gap_read_elsewhere_stands_by_itself(measurement, at, edge):
    given = reading("gap", 5.0, at, edge_mm=edge)
    after = take_in(measurement, [given], SETTINGS)
    assert after.gaps == measurement.gaps
    assert [(h.reading, h.scan, h.taken) for h in after.hand] == [(given, None, given.value)]


def test_a_contradiction_is_kept_and_not_averaged(measurement):
    """4.0 ± 0.4 against 2.4 ± 0.3: 1.6 > 3 * 0.5."""
    after = take_in(measurement, [reading("gap", 2.4, (1000.0, 1000.0), u=0.3, edge_mm=2000.0)], SETTINGS)
    assert after.gaps == measurement.gaps
    assert [(h.taken, h.conflict) for h in after.hand] == [(None, True)]


def test_two_readings_of_one_place_must_agree(measurement):
    pair = [reading("lip", v, (325.0, 500.0), joint="J1") for v in (0.2, 1.4)]
    after = take_in(measurement, pair, SETTINGS)
    assert after.joints.joints == measurement.joints.joints
    assert [h.conflict for h in after.hand] == [True, True]
    apart = [reading("lip", v, (x, 500.0), joint="J1") for v, x in ((0.2, 25.0), (1.4, 575.0))]
    assert [h.conflict for h in take_in(measurement, apart, SETTINGS).hand] == [False, False]


def test_a_lip_moves_its_whole_piece_on_its_side_and_no_other(measurement):
    after = take_in(measurement, [reading("lip", 1.2, (325.0, 500.0), joint="j1")], SETTINGS)
    first, second, third = after.joints.joints
    assert {round(s.lip.value, 2) for s in first.stations} == {-1.19}
    assert all(s.lip.u < 0.32 for s in first.stations)
    assert (second, third) == measurement.joints.joints[1:]
    assert after.hand[0].scan.value == 0.5
    assert after.hand[0].taken.value == pytest.approx(1.19, abs=0.005)
    assert after.hand[0].reading.joint == "J1"


def test_a_joint_the_scan_could_not_measure_gets_the_readings_and_loses_the_refusal(measurement):
    given = [
        reading("lip", 0.3, (325.0, 1500.0), joint="J3", row=2),
        reading("joint_depth", 1.0, (325.0, 1500.0), u=0.3, joint="J3", row=3),
        reading("joint_width", 4.0, (325.0, 1500.0), u=0.3, joint="J3", row=4),
    ]
    station = take_in(measurement, given, SETTINGS).joints.joints[2].stations
    assert all(s.refused == () for s in station)
    assert station[6].at == (325.0, 1500.0)
    assert (station[6].depth.value, station[6].depth.u) == pytest.approx((1.0, 0.3))
    assert (station[6].width.value, station[6].width.u) == pytest.approx((4.0, 0.3))
    assert station[0].width.u == pytest.approx(math.sqrt(0.09 + 0.32))


@pytest.mark.parametrize(("x", "surest"), [(25.0, 0), (325.0, 6), (575.0, 11), (590.0, 11)])
def test_a_lip_is_best_known_where_it_was_read(measurement, x, surest):
    for name, y in (("J1", 500.0), ("J3", 1500.0)):
        after = take_in(measurement, [reading("lip", 0.6, (x, y), joint=name)], SETTINGS)
        joint = next(j for j in after.joints.joints if j.id == name)
        assert int(np.argmin([s.lip.u for s in joint.stations])) == surest


def test_one_width_narrows_all_widths_that_were_photographed(measurement):
    after = take_in(measurement, [reading("joint_width", 3.3, (325.0, 500.0), u=0.3, joint="J1")], SETTINGS)
    other = after.joints.joints[1].stations[0].width
    moved = 0.53**2 / (0.53**2 + 0.1**2 + 0.3**2) * -0.45
    assert other.value == pytest.approx(3.75 + moved)
    assert other.u < 0.31
    assert after.joints.joints[2].stations[0].width is None
    assert after.joints.joints[1].stations[0].wall_width == mm(3.0, 0.1)


def test_the_order_of_rows_does_not_matter(measurement):
    given = [
        reading("lip", 0.8, (25.0, 500.0), row=2),
        reading("lip", 0.4, (575.0, 500.0), row=3),
        reading("joint_width", 3.3, (25.0, 500.0), u=0.3, row=4),
        reading("joint_width", 3.9, (575.0, 1000.0), u=0.3, row=5),
        reading("joint_depth", 1.0, (575.0, 1000.0), u=0.3, row=6),
        reading("joint_depth", 1.4, (25.0, 1000.0), u=0.3, row=7),
    ]
    one, other = take_in(measurement, given, SETTINGS), take_in(measurement, given[::-1], SETTINGS)
    assert [h.reading for h in one.hand] == [h.reading for h in other.hand]
    for a, b in zip(one.joints.joints, other.joints.joints, strict=True):
        for s, t in zip(a.stations, b.stations, strict=True):
            for name in ("width", "depth", "lip"):
                p, q = getattr(s, name), getattr(t, name)
                assert (p is None) == (q is None)
                if p is not None:
                    assert (p.value, p.u) == pytest.approx((q.value, q.u), abs=1e-6)


def test_a_reading_without_a_joints_name_finds_the_nearest(measurement):
    near, far = (reading("lip", 0.6, (325.0, y)) for y in (1080.0, 1250.0))
    assert [h.reading.joint for h in take_in(measurement, [near, far], SETTINGS).hand] == ["J2", None]


def test_where_joints_were_not_looked_for_readings_stand_by_themselves(measurement):
    bare = dataclasses.replace(measurement, joints=None)
    given = reading("lip", 0.6, (325.0, 500.0), joint="J1")
    after = take_in(bare, [given], SETTINGS)
    assert after.joints is None
    assert [(h.scan, h.taken) for h in after.hand] == [(None, given.value)]


@pytest.mark.parametrize(
    ("joint", "at", "says"),
    [
        ("J9", (325.0, 500.0), "hand readings, row 2: this floor has no joint J9"),
        ("J1", (325.0, 1000.0), r"joint J1 does not run at \(0.33, 1.00\) m but 0.50 m from it"),
    ],
)
def test_a_joint_of_another_floor_is_refused(measurement, joint, at, says):
    with pytest.raises(InputError, match=says):
        take_in(measurement, [reading("lip", 0.5, at, joint=joint)], SETTINGS)


def test_a_place_off_the_floor_is_refused(measurement, surface_of):
    surface = surface_of(np.zeros((40, 80)))  # 4 x 2 m
    for at in ((1000.0, 1000.0), (4200.0, 1000.0)):
        take_in(measurement, [reading("gap", 1.0, at, edge_mm=500.0)], SETTINGS, surface=surface)
    with pytest.raises(InputError, match=r"row 2: the place \(5.00, 1.00\) m is not on this floor"):
        take_in(measurement, [reading("gap", 1.0, (5000.0, 1000.0), edge_mm=500.0)], SETTINGS, surface=surface)


def test_a_gap_read_away_from_the_worst_places_is_held_against_the_map(measurement, surface_of):
    """Map: 2.4 ± 0.4 at column 50 to 79 (x from 2.5 m), nothing to the left. Fused with 1.9 ± 0.3: 2.08 ± 0.24."""
    surface = surface_of(np.zeros((40, 80)))
    gap, u = np.full((40, 80), 2.4, np.float32), np.full((40, 80), 0.4, np.float32)
    gap[:, :50] = np.nan
    bare = dataclasses.replace(measurement, gap_maps=(GapMap(3000.0, gap, gap, u, 0.1),))
    given = [
        reading("gap", 1.9, (3500.0, 500.0), u=0.3, edge_mm=3000.0, row=2),
        reading("gap", 0.5, (3500.0, 1500.0), u=0.3, edge_mm=3000.0, row=3),
        reading("gap", 0.5, (1500.0, 1500.0), u=0.3, edge_mm=3000.0, row=4),
    ]
    agree, conflict, lone = take_in(bare, given, SETTINGS, surface=surface).hand
    assert (agree.taken.value, agree.taken.u, agree.conflict) == pytest.approx((2.08, 0.24, False), abs=1e-6)
    assert (conflict.taken, conflict.conflict) == (None, True)
    assert conflict.scan.value == pytest.approx(2.4)
    assert (lone.scan, lone.taken) == (None, given[2].value)
