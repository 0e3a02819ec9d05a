"""What the height samples say of joints: a lip and a depth per station, a line of lips per piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.measures.joints.joints import Refusal


@dataclass(frozen=True, slots=True, eq=False)
class Lips:
    """Lip at every station and along every piece: face to the left of the piece's way minus face to the right.

    Attributes
    ----------
    lip_mm, u_mm : (n,) float64 per station, and one standard uncertainty; NaN where refused
    refused : (n,) why, or None
    line : (p, 2) float64 per piece: lip at its middle, mm, and its slope along the piece, mm per mm; NaN: refused
    line_cov : (p, 2, 2) float64 covariance of the two; NaN: refused
    budget : (n,) float64 each, mm: ``white_noise``, ``correlated_noise``, ``fixed_pattern`` of the sensor,
        ``tile_warp`` (bow of the tiles and of the floor); their squares add up to ``u_mm`` squared
    views : (p,) int32 independent views behind each piece
    smooth : the caveat where all was refused because the surface was smoothed
    """

    lip_mm: NDArray[np.float64]
    u_mm: NDArray[np.float64]
    refused: tuple[Refusal | None, ...]
    line: NDArray[np.float64]
    line_cov: NDArray[np.float64]
    budget: dict[str, NDArray[np.float64]]
    views: NDArray[np.int32]
    smooth: Caveat | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Depths:
    """Depth at every station, from the lower tile edge down to the joint's floor.

    ``depth_mm``, ``u_mm``: (n,) float64, NaN where refused; ``refused``: (n,) why, or None.
    """

    depth_mm: NDArray[np.float64]
    u_mm: NDArray[np.float64]
    refused: tuple[Refusal | None, ...]
