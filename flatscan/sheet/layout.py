"""Where the bar is laid and the staff held, numbered in the order in which a person walks least."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.errors import SettingsError
from flatscan.sheet.diagonals import diagonals
from flatscan.sheet.request import CLEAR_MM, TAPE_STEP_MM
from flatscan.sheet.rows import rows_across, rows_along
from flatscan.sheet.staff import staff_grid
from flatscan.sheet.walk import walked

if TYPE_CHECKING:
    from flatscan.sheet.request import SheetRequest
    from flatscan.sources.hand.field_readings import Point

#: Rows along x, along y, and lays aslant that show twist.
Family = Literal["along", "across", "diagonal"]

#: With rows of a bar the staff need only show what they cannot: twist and level. A grid 2.5 times as wide as the rows
#: does (a 5 x 5 m floor with rows 1 m apart and 9 staff readings knew its twist).
_STAFF_BESIDE_ROWS = 2.5
_MOST_PLACEMENTS = 400
_MOST_STAFF = 600


@dataclass(frozen=True, slots=True)
class PlannedPlacement:
    """Where the bar is to lie: its ends, floor mm, read from ``start`` to ``end``."""

    number: int
    start: Point
    end: Point
    family: Family


@dataclass(frozen=True, slots=True)
class StaffPoint:
    """Where the staff is to stand, floor mm."""

    number: int
    at: Point


@dataclass(frozen=True, slots=True)
class Layout:
    """All of it. ``stations_mm``: distances from a placement's start at which it is read."""

    placements: tuple[PlannedPlacement, ...]
    staff: tuple[StaffPoint, ...]
    stations_mm: tuple[float, ...]

    @property
    def readings(self) -> int:
        """How many numbers will be written down."""
        return len(self.placements) * len(self.stations_mm) + len(self.staff)


def lay_out(request: SheetRequest) -> Layout:
    """Plan the readings so that they determine the floor.

    Rows of the bar in two directions, ``spacing_mm`` apart and half of that from the walls, the bar advanced by at
    most half its length (the walking rule of the UFGS for pavements). Such rows cannot tell a twisted floor from a
    flat one: the floor z = t·x·y is straight along all of them. So staff readings are added or, without a staff, lays
    aslant.

    Raises
    ------
    SettingsError
        where the bar fits nowhere, or there would be more readings than anybody takes
    """
    placements = () if request.tools == "staff" else _placements(request)
    staff: tuple[Point, ...] = ()
    if request.tools != "straightedge":
        spacing = request.spacing_mm * (_STAFF_BESIDE_ROWS if placements else 1.0)
        staff = staff_grid(request.room, spacing, clear_mm=2 * CLEAR_MM[request.units], step_mm=_step(request))
    if len(placements) > _MOST_PLACEMENTS or len(staff) > _MOST_STAFF:
        what = f"{len(placements)} placements and {len(staff)} staff readings are more than a sheet can hold"
        raise SettingsError("--spacing", what, "Give a larger spacing")
    return Layout(
        placements=placements,
        staff=tuple(StaffPoint(number, at) for number, at in enumerate(staff, start=1)),
        stations_mm=stations_mm(request),
    )


def stations_mm(request: SheetRequest) -> tuple[float, ...]:
    """Distances along the bar: evenly, its ends among them."""
    if request.tools == "staff":
        return ()
    return tuple(round(float(at), 1) for at in np.linspace(0.0, request.edge_mm, request.stations))


def _placements(request: SheetRequest) -> tuple[PlannedPlacement, ...]:
    room, edge_mm, clear_mm = request.room, request.edge_mm, CLEAR_MM[request.units]
    step_mm = _step(request)
    families: dict[Family, tuple[tuple[tuple[Point, Point], ...], ...]] = {
        "along": rows_along(room, edge_mm, request.spacing_mm, clear_mm=clear_mm, step_mm=step_mm),
        "across": rows_across(room, edge_mm, request.spacing_mm, clear_mm=clear_mm, step_mm=step_mm),
    }
    if not any(families.values()):
        longest = max(room.extent_mm) / 1000
        what = f"a bar of {edge_mm / 1000:g} m cannot be laid along the walls of a room {longest:g} m long"
        raise SettingsError("--edge", what, "Take a shorter one")
    if request.tools == "straightedge" or not all(families.values()):
        families["diagonal"] = diagonals(room, edge_mm, clear_mm=clear_mm, step_mm=step_mm)
    return tuple(
        PlannedPlacement(number, start, end, family)
        for number, (family, start, end) in enumerate(walked(families), start=1)
    )


def _step(request: SheetRequest) -> float:
    return TAPE_STEP_MM[request.units]
