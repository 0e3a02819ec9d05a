"""How much compound each stretch of joint takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.constants import MM3_PER_LITRE
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Joints, MeasuredJoint

#: A joint of which nothing is known, mm: width and depth with their standard uncertainty (common practice, no source).
GUESSED_MM = Quantity(5.0, 3.0, "mm")


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """One joint's widths or depths, (stations,) float64 mm, no gaps left, with what is not known about each.

    ``measured``: (stations,) bool, the station's own figure. ``anywhere``: some station of the joint has one.
    ``guessed``: no joint of the floor has one.
    """

    value: NDArray[np.float64]
    u: NDArray[np.float64]
    measured: NDArray[np.bool_]
    anywhere: bool
    guessed: bool

    def mean(self, stretch_mm: NDArray[np.float64], here: NDArray[np.bool_]) -> Quantity | None:
        """Mean over the measured stations ``here``, by length; over the joint's where there is none; None: nowhere."""
        picked = self.measured & here if (self.measured & here).any() else self.measured
        return _mean(self.value[picked], self.u[picked], stretch_mm[picked])


def figures_of(joints: Joints, kind: Literal["width", "depth"]) -> list[Figures]:
    """Widths or depths of all joints: a station's own, else its joint's mean, else the floor's, else a guess."""
    own = [_own(joint, kind) for joint in joints.joints]
    stretches = [stretch_of(joint) for joint in joints.joints]
    of_joints = [_mean(value, u, stretch) for (value, u), stretch in zip(own, stretches, strict=True)]
    of_floor = None
    if own:
        of_floor = _mean(np.concatenate([v for v, _ in own]), np.concatenate([u for _, u in own]), np.hstack(stretches))
    found = []
    for (value, u), mean in zip(own, of_joints, strict=True):
        seen, rest = np.isfinite(value), mean or of_floor or GUESSED_MM
        found.append(
            Figures(
                value=np.where(seen, value, rest.value),
                u=np.where(seen, u, rest.u),
                measured=seen,
                anywhere=mean is not None,
                guessed=rest is GUESSED_MM,
            )
        )
    return found


def stretch_of(joint: MeasuredJoint) -> NDArray[np.float64]:
    """(stations,) float64, length of joint each station stands for, mm."""
    return np.array([station.stretch_mm for station in joint.stations], dtype=np.float64)


def litres(width: Figures, depth: Figures, stretch_mm: NDArray[np.float64], here: NDArray[np.bool_]) -> Quantity:
    """Width times depth times length, summed over the stations ``here``.

    What is wrong with a width (where a rounded edge begins, the picture's scale) is wrong with all of them alike, and
    so with depths: the stations' errors are taken as wholly shared and add up, width and depth independent of each
    other. The variance of a product of two that are is w² u(d)² + d² u(w)² + u(w)² u(d)² (exact).
    """
    w, d, u_w, u_d, length = (a[here] for a in (width.value, depth.value, width.u, depth.u, stretch_mm))
    parts = [float(np.sum(part * length)) for part in (d * u_w, w * u_d, u_w * u_d)]
    return Quantity(float(np.sum(w * d * length)) / MM3_PER_LITRE, math.hypot(*parts) / MM3_PER_LITRE, "l")


def total_l(volumes: Sequence[Quantity]) -> Quantity:
    """Litres of several joints; their errors are shared as those of one joint's stations, so they add up too."""
    return Quantity(sum(v.value for v in volumes), sum(v.u for v in volumes), "l")


def _own(joint: MeasuredJoint, kind: Literal["width", "depth"]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(stations,) value, not below 0, and u; NaN where it was not measured."""
    found = [station.width if kind == "width" else station.depth for station in joint.stations]
    known = [(max(0.0, q.value), q.u) if q is not None and math.isfinite(q.u) else (math.nan, math.nan) for q in found]
    value, u = np.array(known, dtype=np.float64).reshape(-1, 2).T
    return value, u


def _mean(value: NDArray[np.float64], u: NDArray[np.float64], weight: NDArray[np.float64]) -> Quantity | None:
    """Mean by length of what was measured (not NaN), None where nothing was.

    u: the shared error, and how much one place differs from another, since the mean stands for other places.
    """
    seen = np.isfinite(value)
    if not seen.any():
        return None
    value, u, weight = value[seen], u[seen], weight[seen]
    mean = float(np.average(value, weights=weight))
    scatter = float(np.average((value - mean) ** 2, weights=weight))
    return Quantity(mean, math.hypot(float(np.average(u, weights=weight)), math.sqrt(scatter)), "mm")
