"""The record this stage hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.measures.joints.joints import Joints
    from flatscan.quantity import Quantity
    from flatscan.sources.hand.hand_reading import HandReading

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class GapSpot:
    """A worst place for one edge length, as the straightedge lay. Floor-frame mm.

    ``gap`` is corrected for the bias that noise puts on a maximum; ``raw_mm`` is what was read before
    that; ``noise_floor_mm`` is what the same capture would show as worst gap on a perfectly flat floor.
    ``span_mm`` is the distance between the two contacts; ``bridges_hole``: the floor between them was
    not seen everywhere, so the value is a lower bound.
    """

    edge_mm: float
    gap: Quantity
    raw_mm: float
    noise_floor_mm: float
    at: Point
    contacts: tuple[Point, Point]
    span_mm: float
    direction_rad: float
    bridges_hole: bool


@dataclass(frozen=True, slots=True, eq=False)
class GapMap:
    """All positions and directions of one edge length. Arrays (rows, cols) float32, NaN: not seen.

    ``gap_mm`` is corrected for bias and never negative, ``raw_mm`` is not corrected, ``u_mm`` is the
    standard uncertainty of ``gap_mm`` at that place.
    """

    edge_mm: float
    gap_mm: NDArray[np.float32]
    raw_mm: NDArray[np.float32]
    u_mm: NDArray[np.float32]
    noise_floor_mm: float


@dataclass(frozen=True, slots=True)
class HumpSpot:
    """The edge balanced on a crest, the free ends' clearance halved. Not a gap; the trade argues about it."""

    edge_mm: float
    clearance: Quantity
    at: Point
    direction_rad: float


@dataclass(frozen=True, slots=True)
class ProfileLine:
    """A straight line of readings and its F-numbers (E1155 kind). ``fl`` is None without gravity."""

    start: Point
    end: Point
    step_mm: float
    readings: int
    ff: Quantity | None
    fl: Quantity | None


@dataclass(frozen=True, slots=True)
class FNumbers:
    """Overall figures combined over the lines; the interval is a bootstrap over lines."""

    lines: tuple[ProfileLine, ...]
    ff: Quantity | None
    fl: Quantity | None
    ff_interval: tuple[float, float] | None
    fl_interval: tuple[float, float] | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flatness:
    """ISO 12781 parameters about the least-squares plane, and FLTt about the minimum-zone plane."""

    fltt: Quantity
    fltp: Quantity
    fltv: Quantity
    fltq: Quantity
    fltt_minimum_zone: Quantity


@dataclass(frozen=True, slots=True)
class HeldAgainst:
    """A hand reading beside what the scan said there.

    ``scan``: the scan's own value before the reading (None: it had none). ``taken``: what is judged now; None where the
    two contradict each other, which is shown and not averaged away (``conflict``).
    """

    reading: HandReading
    scan: Quantity | None
    taken: Quantity | None
    conflict: bool


@dataclass(frozen=True, slots=True)
class PlacementFigure:
    """What one laying of the bar says by itself (rules R1 to R3), beside what the surface says of the same line.

    ``gap``: largest height of the bar's chord over the floor between two contacts, from the readings alone;
    ``contacts`` those two places, ``span_mm`` their distance, ``at`` the deepest station. ``edge_mm``: length of bar.
    ``hump``: how far the floor stands above the line of the feet, for bars on feet; None else.
    ``surface``: the surface's gap of the same chord at the same place; None where there is no surface.
    """

    row: int
    number: str
    edge_mm: float
    gap: Quantity
    at: Point
    contacts: tuple[Point, Point]
    span_mm: float
    hump: Quantity | None = None
    surface: Quantity | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """Everything measured on one surface. ``gaps`` is worst first over all edge lengths.

    ``joints``: None where they were not looked for. ``hand``: the hand readings that were taken in, as given.
    ``placements``: each laying of a straightedge by itself.
    """

    flatness: Flatness
    gaps: tuple[GapSpot, ...]
    gap_maps: tuple[GapMap, ...]
    humps: tuple[HumpSpot, ...]
    f_numbers: FNumbers | None
    caveats: tuple[Caveat, ...]
    joints: Joints | None = None
    hand: tuple[HeldAgainst, ...] = ()
    placements: tuple[PlacementFigure, ...] = ()
