"""A straightedge bridges joints: fine cells in a joint are not judged as a gap."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.bridging import bridge_joints, joint_cells
from flatscan.measures.joints.network import JointPiece
from flatscan.surface.surface import NoiseModel, Surface

CELL_MM = 5.0


def surface_of(height_mm: np.ndarray, cell_mm: float = CELL_MM, origin_mm: tuple[float, float] = (0.0, 0.0)) -> Surface:
    height = height_mm.astype(np.float32)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=np.where(np.isfinite(height), 0.1, np.nan).astype(np.float32),
        count=np.isfinite(height).astype(np.int32),
        inside=np.ones(height.shape, dtype=bool),
        cell_mm=cell_mm,
        origin_mm=origin_mm,
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(0.1, 0.0, 10.0, 0.0, "made up"),
        slope=None,
        kind="cloud",
    )


def tilted_with_joint(depth_mm: float) -> tuple[np.ndarray, np.ndarray, JointPiece]:
    """A plane (70 × 120 cells) with a groove 6 mm wide along y at x = 302.5 mm, and the plane alone."""
    x = (np.arange(120) + 0.5) * CELL_MM
    y = (np.arange(70) + 0.5) * CELL_MM
    plane = 0.004 * x[None, :] + 0.002 * y[:, None]
    groove = np.where(np.abs(x - 302.5) <= 3.0, depth_mm, 0.0)
    return plane - groove[None, :], plane, JointPiece((302.5, 0.0), (302.5, 350.0), (None, None), 1.0)


def test_a_groove_in_a_plane_is_gone() -> None:
    # The mean of a plane over a symmetric neighbourhood is the plane itself; the joint ends at the border, where the
    # neighbourhood is symmetric across the joint but not along it: 2 mm/m over at most a reach of 15 mm.
    grooved, plane, piece = tilted_with_joint(3.0)
    bridged = bridge_joints(surface_of(grooved), [piece])
    assert np.abs(bridged.height_mm - plane).max() < 0.002 * 15.0 * 2
    assert np.abs(grooved - plane).max() == pytest.approx(3.0)


def test_cells_away_from_joints_and_unseen_cells_stay() -> None:
    grooved, _, piece = tilted_with_joint(3.0)
    grooved[10, 60] = np.nan
    before = surface_of(grooved)
    after = bridge_joints(before, [piece])
    over = joint_cells(before, [piece], half_mm=7.5)
    assert np.array_equal(after.height_mm[~over], before.height_mm[~over], equal_nan=True)
    assert np.isnan(after.height_mm[10, 60])


def test_a_step_is_met_half_way() -> None:
    x = (np.arange(121) + 0.5) * CELL_MM
    step = np.broadcast_to(np.where(x > 302.5, 2.0, 0.0), (40, 121)).copy()
    bridged = bridge_joints(surface_of(step), [JointPiece((302.5, 0.0), (302.5, 200.0), (None, None), 1.0)])
    assert bridged.height_mm[20, 60] == pytest.approx(1.0, abs=1e-3)  # the cell on the line itself


def test_slanted_joint_cells_lie_within_the_stated_distance() -> None:
    surface = surface_of(np.zeros((50, 90)), origin_mm=(-100.0, 40.0))
    start, end = np.array([-50.0, 60.0]), np.array([250.0, 260.0])
    piece = JointPiece((-50.0, 60.0), (250.0, 260.0), (None, None), 1.0)
    over = joint_cells(surface, [piece], half_mm=7.5)
    row, col = np.indices(over.shape)
    at = np.stack([-100.0 + (col + 0.5) * CELL_MM, 40.0 + (row + 0.5) * CELL_MM], axis=-1)
    share = np.clip(((at - start) @ (end - start)) / ((end - start) @ (end - start)), 0.0, 1.0)
    off = np.linalg.norm(at - start - share[..., None] * (end - start), axis=-1)
    assert np.array_equal(over, off <= 7.5)


def test_coarse_cells_are_left_alone() -> None:
    grooved, _, piece = tilted_with_joint(3.0)
    surface = surface_of(grooved, cell_mm=20.0)
    assert bridge_joints(surface, [piece]) is surface
