"""A field of tiles of any sizes: axis-aligned rectangles in a frame of their own, exact at every point."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.tiles import Place, relief_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Sides of cells closer than this are one side.
_SNAP_MM = 1e-6
#: A step across a cell's side that lands in the neighbour: more than the snap, less than any tile.
_ACROSS_MM = 1e-3
X0, Y0, X1, Y1 = range(4)


@dataclass(frozen=True, slots=True, eq=False)
class RectangleField:
    """Rectangles in a frame turned by ``turn_rad`` about ``pivot_mm``. A cell is a tile with its share of the joints.

    Every face is the floor's large shape plus a plane of its own, so a lip is exactly the difference of two such
    planes. ``Place.row`` is the tile's index; ``Place.col`` is 0.

    Attributes
    ----------
    pivot_mm, turn_rad : field from room: turned by −turn_rad about the pivot, which keeps its coordinates
    cell_mm : (n, 4) float64 x0, y0, x1, y1 in the field's frame, without overlap and, where the floor is, without gap
    wall_mm : (n, 4) the tile's sides, within its cell
    depth_mm : (n,) a joint is as deep below its lower face as the mean of its two tiles' figures
    offset_mm, slope_x, slope_y : (n,) face at the middle of the cell above the large shape, mm, and its tilt in the
        field's frame, mm per mm
    radius_mm : radius of the rounded edge; the flat face ends this far inside the tile's wall
    mortar : (n,) bool, cells filled with mortar, which also fills the joints beside them
    """

    pivot_mm: tuple[float, float]
    turn_rad: float
    cell_mm: NDArray[np.float64]
    wall_mm: NDArray[np.float64]
    depth_mm: NDArray[np.float64]
    offset_mm: NDArray[np.float64]
    slope_x: NDArray[np.float64]
    slope_y: NDArray[np.float64]
    radius_mm: float
    mortar: NDArray[np.bool_]
    #: Sides of all cells in order, and the cell between each two of them: where a point falls is two searches.
    edges_x: NDArray[np.float64] = field(init=False)
    edges_y: NDArray[np.float64] = field(init=False)
    lookup: NDArray[np.int64] = field(init=False)

    def __post_init__(self) -> None:
        if self.depth_mm.min() <= self.radius_mm:
            raise ValueError("joints must be deeper than the edge radius")
        edges_x, edges_y = (_distinct(self.cell_mm[:, sides].ravel()) for sides in ((X0, X1), (Y0, Y1)))
        object.__setattr__(self, "edges_x", edges_x)
        object.__setattr__(self, "edges_y", edges_y)
        object.__setattr__(self, "lookup", _lookup(self.cell_mm, edges_x, edges_y))

    @property
    def highest_mm(self) -> float:
        """No face rises further above the large shape."""
        return float(np.max(self.offset_mm + self._reach_mm()))

    @property
    def lowest_mm(self) -> float:
        """No joint lies further below the large shape (a bound, not the least value)."""
        return float(np.min(self.offset_mm - self._reach_mm()) - self.depth_mm.max())

    def _reach_mm(self) -> NDArray[np.float64]:
        width, height = self.cell_mm[:, X1] - self.cell_mm[:, X0], self.cell_mm[:, Y1] - self.cell_mm[:, Y0]
        # A joint carries its neighbour's face on by up to a joint's width: a tenth more is room enough.
        return np.asarray(0.55 * (np.abs(self.slope_x) * width + np.abs(self.slope_y) * height), dtype=np.float64)

    def field_from_room(
        self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Positions in the field's frame."""
        return _turned(x_mm, y_mm, self.pivot_mm, -self.turn_rad)

    def room_from_field(
        self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Positions in the room's frame."""
        return _turned(x_mm, y_mm, self.pivot_mm, self.turn_rad)

    def cell_at(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """Cell of each point of the field's frame; beyond the field a near one."""
        col = np.clip(np.searchsorted(self.edges_x, x_mm, side="right") - 1, 0, self.lookup.shape[1] - 1)
        row = np.clip(np.searchsorted(self.edges_y, y_mm, side="right") - 1, 0, self.lookup.shape[0] - 1)
        return np.asarray(self.lookup[row, col], dtype=np.int64)

    def place(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> Place:
        """Tile of each point of the room, and the position in its cell."""
        x, y = self.field_from_room(x_mm, y_mm)
        cell = self.cell_at(x, y)
        return Place(cell, np.zeros_like(cell), x - self.cell_mm[cell, X0], y - self.cell_mm[cell, Y0])

    def face_of(
        self,
        row: NDArray[np.int64],
        col: NDArray[np.int64],  # noqa: ARG002 - the same call as for tiles in rows
        x_mm: NDArray[np.float64],
        y_mm: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Face of tile ``row``, extended as a plane to any point of the room, above the large shape."""
        x, y = self.field_from_room(x_mm, y_mm)
        du = x - 0.5 * (self.cell_mm[row, X0] + self.cell_mm[row, X1])
        dv = y - 0.5 * (self.cell_mm[row, Y0] + self.cell_mm[row, Y1])
        return np.asarray(self.offset_mm[row] + self.slope_x[row] * du + self.slope_y[row] * dv, dtype=np.float64)

    def wall_distance_mm(self, at: Place) -> NDArray[np.float64]:
        """Distance from the nearest wall of the cell's tile: positive on the tile, negative in a joint."""
        cell, wall = self.cell_mm[at.row], self.wall_mm[at.row]
        x, y = at.u_mm + cell[..., X0], at.v_mm + cell[..., Y0]
        in_x = np.minimum(x - wall[..., X0], wall[..., X1] - x)
        return np.asarray(np.minimum(in_x, np.minimum(y - wall[..., Y0], wall[..., Y1] - y)), dtype=np.float64)

    def share_of_tile(self, at: Place) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Position across the tile, 0 at one wall and 1 at the other."""
        cell, wall = self.cell_mm[at.row], self.wall_mm[at.row]
        across = (at.u_mm + cell[..., X0] - wall[..., X0]) / (wall[..., X1] - wall[..., X0])
        along = (at.v_mm + cell[..., Y0] - wall[..., Y0]) / (wall[..., Y1] - wall[..., Y0])
        return across, along

    def relief_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Height above the large shape: face, rounded edge, grout or mortar."""
        return relief_of(self, x_mm, y_mm)

    def grout_mm(self, at: Place, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Grout: the joint's depth below the lower of the two faces beside it; beside mortar the mortar's face."""
        cell, wall = self.cell_mm[at.row], self.wall_mm[at.row]
        x, y = at.u_mm + cell[:, X0], at.v_mm + cell[:, Y0]
        below, above = y < wall[:, Y0], y > wall[:, Y1]
        lengthwise = below | above
        left = x < wall[:, X0]
        beyond_x = np.where(lengthwise, x, np.where(left, cell[:, X0] - _ACROSS_MM, cell[:, X1] + _ACROSS_MM))
        beyond_y = np.where(below, cell[:, Y0] - _ACROSS_MM, np.where(above, cell[:, Y1] + _ACROSS_MM, y))
        other = self.cell_at(beyond_x, beyond_y)
        own, there = self.face_of(at.row, at.col, x_mm, y_mm), self.face_of(other, at.col, x_mm, y_mm)
        grout = np.minimum(own, there) - self.joint_depth_mm(at.row, other)
        return np.asarray(np.where(self.mortar[other], there, grout), dtype=np.float64)

    def joint_depth_mm(self, first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[np.float64]:
        """Depth of the joint between two tiles."""
        return np.asarray(0.5 * (self.depth_mm[first] + self.depth_mm[second]), dtype=np.float64)


def _turned(
    x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], pivot_mm: tuple[float, float], turn_rad: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if turn_rad == 0.0:
        return x_mm, y_mm
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    dx, dy = x_mm - pivot_mm[0], y_mm - pivot_mm[1]
    return pivot_mm[0] + cos * dx - sin * dy, pivot_mm[1] + sin * dx + cos * dy


def _distinct(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sorted values, those within the snap of the one before left out."""
    values = np.sort(values)
    return np.asarray(values[np.diff(values, prepend=-np.inf) > _SNAP_MM], dtype=np.float64)


def _lookup(
    cell_mm: NDArray[np.float64], edges_x: NDArray[np.float64], edges_y: NDArray[np.float64]
) -> NDArray[np.int64]:
    """(rows, cols) the cell that covers each rectangle of the grid of all sides; where none does, the nearest."""
    grid = np.full((len(edges_y) - 1, len(edges_x) - 1), -1, dtype=np.int64)
    snapped = cell_mm - _SNAP_MM
    low_x, high_x = np.searchsorted(edges_x, snapped[:, X0]), np.searchsorted(edges_x, snapped[:, X1])
    low_y, high_y = np.searchsorted(edges_y, snapped[:, Y0]), np.searchsorted(edges_y, snapped[:, Y1])
    for cell, (x0, x1, y0, y1) in enumerate(zip(low_x, high_x, low_y, high_y, strict=True)):
        if (grid[y0:y1, x0:x1] >= 0).any():
            raise ValueError(f"cell {cell} lies on another")
        grid[y0:y1, x0:x1] = cell
    if (grid < 0).any():
        from scipy.ndimage import distance_transform_edt

        nearest = distance_transform_edt(grid < 0, return_distances=False, return_indices=True)
        grid = grid[tuple(nearest)]
    return grid
