"""Small measurements written down by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
from flatscan.measures.joints.network import JointNetwork, JointPiece, TileFormat
from flatscan.measures.joints.stations import stations_along
from flatscan.measures.measurement import Flatness, GapMap, GapSpot, Measurement
from flatscan.quantity import Quantity
from flatscan.surface.surface import NoiseModel, Surface

ROWS, COLS, CELL_MM = 70, 120, 50.0


def mm(value: float, u: float = 0.25) -> Quantity:
    return Quantity(value, u, "mm")


@pytest.fixture
def make_surface():
    def make(unseen: np.ndarray | None = None, inside: np.ndarray | None = None) -> Surface:
        inside = np.ones((ROWS, COLS), dtype=bool) if inside is None else inside
        height = np.where(inside, 0.0, np.nan).astype(np.float32)
        if unseen is not None:
            height[unseen] = np.nan
        return Surface(
            height_mm=height,
            estimate_mm=height.copy(),
            white_mm=np.where(np.isfinite(height), 0.2, np.nan).astype(np.float32),
            count=np.ones((ROWS, COLS), dtype=np.int32),
            inside=inside,
            cell_mm=CELL_MM,
            origin_mm=(0.0, 0.0),
            floor_from_scan=np.eye(4),
            outline=(np.array([[0.0, 0.0], [6000.0, 0.0], [6000.0, 3500.0], [0.0, 3500.0]]),),
            noise=NoiseModel(0.2, 0.0, 50.0, 0.0, "stated"),
            slope=None,
            kind="cloud",
        )

    return make


@pytest.fixture
def make_spot():
    def make(value: float, *, u: float = 0.25, edge_mm: float = 2000.0, at=(1000.0, 1000.0), bridges=False) -> GapSpot:
        return GapSpot(
            edge_mm=edge_mm,
            gap=mm(value, u),
            raw_mm=value + 0.3,
            noise_floor_mm=0.4,
            at=at,
            contacts=((at[0] - 900.0, at[1]), (at[0] + 900.0, at[1])),
            span_mm=1800.0,
            direction_rad=0.0,
            bridges_hole=bridges,
        )

    return make


@pytest.fixture
def make_measurement():
    def make(
        spots, *, over: dict[float, np.ndarray] | None = None, u_map: float = 0.25, joints: Joints | None = None
    ) -> Measurement:
        """``over``: edge length to the gap map's values (rows, cols) in mm."""
        flat = Flatness(*(mm(1.0) for _ in range(5)))
        maps = tuple(
            GapMap(edge, g.astype(np.float32), g.astype(np.float32), np.full(g.shape, u_map, np.float32), 0.4)
            for edge, g in (over or {}).items()
        )
        ordered = tuple(sorted(spots, key=lambda s: -s.gap.value))
        return Measurement(flat, ordered, maps, (), None, (), joints=joints)

    return make


@pytest.fixture
def grid_of():
    def make(value: float, **patches: tuple[slice, slice, float]) -> np.ndarray:
        grid = np.full((ROWS, COLS), value)
        for rows, cols, patch in patches.values():
            grid[rows, cols] = patch
        return grid

    return make


@pytest.fixture
def diagonal_mm() -> float:
    return CELL_MM * math.hypot(ROWS, COLS)


def quiet(value: float, u: float) -> Quantity | None:
    return None if math.isnan(value) else mm(value, u)


@pytest.fixture
def make_joints():
    """A stack-bonded grid of tiles on the 6.0 x 3.5 m floor, every figure given; NaN is not measured.

    The first pieces run along x, row by row from the bottom, then along y, column by column from the left.
    """

    def make(
        *,
        pitch=(1000.0, 700.0),
        width=3.0,
        depth=1.0,
        lip=0.3,
        u=0.1,
        change=None,
        refused=(),
        u_width=None,
        format_u=0.1,
        with_format=True,
    ) -> Joints:
        """``change(piece, station index)`` gives figures that differ: {"lip": 2.0, "u_lip": 0.2}."""
        nx, ny = round(6000.0 / pitch[0]), round(3500.0 / pitch[1])
        pieces = [
            JointPiece((i * pitch[0], j * pitch[1]), ((i + 1) * pitch[0], j * pitch[1]), (None, None), 1.0)
            for j in range(1, ny)
            for i in range(nx)
        ] + [
            JointPiece((i * pitch[0], j * pitch[1]), (i * pitch[0], (j + 1) * pitch[1]), (None, None), 1.0)
            for i in range(1, nx)
            for j in range(ny)
        ]
        tiles = TileFormat(mm(max(pitch), format_u), mm(min(pitch), format_u), 0.0, "stack", None, 1.0)
        network = JointNetwork(tuple(pieces), (), tiles if with_format else None, "picture", "invented")
        rows = stations_along(network, 50.0)
        of_piece: list[list[Station]] = [[] for _ in pieces]
        for row in range(len(rows)):
            piece = int(rows.piece[row])
            own = {"width": width, "depth": depth, "lip": lip, "u_width": u if u_width is None else u_width} | (
                change or (lambda *_: {})
            )(piece, len(of_piece[piece]))
            of_piece[piece].append(
                Station(
                    at=tuple(rows.at_mm[row].tolist()),
                    along_mm=float(rows.along_mm[row]),
                    stretch_mm=float(rows.stretch_mm[row]),
                    wall_width=quiet(own["width"] - 0.75, own.get("u_wall", own["u_width"] / 2)),
                    width=quiet(own["width"], own["u_width"]),
                    depth=quiet(own["depth"], own.get("u_depth", u)),
                    lip=quiet(own["lip"], own.get("u_lip", u)),
                    refused=refused,
                )
            )
        return Joints(
            network,
            tuple(MeasuredJoint(f"J{n + 1}", n, (p.start, p.end), tuple(of_piece[n])) for n, p in enumerate(pieces)),
        )

    return make
