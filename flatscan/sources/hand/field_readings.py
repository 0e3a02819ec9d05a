"""The record of a floor measured by hand: where the straightedge lay, what was read beneath it, and all the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.quantity import Quantity
    from flatscan.sources.hand.hand_reading import HandReading
    from flatscan.sources.scan import InputFile

Point = tuple[float, float]
#: How the line that gaps are read from lies: on the floor's own high points, on two equal feet at its ends, or free
#: above the floor (a string, a laser line, a bar on blocks of unknown height).
Rule = Literal["resting", "feet", "line"]
SoundsLike = Literal["sound", "hollow", "loose"]


@dataclass(frozen=True, slots=True)
class Bar:
    """A straightedge: what it can be trusted for. mm.

    ``step_mm``: smallest step gaps were read in. ``repeat_mm``: how well the reader repeats, one standard deviation.
    ``bow_mm``: standard uncertainty of how far its edge is from straight at mid-length (after a reversal check half of
    what that check showed). ``feet_mm``: height of its two feet, 0 without.
    """

    name: str
    length_mm: float
    step_mm: float
    repeat_mm: float
    bow_mm: float
    feet_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """One laying of a bar (or of a string or laser line), read at stations along it.

    ``row``: line in the file. ``number``: as on the sheet. ``start``, ``end``: where the line's ends lie, floor mm.
    ``at_mm`` (n,) float64: stations, distance from ``start``, rising. ``gap_mm`` (n,) float64: from the line down to
    the floor, never negative; 0 at a contact. ``contact`` (n,) bool: the bar touches the floor there. With feet,
    ``gap_mm`` is what was read, foot height included, and no contact is marked. ``u_mm`` (n,) float64: standard
    uncertainty of each reading, without the bar's bow. ``turned``: the bar lay end for end.
    """

    row: int
    number: str
    start: Point
    end: Point
    rule: Rule
    at_mm: NDArray[np.float64]
    gap_mm: NDArray[np.float64]
    contact: NDArray[np.bool_]
    u_mm: NDArray[np.float64]
    bar: Bar
    turned: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        n = len(self.at_mm)
        if not all(len(a) == n for a in (self.gap_mm, self.contact, self.u_mm)):
            raise ValueError("stations, gaps, contacts and uncertainties must be as many")
        if n == 0 or np.any(np.diff(self.at_mm) <= 0) or np.any(self.gap_mm < 0) or np.any(self.u_mm <= 0):
            raise ValueError("stations must rise, gaps be >= 0 and uncertainties > 0")
        for array in (self.at_mm, self.gap_mm, self.contact, self.u_mm):
            array.setflags(write=False)

    @property
    def length_mm(self) -> float:
        """Distance between the two ends."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))

    def xy_mm(self, at_mm: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """(…, 2) floor positions of distances from ``start``."""
        along = (np.asarray(self.end) - np.asarray(self.start)) / self.length_mm
        return np.asarray(np.asarray(self.start) + np.multiply.outer(np.asarray(at_mm, dtype=np.float64), along))


@dataclass(frozen=True, slots=True)
class HumpReading:
    """A bar balanced on a crest, one end pressed down: ``height`` is the other end's clearance, halved.

    That is how far the crest stands above the chord of the two ends when it is at mid-length.
    """

    row: int
    number: str
    start: Point
    end: Point
    height: Quantity
    bar: Bar
    note: str = ""


@dataclass(frozen=True, slots=True)
class LevelReading:
    """A height read with a levelling instrument. ``height_mm`` grows as the floor rises, whatever was written.

    ``set_up``: readings of one set-up share an unknown instrument height (and tilt). ``order``: its turn within the
    set-up, from 0, for drift. ``line``: name of the run of readings it belongs to, for F-numbers; "" for none.
    """

    row: int
    number: str
    at: Point
    height_mm: float
    u_mm: float
    set_up: str = ""
    order: int = 0
    line: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """The levelling instrument. ``tilt_mm_per_m``: standard uncertainty of its plane's tilt in each direction.

    ``drift_mm``: standard uncertainty of how far its height may drift from the first to the last reading of a set-up.
    """

    step_mm: float
    repeat_mm: float
    tilt_mm_per_m: float
    drift_mm: float


@dataclass(frozen=True, slots=True)
class StepLine:
    """A line across which the floor may jump: an edge between coverings, a movement joint."""

    row: int
    start: Point
    end: Point
    note: str = ""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A tap test at a place."""

    row: int
    number: str
    at: Point
    sounds: SoundsLike
    note: str = ""


@dataclass(frozen=True, slots=True)
class Crack:
    """A crack from end to end; ``width`` None: not measured."""

    row: int
    number: str
    start: Point
    end: Point
    width: Quantity | None
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FieldReadings:
    """Everything written down on site, in floor-frame mm, and what was taken for granted.

    ``spots``: readings at single places: gaps found by searching, lips, joint widths and depths. ``outline`` (k, 2)
    float64, the room, closed; None: not stated, the floor ends at the outermost readings. ``gravity``: the level
    readings are against true gravity. ``joints_searched``: the person states to have walked the whole floor and read
    the worst joints and lips; ``gaps_searched``: to have moved the bar over all of it and read the deepest gaps.
    ``left_out``: rows that could not be used, one sentence each.
    """

    inputs: tuple[InputFile, ...]
    placements: tuple[Placement, ...] = ()
    humps: tuple[HumpReading, ...] = ()
    levels: tuple[LevelReading, ...] = ()
    spots: tuple[HandReading, ...] = ()
    steps: tuple[StepLine, ...] = ()
    soundings: tuple[Sounding, ...] = ()
    cracks: tuple[Crack, ...] = ()
    level: Level | None = None
    outline: NDArray[np.float64] | None = None
    gravity: bool = True
    joints_searched: bool = False
    gaps_searched: bool = False
    left_out: tuple[str, ...] = ()
    inferences: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()

    @property
    def shows_shape(self) -> bool:
        """Whether anything here tells of the floor's heights, so that a surface can be made of it."""
        return bool(self.placements or self.humps or self.levels)

    @property
    def searched_for_gaps(self) -> bool:
        """Whether the whole floor was searched for gaps, and what was found written down."""
        return self.gaps_searched and any(spot.what == "gap" for spot in self.spots)
