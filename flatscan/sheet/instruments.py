"""What is taken for granted of bar and level until the person writes something else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sheet import shown
from flatscan.sources.hand.field_readings import Bar, Level

if TYPE_CHECKING:
    from flatscan.sheet.request import SheetRequest
    from flatscan.units import UnitSystem

#: A wedge or feelers beneath a bar: step, reader's repeatability, bow at mid-length, mm (common practice, no source).
BAR_STEP_MM: dict[UnitSystem, float] = {"metric": 0.5, "imperial": 25.4 / 32}
BAR_REPEAT_MM = 0.2
BAR_BOW_MM = 0.1
#: Line laser or optical level with a staff: step, repeatability, tilt, drift, mm (common practice, no source).
LEVEL_STEP_MM: dict[UnitSystem, float] = {"metric": 1.0, "imperial": 25.4 / 32}
LEVEL_REPEAT_MM = 0.3
LEVEL_TILT_MM_PER_M = 0.1
LEVEL_DRIFT_MM = 0.5


def assumed_bar(request: SheetRequest) -> Bar:
    """The bar that a sheet reckons with."""
    return Bar("straightedge", request.edge_mm, BAR_STEP_MM[request.units], BAR_REPEAT_MM, BAR_BOW_MM)


def assumed_level(units: UnitSystem) -> Level:
    """The level that a sheet reckons with."""
    return Level(LEVEL_STEP_MM[units], LEVEL_REPEAT_MM, LEVEL_TILT_MM_PER_M, LEVEL_DRIFT_MM)


def assumed_steps(request: SheetRequest) -> dict[str, str]:
    """What the printed instrument block offers, to be struck out and written anew."""
    units = request.units
    return {
        "bar_step": _fine(BAR_STEP_MM[units], units),
        "bar_repeat": _fine(BAR_REPEAT_MM, units),
        "bar_bow": _fine(BAR_BOW_MM, units),
        "level_step": _fine(LEVEL_STEP_MM[units], units),
        "level_repeat": _fine(LEVEL_REPEAT_MM, units),
        "level_tilt": _tilt(units),
        "level_drift": _fine(LEVEL_DRIFT_MM, units),
    }


def instrument_lines(request: SheetRequest) -> tuple[str, ...]:
    """The table's ``#`` lines, without the ``#``: what they hold is the person's to change."""
    place_unit, unit = ("m", "mm") if request.units == "metric" else ("ft", "in")
    feet = "10 mm" if request.units == "metric" else "3/8 in"
    lines = [
        "Fill in value or station cells and leave empty what was not read. Change these lines to what you used",
        _room_line(request),
        f"unit: {unit}",
        f"place unit: {place_unit}",
    ]
    if request.tools != "staff":
        lines += [
            f"straightedge length: {shown.side(request.edge_mm, request.units)}",
            f"straightedge resolution: {_fine(BAR_STEP_MM[request.units], request.units)}",
            f"straightedge repeatability: {_fine(BAR_REPEAT_MM, request.units)} (one standard deviation)",
            f"straightedge straightness: {_fine(BAR_BOW_MM, request.units)} (standard uncertainty at mid-length)",
            "After the reversal check write straightedge reversal and the distance between the two lines instead",
            f"Where the bar stood on feet write feet in the column rule and a line such as # feet height: {feet}",
        ]
    if request.tools != "straightedge":
        lines += [
            f"level resolution: {_fine(LEVEL_STEP_MM[request.units], request.units)}",
            f"level repeatability: {_fine(LEVEL_REPEAT_MM, request.units)}",
            f"level tilt: {_tilt(request.units)}",
            f"level drift: {_fine(LEVEL_DRIFT_MM, request.units)}",
            "gravity: yes",
        ]
    if request.tools != "staff":
        lines.append("gaps searched: no (write yes when the bar was moved over all of it and the deepest are listed)")
    lines.append("joints searched: no (write yes when the whole floor was walked and the worst are listed)")
    return tuple(lines)


def _room_line(request: SheetRequest) -> str:
    room, units = request.room, request.units
    if room.size_mm is not None:
        return "room: " + " x ".join(_exact(side, units) for side in room.size_mm)
    corners = "; ".join(" ".join(f"{v / 1000.0 + 0.0:.3f}" for v in corner) for corner in room.outline_mm.tolist())
    return f"outline: {corners} (unit m)"


def _fine(length_mm: float, units: UnitSystem) -> str:
    if units == "metric":
        return f"{length_mm:g} mm"
    return "1/32 in" if length_mm == BAR_STEP_MM["imperial"] else f"{length_mm / 25.4:.3f} in"


def _exact(length_mm: float, units: UnitSystem) -> str:
    return f"{length_mm / 1000.0:g} m" if units == "metric" else shown.place(length_mm, units)


def _tilt(units: UnitSystem) -> str:
    if units == "metric":
        return f"{LEVEL_TILT_MM_PER_M:g} mm/m"
    return "1/8 in per 100 ft"  # 0.104 mm/m
