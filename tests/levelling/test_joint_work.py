"""What joints and lips ask for, in litres and metres, against sums by hand and the verdict's tally."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from flatscan.judgement import judge, load_limits
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.levelling.joints.joint_fills import GUESSED_MM
from flatscan.levelling.joints.joint_work import joint_extra, joint_work_of
from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
from flatscan.measures.joints.network import JointNetwork, JointPiece
from flatscan.measures.measurement import Flatness, GapSpot, Measurement
from flatscan.quantity import Quantity
from flatscan.settings import JudgeSettings

DEFAULT = load_limits(["over-old-tiles"])
RULE = JudgeSettings()
STRETCH_MM = 50.0
#: Joints of 1 m, 20 stations each, 500 mm apart.
STATIONS = 20


def mm(value, u):
    return None if value is None else Quantity(value, u, "mm")


@pytest.fixture
def made(make_surface):
    """A floor with so many joints along x; ``figures(joint, station)`` changes a station's width, depth or lip."""

    def make(count=4, figures=lambda *_: {}, *, u=0.1, sets=DEFAULT, noise=False):
        joints = []
        pieces = [
            JointPiece((1000.0, 500.0 * (n + 1)), (2000.0, 500.0 * (n + 1)), (None, None), 1.0) for n in range(count)
        ]
        for n, piece in enumerate(pieces):
            stations = []
            for k in range(STATIONS):
                own = {"width": 3.0, "depth": 1.0, "lip": 0.3} | figures(n, k)
                at = (piece.start[0] + (k + 0.5) * STRETCH_MM, piece.start[1])
                found = {name: mm(own[name], own.get(f"u_{name}", u)) for name in ("width", "depth", "lip")}
                stations.append(Station(at, (k + 0.5) * STRETCH_MM, STRETCH_MM, None, **found))
            joints.append(MeasuredJoint(f"J{n + 1}", n, (piece.start, piece.end), tuple(stations)))
        network = JointNetwork(tuple(pieces), (), None, "picture", "invented")
        flat = Flatness(*(mm(1.0, 0.1) for _ in range(5)))
        gap = GapSpot(
            2000.0, mm(1.0, 0.2), 1.0, 0.1, (1000.0, 1000.0), ((100.0, 1000.0), (1900.0, 1000.0)), 1800.0, 0.0, False
        )
        measurement = Measurement(flat, (gap,), (), (), None, (), joints=Joints(network, tuple(joints)))
        verdict = judge(measurement, make_surface(), list(sets), RULE)
        if noise:
            verdict = replace(verdict, joint_tally=replace(verdict.joint_tally, lips_beyond_noise=False))
        return joint_work_of(measurement, verdict, sets, RULE), verdict.joint_tally

    return make


def test_without_joints_there_is_no_work(make_surface):
    flat = Flatness(*(mm(1.0, 0.1) for _ in range(5)))
    measurement = Measurement(flat, (), (), (), None, ())
    verdict = judge(measurement, make_surface(), DEFAULT, RULE)
    assert joint_work_of(measurement, verdict, DEFAULT, RULE) is None
    assert joint_extra("patch", None, 0.0) == ()


def test_volume_is_width_times_depth_times_length_and_errors_add_up(made):
    """Half of one joint 8 mm wide and 3 mm deep: 8 x 3 x 500 mm³ = 0.012 l.

    u: stations share their errors. Of the width 0.5 mm, 3 x 0.5 x 500; of the depth 0.2 mm, 8 x 0.2 x 500; of both
    0.5 x 0.2 x 500 mm³: root of 750² + 800² + 50² = 1097.7 mm³.
    """
    work, tally = made(
        figures=lambda n, k: {"width": 8.0, "depth": 3.0, "u_width": 0.5, "u_depth": 0.2} if n == 1 and k < 10 else {}
    )
    (fill,) = work.fills
    assert (fill.joint, fill.word, fill.guessed) == ("J2", "over", False)
    assert fill.length_mm == pytest.approx(500.0)
    assert fill.volume.value == pytest.approx(0.012)
    assert fill.volume.u == pytest.approx(math.sqrt(750.0**2 + 800.0**2 + 50.0**2) / 1e6)
    assert (fill.width.value, fill.depth.value) == (pytest.approx(8.0), pytest.approx(3.0))
    # All four joints: 3.5 m of 3 x 1 mm besides.
    assert work.every_joint.value == pytest.approx(0.012 + 3500.0 * 3.0 * 1.0 / 1e6)
    assert work.joints_m == pytest.approx(4.0)
    assert work.unmeasured_m == 0.0
    assert tally.fill_m == pytest.approx(0.5)


def test_a_product_of_two_doubtful_figures_scatters_as_simulated():
    """The stated u against the spread of a million products with shared errors."""
    from flatscan.levelling.joints.joint_fills import Figures, litres

    rng = np.random.default_rng(5)
    w, d = np.array([5.0, 7.0]), np.array([5.0, 3.0])
    stretch, all_here = np.array([400.0, 600.0]), np.array([True, True])
    figures = [Figures(v, np.full(2, u), all_here, True, False) for v, u in ((w, 1.0), (d, 2.0))]
    said = litres(*figures, stretch, all_here)
    e_w, e_d = rng.normal(0.0, 1.0, (1_000_000, 1)), rng.normal(0.0, 2.0, (1_000_000, 1))
    simulated = ((w + e_w) * (d + e_d) * stretch).sum(axis=1) / 1e6
    # The standard error of a standard deviation of a million is 0.07 %, a little more for a product.
    assert said.u == pytest.approx(simulated.std(), rel=0.005)
    assert said.value == pytest.approx((w * d * stretch).sum() / 1e6)


def test_what_was_not_measured_is_the_joints_then_the_floors_mean_then_a_guess(made):
    def figures(n, k):
        if n == 0:
            return {"width": 8.0, "depth": 4.0 if k < 10 else None}  # the joint's own mean
        if n == 1:
            return {"width": 8.0, "depth": None}  # the floor's mean
        return {"width": None, "depth": None}

    work, _ = made(count=3, figures=figures)
    first, second = work.fills
    assert first.volume.value == pytest.approx(8.0 * 4.0 * 1000.0 / 1e6)
    assert first.depth.value == pytest.approx(4.0)
    assert second.volume.value == pytest.approx(8.0 * 4.0 * 1000.0 / 1e6)
    assert second.depth is None
    assert not second.guessed
    assert work.unmeasured_m == pytest.approx(1.0)
    work, _ = made(count=2, figures=lambda *_: {"width": 8.0, "depth": None})
    assert all(fill.guessed for fill in work.fills)
    assert work.fills[0].volume.value == pytest.approx(8.0 * GUESSED_MM.value * 1000.0 / 1e6)
    assert work.fills[0].volume.u == pytest.approx(8.0 * GUESSED_MM.u * 1000.0 / 1e6, rel=0.01)


def test_joints_that_differ_stand_for_others_with_their_scatter(made):
    """Depths of 2 and 6 mm: the mean of 4 has a scatter of 2 mm besides the 0.1 mm of each reading."""
    work, _ = made(count=3, figures=lambda n, _: {"width": 8.0, "depth": (2.0, 6.0, None)[n]})
    third = next(fill for fill in work.fills if fill.joint == "J3")
    u_d = math.hypot(2.0, 0.1)
    parts = (4.0 * 0.1, 8.0 * u_d, 0.1 * u_d)
    assert third.volume.u == pytest.approx(math.sqrt(sum(p * p for p in parts)) * 1000.0 / 1e6)


def two_sets():
    source = LimitSource(document="a test", mark="common practice, no source")

    def of(name, **limits):
        return LimitSet(
            id=name, title=name, source=source, limits=tuple(Limit(what=w, limit_mm=t) for w, t in limits.items())
        )

    return [of("one", joint_width=5.0, lip=1.0), of("two", joint_depth=2.0, lip=0.6), of("three", joint_width=6.0)]


@pytest.mark.parametrize("sets", [DEFAULT, two_sets()], ids=["default", "three"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_metres_and_lips_are_those_of_the_tally(made, sets, seed):
    rng = np.random.default_rng(seed)
    table = rng.normal(0.0, 1.0, (12, STATIONS, 3))
    some = rng.random((12, STATIONS, 3)) < 0.2

    def figures(n, k):
        w, d, lip = table[n, k]
        found = {"width": 5.0 + 0.3 * w, "depth": 2.0 + 0.3 * d, "lip": 0.8 + 0.6 * lip}
        return {name: None if some[n, k, i] else value for i, (name, value) in enumerate(found.items())}

    work, tally = made(count=12, figures=figures, sets=sets)
    assert tally.fill_m > 0.0
    assert tally.fill_undecided_m > 0.0
    assert tally.lips_over > 0
    assert work.metres_to_fill() == pytest.approx(tally.fill_m)
    assert work.metres_to_fill("not_decided") == pytest.approx(tally.fill_undecided_m)
    over = [lip for lip in work.lips if lip.word == "over"]
    assert tally.lips_beyond_noise
    assert len(over) == tally.lips_over
    assert sum(lip.length_mm for lip in over) == pytest.approx(1000.0 * tally.lips_over_m)
    assert len(work.lips) - len(over) == tally.lips_undecided
    assert work.joints_m == pytest.approx(tally.length_m)
    assert [lip.word for lip in work.lips] == sorted((lip.word for lip in work.lips), reverse=True)


def test_a_lip_is_told_at_its_worst_place_with_the_high_tile(made):
    """Left of the way from x = 1 to 2 m is + y: a lip of + 2 stands high there, one of - 2.5 on the other side."""

    def figures(n, k):
        if n == 0:
            return {"lip": 2.0 if k == 6 else 1.6}
        return {"lip": -2.5} if n == 1 else {}

    work, _ = made(figures=figures)
    low, high = work.lips  # the one further over comes first
    assert (low.joint, low.lip.value, low.lip.u) == ("J2", 2.5, 0.1)
    assert low.high_at == (pytest.approx(low.at[0]), pytest.approx(1000.0 - 100.0))
    assert (high.joint, high.lip.value, high.word) == ("J1", 2.0, "over")
    assert high.at == (1325.0, 500.0)
    assert high.high_at == (pytest.approx(1325.0), pytest.approx(600.0))
    assert high.length_mm == pytest.approx(1000.0)
    assert high.limit_mm == 1.0


def test_lips_that_may_be_noise_are_not_taken_down(made):
    def figures(n, k):
        return {"lip": 2.0} if n == 3 and k < 8 else {"lip": 1.0} if n == 3 else {}

    work, tally = made(figures=figures)
    assert tally.lips_beyond_noise
    assert (work.lips[0].word, work.lips[0].length_mm) == ("over", pytest.approx(400.0))
    work, _ = made(figures=figures, noise=True)
    assert [lip.word for lip in work.lips] == ["not_decided"]
    assert work.lips[0].length_mm == pytest.approx(1000.0)


def test_what_each_way_takes_besides_its_cells(made):
    work, _ = made(figures=lambda n, _: {"width": 8.0} if n == 0 else {})
    over, every = 8.0 * 1000.0 / 1e6, (8.0 + 3 * 3.0) * 1000.0 / 1e6
    for name, litres in (
        ("patch", over),
        ("grind_and_patch", over),
        ("skim", every),
        ("screed", every),
        ("flood", every),
    ):
        joints, holes = joint_extra(name, work, 2.0)
        assert joints[0] == "joints"
        assert joints[1].value == pytest.approx(litres)
        assert holes[0] == "holes of tiles that come out"
        assert holes[1].value == 2.0
        assert holes[1].u > 0.0
    assert joint_extra("lift_tiles", work, 2.0) == ()
    assert [name for name, _ in joint_extra("patch", replace(work, fills=()), 0.0)] == []


@pytest.mark.long
def test_metres_of_the_invented_bathroom_are_those_of_its_tally():
    from pathlib import Path

    from flatscan.workflow import check

    report = check(Path(__file__).parents[2] / "sample_scans" / "tiled_bathroom_photos")
    work = joint_work_of(report.measurement, report.verdict, report.limits, report.settings.judge)
    tally = report.verdict.joint_tally
    assert work.metres_to_fill() == pytest.approx(tally.fill_m) > 0.0
    assert work.metres_to_fill("not_decided") == pytest.approx(tally.fill_undecided_m)
