"""What a known tile says of faint lines: one that runs a tile's side away from a clear one is worth believing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Joints are this wide, least and most, mm: centre lines lie a side and a joint apart.
_JOINT_MM = (1.0, 13.0)
#: Of two lines of one direction, radians.
_SAME_TURN = 0.05
_ROWS_AT_ONCE = 256


def at_tile_distance(
    pieces: NDArray[np.float64], clear: NDArray[np.bool_], tile_mm: tuple[float, float]
) -> NDArray[np.bool_]:
    """(n,) whether a piece runs beside a clear one of its direction, a side of the tile and a joint away.

    Parameters
    ----------
    pieces : (n, 2, 2) ends in mm
    clear : (n,) which are sure
    tile_mm : length and width of the tiles
    """
    found = np.zeros(len(pieces), dtype=np.bool_)
    if not clear.any():
        return found
    middle, run = pieces.mean(axis=1), pieces[:, 1] - pieces[:, 0]
    length = np.maximum(np.linalg.norm(run, axis=1), 1e-9)
    way = run / length[:, None]
    for first in range(0, len(pieces), _ROWS_AT_ONCE):
        rows = slice(first, first + _ROWS_AT_ONCE)
        apart = middle[rows, None] - middle[None, clear]
        other = way[clear]
        alike = np.abs(way[rows] @ other.T) > np.cos(_SAME_TURN)
        beside = np.abs(apart[..., 0] * -other[:, 1] + apart[..., 1] * other[:, 0])
        along = np.abs((apart * other).sum(axis=2))
        facing = along < 0.5 * (length[rows, None] + length[None, clear])
        for side in tile_mm:
            fits = (beside > side + _JOINT_MM[0]) & (beside < side + _JOINT_MM[1])
            found[rows] |= (alike & facing & fits).any(axis=1)
    return found
