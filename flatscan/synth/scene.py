"""A room to look at: the floor, its walls, and the things standing on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from flatscan.synth.floor import InventedFloor

#: Things and walls reach this far below the datum, so that nothing shows between them and the floor.
BELOW_MM = -200.0


@dataclass(frozen=True, slots=True)
class Box:
    """An upright box: plan size ``size_mm`` turned by ``turn_rad`` about its centre, from bottom to top."""

    centre_mm: tuple[float, float]
    size_mm: tuple[float, float]
    top_mm: float
    bottom_mm: float = BELOW_MM
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Cylinder:
    """An upright round column or leg."""

    centre_mm: tuple[float, float]
    radius_mm: float
    top_mm: float
    bottom_mm: float = BELOW_MM


Solid = Box | Cylinder


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A floor, walls along its outline up to ``wall_mm``, and solids. No ceiling."""

    floor: InventedFloor
    wall_mm: float = 2500.0
    solids: tuple[Solid, ...] = ()


def table(
    centre_mm: tuple[float, float], size_mm: tuple[float, float], *, height_mm: float = 740.0, turn_rad: float = 0.0
) -> tuple[Solid, ...]:
    """A table: a 30 mm top on four round legs, 60 mm in from the edges."""
    legs = []
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        dx, dy = sx * (size_mm[0] / 2 - 60.0), sy * (size_mm[1] / 2 - 60.0)
        cos, sin = np.cos(turn_rad), np.sin(turn_rad)
        at = (float(centre_mm[0] + cos * dx - sin * dy), float(centre_mm[1] + sin * dx + cos * dy))
        legs.append(Cylinder(at, 25.0, height_mm))
    return (Box(centre_mm, size_mm, height_mm, height_mm - 30.0, turn_rad), *legs)


def rug(
    floor: InventedFloor, centre_mm: tuple[float, float], size_mm: tuple[float, float], *, thick_mm: float = 9.0,
    turn_rad: float = 0.0,
) -> Box:  # fmt: skip
    """A rug: a thin box whose top lies ``thick_mm`` above the floor's height at its centre."""
    under = float(floor.shape_mm(np.array(centre_mm[0]), np.array(centre_mm[1])))
    return Box(centre_mm, size_mm, under + thick_mm, turn_rad=turn_rad)
