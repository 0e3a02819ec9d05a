"""The floor frame's parts, each against something worked out apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.surface.finding import frame

ANGLES = st.floats(-np.pi, np.pi)
SLOPES = st.floats(-0.03, 0.03)


def _ring(width, depth):
    return np.array([(0, 0), (width, 0), (width, depth), (0, depth), (0, 0)], float)


@given(a=SLOPES, b=SLOPES, c=st.floats(-50, 50))
def test_lay_on_brings_the_plane_to_zero_and_turns_no_more_than_it_must(a, b, c):
    to = frame.lay_on(a, b, c)
    assert frame.is_rigid(to)
    xy = np.array([(0, 0), (5000, 0), (0, 4000), (-700, 2300)], float)
    on_plane = np.column_stack([xy, a * xy[:, 0] + b * xy[:, 1] + c])
    assert np.abs(frame.apply(to, on_plane)[:, 2]).max() < 1e-8
    # The least rotation that takes the normal to z has trace 1 + 2 cos(angle between them).
    cos = 1.0 / np.sqrt(1 + a * a + b * b)
    assert np.trace(to[:3, :3]) == pytest.approx(1 + 2 * cos, abs=1e-12)


@given(x=st.floats(-1, 1), y=st.floats(-1, 1), z=st.floats(-1, 1), d=st.floats(-1e4, 1e4))
def test_frame_on_plane(x, y, z, d):
    length = np.sqrt(x * x + y * y + z * z)
    if length < 0.1:
        return
    normal = np.array([x, y, z]) / length
    to = frame.frame_on_plane(normal, d)
    assert frame.is_rigid(to)
    assert frame.apply(to, (d * normal)[None])[0, 2] == pytest.approx(0.0, abs=1e-8)
    assert frame.apply(to, (d * normal + 7 * normal)[None])[0, 2] == pytest.approx(7.0, abs=1e-8)


def test_a_mirror_is_not_a_frame():
    assert not frame.is_rigid(np.diag([1.0, -1.0, 1.0, 1.0]))
    with pytest.raises(ValueError, match="rotation"):
        frame.transform(np.diag([1.0, 1.001, 1.0]), np.zeros(3))


@given(angle=ANGLES, quarters=st.integers(0, 3))
def test_turning_the_ring_is_turning_the_frame(angle, quarters):
    xy = np.array([(300.0, 20.0), (-50.0, 700.0)])
    turned = frame.apply(frame.turn(quarters * np.pi / 2), np.column_stack([xy, [0, 0]]))[:, :2]
    assert np.allclose(frame.turn_ring(xy, quarters), turned)
    ahead = np.array([[np.cos(angle), np.sin(angle), 0.0]])
    assert np.allclose(frame.apply(frame.turn(angle), ahead), [[1, 0, 0]])


@settings(max_examples=12, deadline=None)
@given(degrees=st.floats(0.0, 89.99), seed=st.integers(0, 99))
def test_direction_of_noisy_walls(degrees, seed):
    """Walls of an oblong with 6 mm noise and a third of clutter: told to 0.05° (5 mm over 6 m)."""
    rng = np.random.default_rng(seed)
    t = rng.random(6000)
    walls = np.where(
        (rng.random(6000) < 0.6)[:, None],
        np.stack([t * 6100, 3300.0 * (rng.random(6000) < 0.5)], axis=1),
        np.stack([6100.0 * (rng.random(6000) < 0.5), t * 3300], axis=1),
    ) + rng.normal(0, 6, (6000, 2))
    xy = np.vstack([walls, rng.uniform((0, 0), (6100, 3300), (3000, 2))])
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    found = np.rad2deg(frame.straight_direction(xy @ np.array([[c, s], [-s, c]]), np.random.default_rng(0)))
    off = (found - degrees + 45.0) % 90.0 - 45.0
    assert abs(off) < 0.05


@pytest.mark.parametrize(("width", "depth"), [(5300.0, 3700.0), (2100.0, 6400.0)])
@pytest.mark.parametrize("turned", np.deg2rad([0.01, 12.0, 45.0, 89.99]))
def test_longest_side_along_x_and_the_same_corner_for_angles_near_the_axes(width, depth, turned):
    ring = _ring(width, depth)
    longest = (ring[0], ring[1]) if width > depth else (ring[1], ring[2])
    quarters = frame.quarter_turns(ring, longest, turned)
    out = frame.turn_ring(ring, quarters)
    assert np.ptp(out[:, 0]) == max(width, depth)
    # x points to where the scan's x or y points, never backwards.
    assert np.cos(turned + quarters * np.pi / 2 - np.pi / 6) > 0


@pytest.mark.parametrize("bite", [0, 2])
@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_origin_is_never_the_missing_corner_of_an_l(bite, turn):
    corners = np.array(
        {
            0: [(1100, 0), (5300, 0), (5300, 3700), (0, 3700), (0, 700), (1100, 700)],
            2: [(0, 0), (5300, 0), (5300, 2800), (4000, 2800), (4000, 3700), (0, 3700)],
        }[bite],
        float,
    )
    ring = frame.turn_ring(np.vstack([corners, corners[:1]]), turn)
    lengths = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    k = int(lengths.argmax())
    quarters = frame.quarter_turns(ring, (ring[k], ring[k + 1]), 0.3)
    out = frame.turn_ring(ring, quarters)
    assert np.linalg.norm(out - out.min(axis=0), axis=1).min() == 0.0
    assert np.ptp(out[:, 0]) == 5300.0
