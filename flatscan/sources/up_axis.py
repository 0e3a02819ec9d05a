"""Which way is up, inferred from how the flat sheets of the capture stand to each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.sources.flat_sheets import ALIGNED, LEAST_PATCHES, VOXEL_MM, Sheet, sheets_of, thinned

if TYPE_CHECKING:
    from numpy.typing import NDArray

_ON_AXIS = float(np.cos(np.radians(5.0)))
#: The usual axis is given up only when its sheet has less than this share of the best other one's score.
_USUAL_SHARE = 0.5
#: Where no sheet is square to the usual axis, the best one must beat the next by this much.
_CLEAR = 1.3
#: Sheets that face each other this near, with nothing beyond them, are the walls of a corridor: too far
#: apart for a table over a floor, too near for a ceiling (common practice, no source).
_CORRIDOR_MM = (800.0, 2100.0)
#: Facing sheets further apart than this are walls more often than floor and ceiling; a sheet without
#: an opposite is a floor more often than a wall, for walls mostly come in twos (common practice, no source).
_HIGH_MM, _WALLS_FACTOR = 3500.0, 0.5
_SIDES = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class UpGuess:
    """``direction`` (3,) unit vector, with the reason as half a sentence."""

    direction: NDArray[np.float64]
    reason: str


def infer_up(
    points_mm: NDArray[np.float32], viewpoints_mm: NDArray[np.float64] | None, usual: NDArray[np.float64]
) -> UpGuess | None:
    """Up direction from the directions of flat patches, or None when nothing stands out.

    The cloud is thinned to one point per 50 mm cube and areas are counted in squares, so that the largest sheet
    is the one with most *area*, not the one nearest to the scanner. Each direction shared by many patches
    is scored by its largest sheet over the capture's thickness along it; walls of a corridor and partitions
    are left out, other facing walls count half. The format's usual axis holds unless another
    direction scores twice as much. The sign: towards the viewpoints, else towards the side where walls and
    objects stand, else along the axis.

    Parameters
    ----------
    points_mm : (n, 3), mm
    viewpoints_mm : (v, 3) sensor positions in the same frame, or None
    usual : (3,) axis that the format's writers usually call up
    """
    thin = thinned(points_mm)
    chosen = _floor_like(sheets_of(thin, usual), usual)
    if chosen is None:
        return None
    sheet, reason = chosen
    direction, side_reason = _signed(sheet, thin, viewpoints_mm)
    return UpGuess(_snapped(direction), f"{reason} and {side_reason}")


def _floor_like(sheets: list[Sheet], usual: NDArray[np.float64]) -> tuple[Sheet, str] | None:
    """The sheet that is most likely the floor and why, or None."""
    likely = [sheet for sheet in sheets if not _is_wall(sheet)] or sheets
    likely.sort(key=_weighed, reverse=True)
    if not likely:
        return None
    best = likely[0]
    usually = next((s for s in likely if abs(s.normal @ usual) >= ALIGNED), None)
    if usually is best:
        return best, "most of the level-looking area lies across it"
    if usually is not None and _weighed(usually) >= _USUAL_SHARE * _weighed(best):
        return usually, "it is the usual axis and no other is much more likely"
    if usually is None and len(likely) > 1 and _weighed(likely[1]) * _CLEAR >= _weighed(best):
        return None
    return best, "most of the level-looking area lies across it"


def _is_wall(sheet: Sheet) -> bool:
    """Whether it cannot be a floor: one of a corridor's two walls, or a partition."""
    near, far = _CORRIDOR_MM
    return sheet.has_mass_both_sides or (sheet.facing_mm is not None and near <= sheet.facing_mm < far)


def _weighed(sheet: Sheet) -> float:
    """The score, halved for sheets that face each other as walls do."""
    is_like_walls = sheet.facing_mm is not None and sheet.facing_mm > _HIGH_MM
    return sheet.score * (_WALLS_FACTOR if is_like_walls else 1.0)


def nearest_axis(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """The coordinate axis, with sign, nearest to a direction."""
    k = int(np.argmax(np.abs(direction)))
    axis = np.zeros(3)
    axis[k] = np.sign(direction[k])
    return axis


def _snapped(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """The axis itself when within 5 degrees: exports are axis-aligned far more often than nearly so."""
    axis = nearest_axis(direction)
    return axis if float(direction @ axis) >= _ON_AXIS else direction


def _signed(
    sheet: Sheet, points: NDArray[np.float64], viewpoints_mm: NDArray[np.float64] | None
) -> tuple[NDArray[np.float64], str]:
    """The sheet's normal pointing up, and why."""
    axis = nearest_axis(sheet.normal)
    forward = sheet.normal if axis.sum() > 0 else -sheet.normal
    at_mm = sheet.at_mm if axis.sum() > 0 else -sheet.at_mm
    if sheet.has_ceiling:
        # Floor and ceiling: the larger sheet may be either, so neither side tells.
        return forward, "it points along the axis"
    if viewpoints_mm is not None and len(viewpoints_mm):
        side = float(np.median(viewpoints_mm @ forward)) - at_mm
        return (forward if side > 0 else -forward), "the sensor stood on that side"
    if sheet.has_underside:
        return forward, "it points along the axis"
    off = points @ forward - at_mm
    above, below = (int(np.count_nonzero(side > 3.0 * VOXEL_MM)) for side in (off, -off))
    if below > _SIDES * above and below >= LEAST_PATCHES:
        return -forward, "walls and objects stand on that side"
    if above > _SIDES * below and above >= LEAST_PATCHES:
        return forward, "walls and objects stand on that side"
    return forward, "it points along the axis"
