"""What binds the levelling, cell by cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.surface.surface import Surface

#: Name of a rule that holds everywhere.
WHOLE_FLOOR = "the whole floor"


@dataclass(frozen=True, slots=True, eq=False)
class NamedMask:
    """A rule and where it holds: ``mask`` (rows, cols) bool.

    ``kind``: one of ``ZoneKind`` (sources.survey), "door", "movement_joint" or "dam". ``name``: as the person calls it.
    ``value_mm``: the height, thickness or depth it asks for; None where it has none.
    """

    kind: str
    name: str
    mask: NDArray[np.bool_]
    value_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """Arrays (rows, cols) on the surface's grid.

    Attributes
    ----------
    inside : bool, where the edge can pass; as the surface's, less a line of cells round each zone that keeps its slope
    blocked : bool, cells of movement joints and dams of movement joints: they take no compound, are not judged, and the
        edge bridges them
    least_fill_mm, most_fill_mm : float32; 0 and inf where nothing binds; equal where the height is fixed
    most_grind_mm : float32; 0 where nothing may be ground
    keeps_slope : bool, zones that are never poured or screeded
    dams : bool, cells that a pour does not pass although the edge does (doors, movement joints, dams asked for)
    void_mm : float32, depth of the hole where tiles come out, to be filled flush first; 0 elsewhere
    rules : each rule by name, for saying which one cannot be met, and where
    """

    inside: NDArray[np.bool_]
    blocked: NDArray[np.bool_]
    least_fill_mm: NDArray[np.float32]
    most_fill_mm: NDArray[np.float32]
    most_grind_mm: NDArray[np.float32]
    keeps_slope: NDArray[np.bool_]
    dams: NDArray[np.bool_]
    void_mm: NDArray[np.float32]
    rules: tuple[NamedMask, ...] = ()

    def __post_init__(self) -> None:
        for name in self.__slots__[:-1]:
            array = getattr(self, name)
            if array.shape != self.inside.shape:
                raise ValueError(f"{name} must have the shape of inside {self.inside.shape}")
            array.setflags(write=False)


def free(surface: Surface, *, greatest_grind_mm: float = 0.0) -> Bounds:
    """Nothing binds but the walls."""
    shape = surface.inside.shape
    no, zero = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=np.float32)
    return Bounds(
        inside=surface.inside.copy(),
        blocked=no,
        least_fill_mm=zero,
        most_fill_mm=np.full(shape, np.inf, dtype=np.float32),
        most_grind_mm=np.full(shape, greatest_grind_mm, dtype=np.float32),
        keeps_slope=no.copy(),
        dams=no.copy(),
        void_mm=zero.copy(),
    )
