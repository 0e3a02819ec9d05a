"""Where one map lies on the other: known turns and shifts are found, and what cannot be known is said."""

from __future__ import annotations

import builtins
import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.cli.compare import _TURNS
from flatscan.comparing.alignment import TURNS, align
from flatscan.comparing.pose import Pose, about
from flatscan.errors import InputError, MissingPackageError, SettingsError

pytest.importorskip("open3d", reason="open3d has no wheel for this machine")

ROOM = Pose(0.0, (0.0, 0.0))


def error_mm(found: Pose, true: Pose, outline: np.ndarray) -> float:
    """Largest distance of a corner from where it truly lies."""
    return float(np.linalg.norm(found.apply(outline) - true.apply(outline), axis=1).max())


@given(st.floats(-4.0, 4.0), st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_a_pose_undoes_itself(angle, x, y):
    pose = Pose(angle, (x, y))
    at = np.array([[0.0, 0.0], [4200.0, 3400.0]])
    assert np.allclose(pose.back(pose.apply(at)), at, atol=1e-6)
    assert np.allclose(about(angle, at[1], at[0]).apply(at[1]), at[0], atol=1e-6)


def test_the_command_line_knows_the_same_turns():
    assert _TURNS == TURNS


@pytest.mark.parametrize("turned", TURNS)
@pytest.mark.parametrize("small_deg", [0.0, 2.5])
def test_an_l_shaped_room_is_found_however_it_is_turned(floors, rng, turned, small_deg):
    true = Pose(math.radians(turned + small_deg), (812.0, -377.0))
    before = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM))
    after = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM, true))
    found = align(before, after, turned=None, rng=rng)
    assert error_mm(found.pose, true, floors.L_ROOM) < 2.0
    assert found.pose.turned_deg == turned
    assert 0.5 < found.sigma_mm < 10.0


def test_the_heights_tell_a_rectangle_from_itself_turned_by_half(floors, rng):
    true = Pose(math.pi, (4200.0, 3000.0))
    before = floors.measured_of(floors.surface_of(floors.relief, floors.RECTANGLE))
    after = floors.measured_of(floors.surface_of(floors.relief, floors.RECTANGLE, true))
    assert error_mm(align(before, after, turned=None, rng=rng).pose, true, floors.RECTANGLE) < 2.0


def test_joints_tell_it_too(floors, rng):
    true = Pose(math.pi, (4200.0, 3000.0))
    lines = [np.array([[x, 0.0], [x, 3000.0]]) for x in np.arange(130.0, 4200.0, 300.0)]
    flat = [floors.surface_of(lambda x, _: 0.0 * x, floors.RECTANGLE, pose) for pose in (ROOM, true)]
    before = floors.measured_of(flat[0], joints=lines)
    after = floors.measured_of(flat[1], joints=[true.apply(line) for line in lines])
    assert error_mm(align(before, after, turned=None, rng=rng).pose, true, floors.RECTANGLE) < 2.0


def test_an_empty_rectangle_is_ambiguous_and_a_person_may_say(floors, rng):
    before = floors.measured_of(floors.surface_of(lambda x, _: 0.0 * x, floors.RECTANGLE))
    after = floors.measured_of(floors.surface_of(lambda x, _: 0.0 * x + 1.0, floors.RECTANGLE))
    with pytest.raises(SettingsError, match=r"turned by 0 and by 180 degrees.*--turned 0 or --turned 180"):
        align(before, after, turned=None, rng=rng)
    for turned in (0, 180):
        assert align(before, after, turned=turned, rng=rng).pose.turned_deg == turned
    with pytest.raises(SettingsError, match="turned by 90 degrees the two do not fit"):
        align(before, after, turned=90, rng=rng)


def test_a_part_of_the_room_is_found_by_its_heights(floors, rng):
    true = Pose(math.radians(90.0), (300.0, 200.0))
    part = np.array([[0, 0], [2600, 0], [2600, 2000], [0, 2000]], dtype=np.float64)
    before = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM))
    after = floors.measured_of(floors.surface_of(floors.relief, part, true))
    found = align(before, after, turned=None, rng=rng)
    assert error_mm(found.pose, true, part) < 5.0


def test_another_room_is_refused(floors, rng):
    other = np.array([[0, 0], [3100, 0], [3100, 2200], [0, 2200]], dtype=np.float64)
    before = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM))
    after = floors.measured_of(floors.surface_of(lambda x, y: floors.relief(2 * y, x), other))
    with pytest.raises(InputError, match="do not look like one floor"):
        align(before, after, turned=None, rng=rng)


def test_the_same_measurement_is_not_aligned_at_all(floors, rng):
    one = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM))
    found = align(one, one, turned=None, rng=rng)
    assert found.exact
    assert np.array_equal(found.pose.after_from_before, np.eye(3))


def test_without_open3d_one_sentence_names_what_to_install(floors, rng, monkeypatch):
    real = builtins.__import__

    def without(name, *rest, **named):
        if name == "open3d":
            raise ImportError(name)
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    before = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM))
    after = floors.measured_of(floors.surface_of(floors.relief, floors.L_ROOM, Pose(0.0, (50.0, 0.0))))
    with pytest.raises(MissingPackageError, match=r"flatscan\[align\]"):
        align(before, after, turned=None, rng=rng)


def test_opencv_s_phase_correlation_of_the_heights_finds_the_same_shift(floors, rng):
    """An independent library on other data: walls and joints by open3d here, heights by OpenCV's phaseCorrelate."""
    true = Pose(0.0, (137.0, -61.0))
    before, after = (floors.surface_of(floors.relief, floors.L_ROOM, pose) for pose in (ROOM, true))
    found = align(floors.measured_of(before), floors.measured_of(after), turned=None, rng=rng).pose
    shape = tuple(max(a, b) for a, b in zip(before.height_mm.shape, after.height_mm.shape, strict=True))
    one, two = (np.zeros(shape, np.float64) for _ in range(2))
    for picture, surface in ((one, before), (two, after)):
        rows, cols = surface.height_mm.shape
        picture[:rows, :cols] = np.nan_to_num(surface.height_mm)
    (col, row), _ = cv2.phaseCorrelate(one, two, cv2.createHanningWindow(shape[::-1], cv2.CV_64F))
    cells = np.array([col, row]) * before.cell_mm
    by_opencv = cells + np.array(after.origin_mm) - np.array(before.origin_mm)
    # Both grids begin at whole cells; its peak is known to about a quarter of one.
    assert np.abs(by_opencv - np.array(found.shift_mm)).max() < 0.3 * before.cell_mm
