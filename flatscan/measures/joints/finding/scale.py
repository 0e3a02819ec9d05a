"""The tile size that was found, held against the one a person knows: a check of the capture's scale."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan.caveats import Caveat, caveat
from flatscan.constants import COVERAGE_K

if TYPE_CHECKING:
    from flatscan.measures.joints.network import TileFormat

#: Sizes further apart than this share are worth a word (maker's tolerance is well below; common practice, no source).
_APART_SHARE = 0.01
#: The joint is not known here: what a tile and its joint leave between 1.5 and 12 mm, as a uniform distribution.
_JOINT_MM = (1.5, 12.0)


#: Sides that differ by more than this share give scale and joint both.
_UNLIKE_SHARE = 0.2
#: Standard uncertainty of a tile's own size (common practice, no source).
_TILE_U_SHARE = 0.002


def tile_size_doubt(
    tile: TileFormat | None,
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
    long, short = max(stated_mm), min(stated_mm)
    if long - short > _UNLIKE_SHARE * long:
        scale = (tile.pitch_long.value - tile.pitch_short.value) / (long - short)
        u_scale = math.hypot(tile.pitch_long.u, tile.pitch_short.u, _TILE_U_SHARE * long) / (long - short)
        joint = tile.pitch_short.value / scale - short if scale > 0.0 else 0.0
        joint = min(max(joint, _JOINT_MM[0]), _JOINT_MM[1])
        u_joint = 0.0
    else:
        joint, u_joint = sum(_JOINT_MM) / 2.0, (_JOINT_MM[1] - _JOINT_MM[0]) / math.sqrt(12.0)
        scale, u_scale = tile.pitch_long.value / (long + joint), math.hypot(tile.pitch_long.u, u_joint) / long
    # A joint out of reach shows a scale that is off as well: the pitch itself, whatever the joint.
    over = tile.pitch_long.value / (long + _JOINT_MM[1]) - 1.0
    under = tile.pitch_long.value / (long + _JOINT_MM[0]) - 1.0
    sure = max(over, 0.0) or min(under, 0.0)
    off = scale - 1.0
    apart = abs(off) > _APART_SHARE and abs(off) > COVERAGE_K * u_scale
    if not apart:
        off = sure
        apart = abs(off) > _APART_SHARE and abs(off) > COVERAGE_K * tile.pitch_long.u / long
    if not apart:
        return None
    found_mm = long * (1.0 + off)
    return caveat("tile_size_disagrees", found_mm=found_mm, stated_mm=long, percent=100.0 * off)
