"""Where the map before lies on the map after, how closely that is known, and whether it is known at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.candidates import apart_from, candidates, middle_of
from flatscan.comparing.line_points import along
from flatscan.comparing.pose import SAME, Pose
from flatscan.comparing.refining import cloud_of, refined
from flatscan.comparing.weighing import Fit, weighed
from flatscan.errors import InputError, SettingsError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.comparing.measured import Measured

TURNS = (0, 90, 180, 270)
#: Less of the smaller map than this on the other is not one floor.
_LEAST_OVERLAP = 0.6
#: Walls alone prove one floor where this share of the smaller map's lies on the other's, or this share of both outlines
#: together is in both; else heights or joints must, at these odds (e⁴ is 55 to 1), and the difference of the heights
#: must scatter so many times less than that of two unrelated floors.
_WALLS_PROVE, _FILLED_PROVES, _ODDS_PROVE, _ALIKE, _LEAST_WALLS = 0.75, 0.85, 4.0, 1.5, 0.3
#: The next best pose must be this much worse (e³ is 20 to 1).
_CLEARLY = 3.0
#: What a person says of the turn is not taken against odds like these (e¹⁰ is 22 000 to 1).
_FAR_BETTER = 10.0
_APART_MM, _APART_RAD = 150.0, math.radians(5.0)
#: What is known of a pose that no wall holds, one standard uncertainty.
_FREE_MM, _FREE_RAD = 100.0, 0.01
_SIDE_STEP_MM, _PAIR_MM = 50.0, 60.0
#: Usual error of a wall on a map as part of a cell, and how many walls' worth that is.
_WALL_OF_CELL, _USUAL_WORTH = 0.2, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """The pose and its uncertainty.

    ``covariance`` (3, 3): of shift x, shift y (mm) at the middle of the map after and turn (radians).
    ``exact``: both results hold the same measurement.
    """

    pose: Pose
    covariance: NDArray[np.float64]
    fit: Fit | None
    exact: bool = False

    @property
    def sigma_mm(self) -> float:
        """Standard uncertainty of a place, in one direction."""
        return float(math.sqrt(max(np.trace(self.covariance[:2, :2]) / 2.0, 0.0)))


def align(before: Measured, after: Measured, *, turned: int | None, rng: np.random.Generator) -> Alignment:
    """Find the pose; ``turned``: degrees that the map after is turned against the map before, where a person knows.

    Raises
    ------
    InputError
        where the two maps cannot be of one floor
    SettingsError
        where two poses fit about equally well
    MissingPackageError
        without open3d
    """
    if _same(before, after):
        return Alignment(SAME, np.zeros((3, 3)), None, exact=True)
    if not before.surface.outline or not after.surface.outline:
        raise InputError("the two results", "one of them has no outline of the room", "Capture the walls as well")
    fits = _fits(before, after, rng)
    proven = [fit for fit in fits if _one_floor(fit)]
    if not proven:
        _refuse(fits)
    if turned is not None:
        proven = _turned(proven, turned)
    best = proven[0]
    for other in proven[1:]:
        if best.total - other.total < _CLEARLY:
            _ambiguous(best, other)
    return Alignment(best.pose, _covariance(before, after, best.pose), best)


def _same(before: Measured, after: Measured) -> bool:
    one, two = before.surface, after.surface
    return (
        one.origin_mm == two.origin_mm
        and one.cell_mm == two.cell_mm
        and np.array_equal(one.height_mm, two.height_mm, equal_nan=True)
        and len(one.outline) == len(two.outline)
        and all(np.array_equal(a, b) for a, b in zip(one.outline, two.outline, strict=True))
    )


def _fits(before: Measured, after: Measured, rng: np.random.Generator) -> list[Fit]:
    """Every pose that walls or heights suggest, refined, once, best first."""
    clouds = cloud_of(before), cloud_of(after)
    middle = middle_of(before.surface)
    starts: list[Pose] = []
    for start in candidates(before.surface, after.surface, rng):
        if apart_from(start, starts, middle, _APART_MM / 3.0, _APART_RAD):
            starts.append(start)
    fits: list[Fit] = []
    for fit in sorted((weighed(before, after, refined(*clouds, start)) for start in starts), key=lambda f: -f.total):
        if apart_from(fit.pose, [kept.pose for kept in fits], middle, _APART_MM, _APART_RAD):
            fits.append(fit)
    return fits


def _one_floor(fit: Fit) -> bool:
    by_heights = fit.heights >= _ODDS_PROVE and fit.alike >= _ALIKE
    by_walls = fit.wall_share >= _WALLS_PROVE or fit.filled >= _FILLED_PROVES
    proof = by_walls or by_heights or fit.joints >= _ODDS_PROVE
    return fit.overlap >= _LEAST_OVERLAP and fit.wall_share >= _LEAST_WALLS and proof


def _turned(proven: list[Fit], turned: int) -> list[Fit]:
    """The poses with that turn; raises SettingsError where another fits far better."""
    said = [fit for fit in proven if fit.pose.turned_deg == turned]
    if not said or proven[0].total - said[0].total > _FAR_BETTER:
        what = f"with the map turned by {turned} degrees the two do not fit"
        best = proven[0].pose.turned_deg
        raise SettingsError("--turned", f"{what}; turned by {best} degrees they do", "Leave it out")
    return said


def _refuse(fits: list[Fit]) -> None:
    share = max((fit.wall_share for fit in fits), default=0.0)
    raise InputError(
        "the two results",
        f"they do not look like one floor: at best {100.0 * share:.0f} % of the walls lie on each other",
        "Give two results of the same room",
    )


def _ambiguous(best: Fit, other: Fit) -> None:
    turns = sorted({fit.pose.turned_deg for fit in (best, other)})
    if len(turns) == 1:
        raise InputError(
            "the two results",
            "the second map fits in more than one place on the first",
            "Capture more of the walls, or the joints",
        )
    raise SettingsError(
        "the two results",
        f"the second map fits about equally well turned by {turns[0]} and by {turns[1]} degrees against the first",
        f"Compare the two heat maps and say which with --turned {turns[0]} or --turned {turns[1]}",
    )


def _covariance(before: Measured, after: Measured, pose: Pose) -> NDArray[np.float64]:
    """From how far each wall is off: the points of one wall share its error, so a wall is one observation.

    Each side of the map before that has a wall of the other beside it says how far the pose is off along its normal;
    the scatter of what the sides say is their standard uncertainty.
    What no wall holds is free within a decimetre.
    """
    from scipy.spatial import cKDTree

    walls, normals = along(after.surface.outline, 5.0, closed=True)
    tree = cKDTree(walls)
    middle = middle_of(after.surface)
    rows, rests = [], []
    rings = [pose.apply(ring) for ring in before.surface.outline]
    for ring in rings:
        for side in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            points, square = along([np.array(side)], _SIDE_STEP_MM, closed=False)
            if len(points) < 4:  # noqa: PLR2004 - a corner cut off, not a wall
                continue
            distance, index = tree.query(points)
            alike = np.abs((normals[index] * square).sum(axis=1)) > 0.9  # noqa: PLR2004 - about parallel
            near = (distance < _PAIR_MM) & alike
            if near.mean() < 0.5:  # noqa: PLR2004 - most of it has no wall beside it
                continue
            n, away = square[0], points[near].mean(axis=0) - middle
            rows.append([n[0], n[1], n[1] * away[0] - n[0] * away[1]])
            rests.append(float(((walls[index] - points)[near] @ n).mean()))
    free = np.diag([_FREE_MM**-2, _FREE_MM**-2, _FREE_RAD**-2])
    if not rows:
        return np.asarray(np.linalg.inv(free))
    usual = _WALL_OF_CELL * max(before.surface.cell_mm, after.surface.cell_mm)
    spare = max(0, len(rests) - 3)
    found = sum(r * r for r in rests)
    # Few walls tell little of their own scatter, so what is usual counts as some walls more (a scaled inverse
    # chi-square prior on the variance).
    a = np.array(rows) / math.sqrt((_USUAL_WORTH * usual**2 + found) / (_USUAL_WORTH + spare))
    return np.asarray(np.linalg.inv(a.T @ a + free))
