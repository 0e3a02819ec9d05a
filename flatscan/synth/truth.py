"""What is true of an invented floor, in the form the later stages measure it: heights on a grid, joints, lips."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.outline import cell_centres
from flatscan.synth.rectangle_truth import Piece, pieces
from flatscan.synth.rectangles import RectangleField
from flatscan.synth.tiles import TileField

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.tiles import Tiles


@dataclass(frozen=True, slots=True, eq=False)
class HeightTruth:
    """True heights at cell centres. ``height_mm``, ``face_mm``: (rows, cols) float64, NaN beyond the walls.

    ``face_mm`` bridges the joints (it is what a straightedge lies on).
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    height_mm: NDArray[np.float64]
    face_mm: NDArray[np.float64]


def true_heights(floor: InventedFloor, cell_mm: float) -> HeightTruth:
    """Heights at the centres of cells of ``cell_mm`` over the room's bounding box."""
    x_mm, y_mm, within = cell_centres(floor.outline_mm, cell_mm)
    x, y = x_mm[None, :], y_mm[:, None]
    height, face = floor.height_mm(x, y), floor.face_mm(x, y)
    return HeightTruth(x_mm, y_mm, np.where(within, height, np.nan), np.where(within, face, np.nan))


@dataclass(frozen=True, slots=True)
class TrueJoint:
    """One joint between two tiles, straight from ``start_mm`` to ``end_mm`` along its centre line.

    Attributes
    ----------
    first, second : (row, col) of the two tiles, of rectangles (index, 0); second lies to +x or +y of the field
    width_mm : between the tile walls; ``top_width_mm`` between the ends of the flat faces
    depth_mm : from the lower tile edge down to the grout, the same all along
    lip_start_mm, lip_end_mm : second face minus first at the ends; linear in between
    """

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    first: tuple[int, int]
    second: tuple[int, int]
    width_mm: float
    top_width_mm: float
    depth_mm: float
    lip_start_mm: float
    lip_end_mm: float

    def lip_at_mm(self, share: float) -> float:
        """Lip at ``share`` (0 to 1) of the way along."""
        return self.lip_start_mm + share * (self.lip_end_mm - self.lip_start_mm)


def true_joints(floor: InventedFloor) -> tuple[TrueJoint, ...]:
    """Every joint between two tiles, from where another joint meets it to where the next does. Bare floor: none.

    Of tiles in rows, those whose middle lies within the walls (ends may run on beneath a wall); of rectangles, what
    lies within the walls. A tile against a wall or against mortar makes no joint.
    """
    tiles = floor.tiles
    if isinstance(tiles, RectangleField):
        return tuple(_of_piece(tiles, piece) for piece in pieces(tiles, floor.outline_mm))
    if not isinstance(tiles, TileField):
        return ()
    joints = [*_upright(tiles), *_lengthwise(tiles)]
    middles = np.array([np.add(j.start_mm, j.end_mm) / 2.0 for j in joints])
    within = floor.inside(middles[:, 0], middles[:, 1])
    return tuple(joint for joint, keep in zip(joints, within, strict=True) if keep)


def _of_piece(tiles: RectangleField, piece: Piece) -> TrueJoint:
    return _joint(
        tiles, piece.start_mm, piece.end_mm, (piece.first, 0), (piece.second, 0), piece.width_mm, piece.depth_mm
    )


def _upright(tiles: TileField) -> list[TrueJoint]:
    """Joints along y, between neighbours in one row, from the joint below the row to the one above."""
    rows, cols = tiles.offset_mm.shape
    joints = []
    for row in range(rows):
        shift = float(tiles.shift_mm(np.array(row)))
        y0 = tiles.origin_mm[1] + row * tiles.pitch_mm[1]
        ends_y = (y0 + tiles.half_h[row], y0 + tiles.pitch_mm[1] - tiles.half_h[row + 1])
        for col in range(1, cols):
            x = tiles.origin_mm[0] + shift + col * tiles.pitch_mm[0]
            width = float(tiles.half_v[row, col]) * 2.0
            joints.append(
                _joint(
                    tiles, (x, ends_y[0]), (x, ends_y[1]), (row, col - 1), (row, col), width,
                    float(tiles.depth_v[row, col]),
                )
            )  # fmt: skip
    return joints


def _lengthwise(tiles: TileField) -> list[TrueJoint]:
    """Joints along x, between rows, cut wherever an upright joint of either row meets them."""
    rows, cols = tiles.offset_mm.shape
    joints = []
    for row in range(1, rows):
        y = tiles.origin_mm[1] + row * tiles.pitch_mm[1]
        cuts: list[tuple[float, float]] = []
        for beside in (row - 1, row):
            x = tiles.origin_mm[0] + float(tiles.shift_mm(np.array(beside))) + np.arange(1, cols) * tiles.pitch_mm[0]
            half = tiles.half_v[beside, 1:cols]
            cuts.extend(zip(x - half, x + half, strict=True))
        cuts.sort()
        for (_, start), (end, _) in itertools.pairwise(cuts):
            if end <= start:
                continue
            at = tiles.place(np.full(2, (start + end) / 2.0), y + np.array([-1.0, 1.0]) * tiles.half_h[row])
            joints.append(
                _joint(
                    tiles, (float(start), y), (float(end), y), (row - 1, int(at.col[0])), (row, int(at.col[1])),
                    float(tiles.half_h[row]) * 2.0, float(tiles.depth_h[row]),
                )
            )  # fmt: skip
    return joints


def _joint(
    tiles: Tiles,
    start: tuple[float, float],
    end: tuple[float, float],
    first: tuple[int, int],
    second: tuple[int, int],
    width_mm: float,
    depth_mm: float,
) -> TrueJoint:
    def face(tile: tuple[int, int], point: tuple[float, float]) -> float:
        return float(tiles.face_of(np.array(tile[0]), np.array(tile[1]), np.array(point[0]), np.array(point[1])))

    lips = [face(second, point) - face(first, point) for point in (start, end)]
    return TrueJoint(start, end, first, second, width_mm, width_mm + 2.0 * tiles.radius_mm, depth_mm, lips[0], lips[1])
