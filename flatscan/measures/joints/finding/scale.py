"""The tile size that was found, held against the one a person knows: a check of the capture's scale."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.constants import COVERAGE_K

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.measures.joints.finding.format import Boxes
    from flatscan.measures.joints.network import TileFormat

#: Sizes further apart than this share are worth a word (maker's tolerance is well below; common practice, no source).
_APART_SHARE = 0.01
#: The joint is not known here: what a tile and its joint leave between 1.5 and 12 mm, as a uniform distribution.
_JOINT_MM = (1.5, 12.0)


def tile_size_doubt(
    tile: TileFormat | None,
    boxes: Boxes,
    whole: NDArray[np.bool_],
    stated_mm: tuple[float, float] | None,
) -> Caveat | None:
    """Doubt where pitch less joint differs from the stated size by more than 1 % and more than chance.

    Notes
    -----
    With one joint width w, found pitches are k (L + w) and k (S + w) for a scale k that is off. Two sides of
    different length give both k and w; of a square only k (S + w), and w is taken as anywhere from 1.5 to 12 mm.
    """
    if tile is None or stated_mm is None:
        return None
    del boxes, whole
    long, short = max(stated_mm), min(stated_mm)
    joint = 0.5 * (_JOINT_MM[0] + _JOINT_MM[1])
    u_joint = (_JOINT_MM[1] - _JOINT_MM[0]) / math.sqrt(12.0)
    ratios = np.array([tile.pitch_long.value / (long + joint), tile.pitch_short.value / (short + joint)])
    u = np.array([math.hypot(tile.pitch_long.u, u_joint) / long, math.hypot(tile.pitch_short.u, u_joint) / short])
    worst = int(np.argmax(np.abs(ratios - 1.0) / u))
    off = float(ratios[worst] - 1.0)
    if abs(off) <= _APART_SHARE or abs(off) <= COVERAGE_K * u[worst]:
        return None
    pitch = (tile.pitch_long, tile.pitch_short)[worst]
    return caveat(
        "tile_size_disagrees",
        found_mm=pitch.value - joint,
        stated_mm=(long, short)[worst],
        percent=100.0 * off,
    )
