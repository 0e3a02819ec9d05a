"""Measure an invented floor by hand: the readings as a person would write them down."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import (
    Crack,
    FieldReadings,
    HumpReading,
    LevelReading,
    Placement,
    Sounding,
    StepLine,
)
from flatscan.sources.hand.hand_reading import HandReading
from flatscan.sources.hand.instruments import STEPS_PER_U
from flatscan.synth.hand.bar import Lie, edge_mm, end_pressed, on_feet, resting
from flatscan.synth.hand.spots import joint_spots
from flatscan.synth.sensors.levels import LevelSet, read_staff

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from flatscan.sources.hand.field_readings import Bar, Point
    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.hand.layout import Laying, Layout, SetUp
    from flatscan.synth.hand.person import Person

#: The floor beneath a bar is looked at this finely.
_PROFILE_STEP_MM = 4.0
#: A bar whose two contacts are nearer to each other than this rocks: a hand on one side holds it down.
_ROCKS_MM = 100.0
_HELD_AT = (0.2, 0.8)
#: Ends written to a tenth of a millimetre leave a bar this much shorter than it is.
_ENDS_WITHIN_MM = 1.0
#: A line is free above the floor by about this much at its ends.
_LINE_ABOVE_MM = (20.0, 40.0)
_SIGHT_MM = (1150.0, 1450.0)


def read_by_hand(floor: InventedFloor, layout: Layout, person: Person, *, rng: np.random.Generator) -> FieldReadings:
    """What the person writes down, as the record that a reader would make of the file.

    One bar is used throughout: its bow and skew are drawn once. Rows are numbered from 1 in the order written.
    """
    bar_rng, lay_rng, level_rng, spot_rng = rng.spawn(4)
    number = itertools.count(1)
    shape = _Shape(person, bar_rng)
    placements = tuple(_placement(floor, one, layout, person, shape, next(number), lay_rng) for one in layout.layings)
    humps = tuple(_hump(floor, one, person, shape, next(number), lay_rng) for one in layout.humps)
    levels = tuple(reading for one in layout.set_ups for reading in _levels(floor, one, person, number, level_rng))
    searched = [_searched(floor, one, person, shape, next(number), lay_rng) for one in layout.searches]
    joints = joint_spots(floor, layout, person, rng=spot_rng)
    return FieldReadings(
        inputs=(),
        placements=placements,
        humps=humps,
        levels=levels,
        spots=(*searched, *(replace(one, row=(row := next(number)), number=str(row)) for one in joints)),
        steps=tuple(StepLine(next(number), start, end) for start, end in layout.steps),
        soundings=tuple(Sounding(row := next(number), str(row), at, sounds) for at, sounds in layout.soundings),
        cracks=tuple(
            Crack(row := next(number), str(row), start, end, None if wide is None else Quantity(wide, 0.1, "mm"))
            for start, end, wide in layout.cracks
        ),
        level=person.level if levels else None,
        outline=np.array(floor.outline_mm),
        joints_searched=layout.widest > 0 or layout.highest > 0,
        gaps_searched=bool(layout.searches),
    )


class _Shape:
    """The true shape of this person's bar: drawn once from what it is said to be."""

    def __init__(self, person: Person, rng: np.random.Generator) -> None:
        bow, skew = rng.standard_normal(2) * person.bar.bow_mm * np.array([1.0, person.skew_share])
        self._bow_mm, self._skew_mm = float(bow), float(skew)

    def of(self, at_mm: NDArray[np.float64], length_mm: float, *, turned: bool) -> NDArray[np.float64]:
        skew = -self._skew_mm if turned else self._skew_mm
        return edge_mm(at_mm, length_mm, bow_mm=self._bow_mm, skew_mm=skew)


class _Laid:
    """A bar laid on the floor, a little off where it was meant to lie."""

    def __init__(self, floor: InventedFloor, start: Point, end: Point, off_mm: float, rng: np.random.Generator) -> None:
        self._floor = floor
        self.length_mm = float(np.hypot(end[0] - start[0], end[1] - start[1]))
        self._start = np.array(start) + off_mm * rng.standard_normal(2)
        self._along = (np.array(end) - np.array(start)) / self.length_mm
        self.at_mm = np.linspace(0.0, self.length_mm, round(self.length_mm / _PROFILE_STEP_MM) + 1)
        self.profile_mm = self.floor_mm(self.at_mm)

    def floor_mm(self, at_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Tile faces beneath the bar: it bridges joints."""
        x, y = self._start[:, None] + self._along[:, None] * at_mm
        return self._floor.face_mm(x, y)

    def rest(self, edge: NDArray[np.float64], rng: np.random.Generator) -> Lie:
        """On two high points either side of mid-length; where it rocks, held down to one side."""
        lie = resting(self.at_mm, self.profile_mm - edge, load_at_mm=0.5 * self.length_mm)
        if lie.contacts[1] - lie.contacts[0] < _ROCKS_MM:
            held = float(rng.choice(_HELD_AT)) * self.length_mm
            lie = resting(self.at_mm, self.profile_mm - edge, load_at_mm=held)
        return lie


def _placement(
    floor: InventedFloor,
    one: Laying,
    layout: Layout,
    person: Person,
    shape: _Shape,
    row: int,
    rng: np.random.Generator,
) -> Placement:
    bar = person.string if one.rule == "line" else person.bar
    laid = _Laid(floor, one.start, one.end, person.place_sd_mm, rng)
    at_mm = np.arange(0.0, laid.length_mm + _ENDS_WITHIN_MM, layout.station_mm)
    if one.rule == "feet":  # under the feet there is nothing to read
        at_mm = at_mm[(at_mm > 0.0) & (at_mm < laid.length_mm - _ENDS_WITHIN_MM)]
    light_mm = _light_mm(laid, one, bar, shape, at_mm, rng)
    contact = (light_mm < person.sees_contact_mm) & (one.rule == "resting")
    read = np.where(contact, 0.0, _rounded(light_mm + bar.repeat_mm * rng.standard_normal(len(at_mm)), bar.step_mm))
    u_mm = np.where(contact, person.sees_contact_mm, reading_u_mm(bar.step_mm, bar.repeat_mm))
    return Placement(
        row, str(row), one.start, one.end, one.rule, at_mm, np.maximum(read, 0.0), contact, u_mm, bar, one.turned
    )


def _light_mm(
    laid: _Laid, one: Laying, bar: Bar, shape: _Shape, at_mm: NDArray[np.float64], rng: np.random.Generator
) -> NDArray[np.float64]:
    """The true distance from the edge down to the floor at each station."""
    if one.rule == "line":
        ends_mm = laid.profile_mm[[0, -1]] + rng.uniform(*_LINE_ABOVE_MM, 2)
        return np.asarray(np.interp(at_mm, [0.0, laid.length_mm], ends_mm) - laid.floor_mm(at_mm))
    edge = shape.of(laid.at_mm, laid.length_mm, turned=one.turned)
    feet = one.rule == "feet"
    lie = on_feet(laid.at_mm, laid.profile_mm, feet_mm=bar.feet_mm) if feet else laid.rest(edge, rng)
    here = shape.of(at_mm, laid.length_mm, turned=one.turned)
    return np.maximum(lie.at(at_mm) + here - laid.floor_mm(at_mm), 0.0)


def _hump(
    floor: InventedFloor,
    ends: tuple[Point, Point],
    person: Person,
    shape: _Shape,
    row: int,
    rng: np.random.Generator,
) -> HumpReading:
    laid = _Laid(floor, *ends, person.place_sd_mm, rng)
    bearing = laid.profile_mm - shape.of(laid.at_mm, laid.length_mm, turned=False)
    free_mm = float(end_pressed(laid.at_mm, bearing).at(laid.at_mm[-1:])[0] - bearing[-1])
    free_mm = float(_rounded(np.array(free_mm + person.bar.repeat_mm * rng.standard_normal()), person.bar.step_mm))
    u = reading_u_mm(person.bar.step_mm, person.bar.repeat_mm) / 2.0
    return HumpReading(row, str(row), *ends, Quantity(max(free_mm, 0.0) / 2.0, u, "mm"), person.bar)


def _searched(
    floor: InventedFloor, one: Laying, person: Person, shape: _Shape, row: int, rng: np.random.Generator
) -> HandReading:
    """The deepest gap between the two contacts, and where it is."""
    laid = _Laid(floor, one.start, one.end, person.place_sd_mm, rng)
    edge = shape.of(laid.at_mm, laid.length_mm, turned=one.turned)
    lie = laid.rest(edge, rng)
    between = (laid.at_mm >= lie.contacts[0]) & (laid.at_mm <= lie.contacts[1])
    light = np.where(between, lie.at(laid.at_mm) + edge - laid.profile_mm, -np.inf)
    deepest = int(np.argmax(light))
    share = laid.at_mm[deepest] / laid.length_mm
    at = np.rint(np.array(one.start) + share * (np.array(one.end) - np.array(one.start)))
    read = _rounded(light[deepest] + person.bar.repeat_mm * rng.standard_normal(), person.bar.step_mm)
    value = Quantity(max(float(read), 0.0), reading_u_mm(person.bar.step_mm, person.bar.repeat_mm), "mm")
    return HandReading(row, "gap", (float(at[0]), float(at[1])), value, edge_mm=laid.length_mm, number=str(row))


def _levels(
    floor: InventedFloor, one: SetUp, person: Person, number: Iterator[int], rng: np.random.Generator
) -> Iterator[LevelReading]:
    level = person.level
    instrument = LevelSet(
        name="level",
        reading_sd_mm=level.repeat_mm,
        resolution_mm=level.step_mm,
        plane_mm_per_m=level.tilt_mm_per_m,
        drift_mm=level.drift_mm,
    )
    stood = np.array(one.at) + person.place_sd_mm * rng.standard_normal((len(one.at), 2))
    staff_mm = read_staff(instrument, floor, stood[:, 0], stood[:, 1], rng, plane_mm=float(rng.uniform(*_SIGHT_MM)))
    u_mm = reading_u_mm(level.step_mm, level.repeat_mm)
    lines = one.line or ("",) * len(one.at)
    for order, (at, staff, line) in enumerate(zip(one.at, staff_mm, lines, strict=True)):
        row = next(number)
        yield LevelReading(row, str(row), at, -float(staff), u_mm, set_up=one.name, order=order, line=line)


def reading_u_mm(step_mm: float, repeat_mm: float) -> float:
    """Standard uncertainty of one reading: its step and its reader."""
    return float(np.hypot(step_mm / STEPS_PER_U, repeat_mm))


def _rounded(value_mm: NDArray[np.float64], step_mm: float) -> NDArray[np.float64]:
    return np.asarray(np.rint(value_mm / step_mm) * step_mm if step_mm > 0.0 else value_mm)
