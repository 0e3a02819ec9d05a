"""What a person asks of a field sheet, checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, cast, get_args

from flatscan.errors import SettingsError
from flatscan.sheet.room import Room, room_of_outline, room_of_size
from flatscan.sources.hand.lengths import LengthError, parse_length
from flatscan.units import UnitSystem

#: What is taken to the site.
Tools = Literal["straightedge", "staff", "both"]
Paper = Literal["a4", "letter"]

TOOLS: tuple[Tools, ...] = get_args(Tools)
PAPERS: tuple[Paper, ...] = get_args(Paper)

#: Usual bar and spacing in the units of the place: a 2 m bar and 1 m, a 6 ft bar and 3 ft (common practice, no source).
USUAL_EDGE_MM: dict[UnitSystem, float] = {"metric": 2000.0, "imperial": 6 * 304.8}
USUAL_SPACING_MM: dict[UnitSystem, float] = {"metric": 1000.0, "imperial": 3 * 304.8}
#: Bar ends and staff stay this far from walls, for skirting and fingers.
CLEAR_MM: dict[UnitSystem, float] = {"metric": 50.0, "imperial": 50.8}
#: Places are given to this: what a person reads off a tape without bending down.
TAPE_STEP_MM: dict[UnitSystem, float] = {"metric": 10.0, "imperial": 25.4}

_EDGES_MM = (200.0, 6000.0)
_STATIONS = (3, 41)
_MOST_ROWS = 200
_MOST_TITLE = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRequest:
    """``spacing_mm``: between rows, and between staff readings where only a staff is taken.

    ``stations``: readings along the bar, its two ends among them. ``joints``, ``lips``: blank lines for them.
    """

    room: Room
    edge_mm: float
    spacing_mm: float
    tools: Tools = "both"
    stations: int = 9
    paper: Paper = "a4"
    units: UnitSystem = "metric"
    joints: int = 10
    lips: int = 10
    title: str = ""

    def __post_init__(self) -> None:
        short = min(self.room.extent_mm)
        if self.tools != "staff":
            _within_lengths(self.edge_mm, "--edge", self.units)
        if self.spacing_mm <= 0.0:
            raise SettingsError(
                "--spacing", "rows no distance apart cannot be laid", "Give one such as '1 m' or '3 ft'"
            )
        if self.spacing_mm > short:
            what = f"{self.spacing_mm / 1000:g} m is more than the room's shorter side, {short / 1000:g} m"
            raise SettingsError("--spacing", what, "Give a smaller spacing, half of that side or less")
        _within(self.stations, _STATIONS, "--stations", "stations")
        _within(self.joints, (0, _MOST_ROWS), "--joints", "lines")
        _within(self.lips, (0, _MOST_ROWS), "--lips", "lines")
        if len(self.title) > _MOST_TITLE or not self.title.isprintable():
            raise SettingsError(
                "--title", f"it is longer than {_MOST_TITLE} letters or more than one line", "Give a shorter one"
            )


def request_from(
    room: str | None,
    outline: str | None,
    *,
    tools: str,
    edge: str | None,
    spacing: str | None,
    units: str,
    paper: str,
    **counts_and_title: Any,
) -> SheetRequest:
    """A request from the texts of the command line; raises SettingsError naming the option at fault.

    A length without a unit is in metres or, with imperial units, in feet.
    """
    system = cast("UnitSystem", _one_of(units, get_args(UnitSystem), "--units"))
    bare = "m" if system == "metric" else "ft"
    if (room is None) == (outline is None):
        what = "the room is not known" if room is None else "the room is given twice"
        raise SettingsError("--room", what, "Give either --room '5.0 x 4.0 m' or --outline with its corners")
    shape = room_of_outline(outline or "", bare_unit=bare) if room is None else room_of_size(room, bare_unit=bare)
    return SheetRequest(
        room=shape,
        edge_mm=USUAL_EDGE_MM[system] if edge is None else _length_mm(edge, bare, "--edge"),
        spacing_mm=usual_spacing_mm(shape, system) if spacing is None else _length_mm(spacing, bare, "--spacing"),
        tools=cast("Tools", _one_of(tools, TOOLS, "--with")),
        paper=cast("Paper", _one_of(paper, PAPERS, "--paper")),
        units=system,
        **counts_and_title,
    )


def usual_spacing_mm(room: Room, units: UnitSystem) -> float:
    """The usual spacing, or half of the shorter side where a room is too narrow for that."""
    step = TAPE_STEP_MM[units]
    return min(USUAL_SPACING_MM[units], min(room.extent_mm) / 2.0 // step * step)


def _one_of(text: str, known: tuple[str, ...], option: str) -> str:
    """``text`` where it is a known word; raises SettingsError."""
    word = text.strip().lower()
    if word not in known:
        raise SettingsError(option, f"{text!r} is not known here", f"Use one of {', '.join(known)}")
    return word


def _length_mm(text: str, bare_unit: str, option: str) -> float:
    try:
        return parse_length(text, bare_unit).mm
    except LengthError as error:
        raise SettingsError(option, error.what, error.advice) from error


def _within_lengths(length_mm: float, option: str, units: UnitSystem) -> None:
    """As ``_within``, in the unit that a length without one is taken for: a bare 2000 was not meant as metres."""
    unit, per = ("m", 1000.0) if units == "metric" else ("ft", 304.8)
    least, most = (bound / per for bound in _EDGES_MM)
    if not least <= length_mm / per <= most:
        advice = f"Give {least:.2g} to {most:.2g} {unit}, with its unit"
        raise SettingsError(option, f"{length_mm / per:g} {unit} cannot be used", advice)


def _within(value: float, bounds: tuple[float, float], option: str, unit: str) -> None:
    if not bounds[0] <= value <= bounds[1]:
        raise SettingsError(option, f"{value:g} {unit} cannot be used", f"Give {bounds[0]:g} to {bounds[1]:g} {unit}")
