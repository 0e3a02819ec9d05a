"""A field of tiles with joints, exact at every point: faces, rounded edges, walls and grout."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: How far each row is shifted against the one before, as a share of the tile pitch.
BONDS = {"stack": 0.0, "half": 0.5, "third": 1.0 / 3.0}


class Place(NamedTuple):
    """Where points fall in the lattice: row and column of the cell, and position in it (mm)."""

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    u_mm: NDArray[np.float64]
    v_mm: NDArray[np.float64]


class Tiles(Protocol):
    """What a floor needs to know of the tiles on it. Heights are above the large shape, positions in the room."""

    @property
    def radius_mm(self) -> float:
        """Radius of the rounded edge."""

    @property
    def highest_mm(self) -> float:
        """No face rises further."""

    @property
    def lowest_mm(self) -> float:
        """No joint lies further below."""

    def place(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> Place:
        """Tile of each point, and the position in its cell."""

    def face_of(
        self,
        row: NDArray[np.int64],
        col: NDArray[np.int64],
        x_mm: NDArray[np.float64],
        y_mm: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Face of a tile, extended as a plane to any point."""

    def wall_distance_mm(self, at: Place) -> NDArray[np.float64]:
        """Distance from the nearest wall of the cell's tile: positive on the tile, negative in a joint."""

    def share_of_tile(self, at: Place) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Position across the tile, 0 at one wall and 1 at the other."""

    def relief_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of face, rounded edge or grout."""

    def grout_mm(self, at: Place, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height of the grout at points of joints."""


def relief_of(tiles: Tiles, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height above the large shape: the face, its edge rounded to a quarter circle, the grout. Broadcasts."""
    shape = np.broadcast(x_mm, y_mm).shape
    x_mm, y_mm = (np.ravel(np.broadcast_to(np.asarray(p, dtype=np.float64), shape)) for p in (x_mm, y_mm))
    at = tiles.place(x_mm, y_mm)
    relief = tiles.face_of(at.row, at.col, x_mm, y_mm)
    to_wall = tiles.wall_distance_mm(at)
    rounded = (to_wall >= 0) & (to_wall < tiles.radius_mm)
    short = tiles.radius_mm - to_wall[rounded]
    relief[rounded] -= tiles.radius_mm - np.sqrt(tiles.radius_mm**2 - short**2)
    joint = to_wall < 0
    if joint.any():
        spots = Place(at.row[joint], at.col[joint], at.u_mm[joint], at.v_mm[joint])
        relief[joint] = tiles.grout_mm(spots, x_mm[joint], y_mm[joint])
    return relief.reshape(shape)


@dataclass(frozen=True, slots=True, eq=False)
class TileField:
    """Tiles in rows along x. A cell is one tile with half of each joint around it.

    Every face is the floor's large shape plus a plane of its own, so a lip is exactly the difference of
    two such planes. (The face follows the large shape instead of staying rigid; a 300 mm tile on a
    3 mm wave of 2 m would sag 0.3 mm otherwise.)

    Attributes
    ----------
    origin_mm : corner of cell (0, 0); rows shift by ``bond`` pitches to +x, one after the other
    pitch_mm : (x, y) size of a cell
    bond : shift of each row as a share of the pitch, 0 stacked
    half_v, depth_v : (rows, cols + 1) half width and depth, mm, of the joint left of each column
    half_h, depth_h : (rows + 1,) half width and depth, mm, of the joint below each row
    offset_mm : (rows, cols) height of the face at the middle of the cell above the large shape
    slope_x, slope_y : (rows, cols) tilt of the face, mm per mm
    radius_mm : radius of the rounded edge; the flat face ends this far inside the tile's wall
    """

    origin_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    bond: float
    half_v: NDArray[np.float64]
    depth_v: NDArray[np.float64]
    half_h: NDArray[np.float64]
    depth_h: NDArray[np.float64]
    offset_mm: NDArray[np.float64]
    slope_x: NDArray[np.float64]
    slope_y: NDArray[np.float64]
    radius_mm: float

    def __post_init__(self) -> None:
        if min(self.depth_v.min(), self.depth_h.min()) <= self.radius_mm:
            raise ValueError("joints must be deeper than the edge radius")

    @property
    def highest_mm(self) -> float:
        """No face rises further above the large shape."""
        return float(np.max(self.offset_mm + self._reach_mm()))

    @property
    def lowest_mm(self) -> float:
        """No joint lies further below the large shape (a bound, not the least value)."""
        deepest = max(self.depth_v.max(), self.depth_h.max())
        return float(np.min(self.offset_mm - self._reach_mm()) - deepest)

    def _reach_mm(self) -> NDArray[np.float64]:
        reach = (np.abs(self.slope_x) * self.pitch_mm[0] + np.abs(self.slope_y) * self.pitch_mm[1]) / 2.0
        return np.asarray(reach, dtype=np.float64)

    def shift_mm(self, row: NDArray[np.int64]) -> NDArray[np.float64]:
        """How far each row is shifted to +x."""
        return np.asarray((row * self.bond % 1.0) * self.pitch_mm[0], dtype=np.float64)

    def place(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> Place:
        """Cell of each point; beyond the field the nearest row and column carry on."""
        rows, cols = self.offset_mm.shape
        up = y_mm - self.origin_mm[1]
        row = np.clip(np.floor(up / self.pitch_mm[1]).astype(np.int64), 0, rows - 1)
        along = x_mm - self.origin_mm[0] - self.shift_mm(row)
        col = np.clip(np.floor(along / self.pitch_mm[0]).astype(np.int64), 0, cols - 1)
        return Place(row, col, along - col * self.pitch_mm[0], up - row * self.pitch_mm[1])

    def face_of(
        self,
        row: NDArray[np.int64],
        col: NDArray[np.int64],
        x_mm: NDArray[np.float64],
        y_mm: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Face of tile (row, col), extended as a plane to any point, above the large shape."""
        du = x_mm - self.origin_mm[0] - self.shift_mm(row) - (col + 0.5) * self.pitch_mm[0]
        dv = y_mm - self.origin_mm[1] - (row + 0.5) * self.pitch_mm[1]
        return self.offset_mm[row, col] + self.slope_x[row, col] * du + self.slope_y[row, col] * dv

    def wall_distance_mm(self, at: Place) -> NDArray[np.float64]:
        """Distance from the nearest wall of the cell's tile: positive on the tile, negative in a joint."""
        row, col, u, v = at
        in_x = np.minimum(u - self.half_v[row, col], self.pitch_mm[0] - self.half_v[row, col + 1] - u)
        in_y = np.minimum(v - self.half_h[row], self.pitch_mm[1] - self.half_h[row + 1] - v)
        return np.minimum(in_x, in_y)

    def share_of_tile(self, at: Place) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Position across the tile, 0 at one wall and 1 at the other."""
        left, right = self.half_v[at.row, at.col], self.half_v[at.row, at.col + 1]
        below, above = self.half_h[at.row], self.half_h[at.row + 1]
        across = (at.u_mm - left) / (self.pitch_mm[0] - left - right)
        return across, (at.v_mm - below) / (self.pitch_mm[1] - below - above)

    def relief_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height above the large shape: face, rounded edge or grout."""
        return relief_of(self, x_mm, y_mm)

    def grout_mm(self, at: Place, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Grout: the joint's depth below the lower of the two faces beside it."""
        rows, cols = self.offset_mm.shape
        below = at.v_mm < self.half_h[at.row]
        above = at.v_mm > self.pitch_mm[1] - self.half_h[at.row + 1]
        left = at.u_mm < self.half_v[at.row, at.col]
        other_row = np.clip(at.row + above.astype(np.int64) - below, 0, rows - 1)
        along = x_mm - self.origin_mm[0] - self.shift_mm(other_row)
        col_there = np.clip(np.floor(along / self.pitch_mm[0]).astype(np.int64), 0, cols - 1)
        col_beside = np.clip(at.col + np.where(left, -1, 1), 0, cols - 1)
        lengthwise = below | above
        other_col = np.where(lengthwise, col_there, col_beside)
        depth = np.where(
            lengthwise, self.depth_h[at.row + above], self.depth_v[at.row, at.col + (~left).astype(np.int64)]
        )
        own = self.face_of(at.row, at.col, x_mm, y_mm)
        return np.minimum(own, self.face_of(other_row, other_col, x_mm, y_mm)) - depth
