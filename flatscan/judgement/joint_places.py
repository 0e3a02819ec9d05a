"""A place on a joint as a person counts it: third joint from the bottom wall, 1.23 m from the left wall."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan import said
from flatscan.judgement.places import place_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Point
    from flatscan.measures.joints.network import JointNetwork, JointPiece
    from flatscan.settings import Segment
    from flatscan.surface.surface import Surface

Wall = Literal["left", "right", "bottom", "top"]
Axis = Literal["x", "y"]
#: Pieces turned further than this from the walls are not counted along them (a diagonal laying).
MOST_TURN_RAD = math.radians(10.0)
#: Pieces of one joint line lie this close together square to it, mm.
SAME_LINE_MM = 20.0
#: A joint this close to a wall is the tiles' edge, which nobody counts.
AT_WALL_MM = 20.0
#: A line with joint on this share of the way runs through: it is counted where a piece of it was not found, too.
RUNS_THROUGH = 0.6
#: A piece reaches a place if it comes this near to it along the line, mm.
_REACH_MM = 10.0
#: Cells inside as a share of the box around them, from which a room counts as a rectangle.
_RECTANGLE = 0.95
#: So many joints are counted from the door wall even where the other wall is nearer.
MOST_FROM_DOOR = 5
#: A door this close to a side of the box around the room lies in that wall.
_IN_WALL_MM = 400.0
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """One joint line: how far it lies along its normal, and where its pieces begin and end along it."""

    offset_mm: float
    spans_mm: tuple[tuple[float, float], ...]
    through: bool

    def met_at(self, along_mm: float) -> bool:
        return self.through or any(a - _REACH_MM <= along_mm <= b + _REACH_MM for a, b in self.spans_mm)


@dataclass(frozen=True, slots=True, eq=False)
class _Family:
    """Joint lines of one direction, lowest offset first. ``way``: unit vector along them."""

    way: tuple[float, float]
    lines: tuple[_Line, ...]

    def along_and_offset(self, at: Point) -> tuple[float, float]:
        (c, s), (x, y) = self.way, at
        return c * x + s * y, c * y - s * x


@dataclass(frozen=True, slots=True, eq=False)
class JointPlaces:
    """Where joints run and where the walls are, for saying places in words.

    ``families``: the lines along x and along y; ``box``: least and most x, least and most y of the floor, mm.
    """

    families: dict[Axis, _Family]
    pieces: tuple[JointPiece, ...]
    box: tuple[float, float, float, float]
    rectangle: bool
    door: Wall | None

    @classmethod
    def of(cls, network: JointNetwork, surface: Surface, doors_mm: Sequence[Segment] = ()) -> JointPlaces:
        """The places of one floor; the wall of the first door is called the door wall."""
        rows, cols = np.nonzero(surface.inside)
        if rows.size == 0:
            return cls({}, network.pieces, (0.0, 0.0, 0.0, 0.0), rectangle=False, door=None)
        half = surface.cell_mm / 2.0
        x0, y0 = surface.xy_mm(float(rows.min()), float(cols.min()))
        x1, y1 = surface.xy_mm(float(rows.max()), float(cols.max()))
        box = (x0 - half, x1 + half, y0 - half, y1 + half)
        if surface.outline:
            # Joints are counted and tapes read from the walls, not from where the judged floor begins.
            (left, bottom), (right, top) = surface.outline[0].min(axis=0), surface.outline[0].max(axis=0)
            box = (float(left), float(right), float(bottom), float(top))
        in_box = (int(np.ptp(rows)) + 1) * (int(np.ptp(cols)) + 1)
        axes: tuple[Axis, ...] = ("x", "y")
        families = {axis: _family(pieces) for axis in axes if (pieces := _along(network.pieces, axis))}
        return cls(families, network.pieces, box, rows.size >= _RECTANGLE * in_box, _door_wall(doors_mm, box))

    def words(self, piece: int, at: Point) -> str:
        """The place ``at`` on that piece: counted joints and one tape, or two tapes where they cannot be counted."""
        axis = next((a for a in self.families if _turn(self.pieces[piece], a) <= MOST_TURN_RAD), None)
        if axis is None:
            return place_in_words(at)
        family = self.families[axis]
        along, offset = family.along_and_offset(at)
        near_mm, far_mm = self.box[2:] if axis == "x" else self.box[:2]
        met = [
            line.offset_mm
            for line in family.lines
            if line.met_at(along)
            and near_mm + AT_WALL_MM < self._across(line, family, along, axis) < far_mm - AT_WALL_MM
        ]
        below = sum(o < offset - SAME_LINE_MM for o in met)
        above = sum(o > offset + SAME_LINE_MM for o in met)
        low: Wall = "bottom" if axis == "x" else "left"
        high: Wall = "top" if axis == "x" else "right"
        from_high = self.rectangle and above < below
        if self.door in (low, high):
            counts = (above, below) if self.door == high else (below, above)
            # Where the door is far, nobody counts a dozen joints to a place that is the first from the other wall.
            if not self.rectangle or counts[0] < max(counts[1], MOST_FROM_DOOR):
                from_high = self.door == high
        wall = high if from_high else low
        position = at[1] if axis == "x" else at[0]
        tape = (far_mm - position) if from_high else position
        count = (above if from_high else below) + 1
        side: Wall = "left" if axis == "x" else "bottom"
        other = at[0] if axis == "x" else at[1]
        return (
            f"{ordinal(count)} joint from {self._name(wall)} ({said.tape(tape)} from it), "
            f"{said.tape(other)} from {self._name(side)}"
        )

    @staticmethod
    def _across(line: _Line, family: _Family, along: float, axis: str) -> float:
        """The floor-frame y (lines along x) or x (along y) where a line is met."""
        c, s = family.way
        return s * along + c * line.offset_mm if axis == "x" else c * along - s * line.offset_mm

    def _name(self, wall: Wall) -> str:
        return "the door wall" if wall == self.door else f"the {wall} wall"


def ordinal(number: int) -> str:
    """``third``; in figures beyond the tenth.

    >>> ordinal(3), ordinal(11), ordinal(22), ordinal(113)
    ('third', '11th', '22nd', '113th')
    """
    if number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{({1: 'st', 2: 'nd', 3: 'rd'}).get(number % 10, 'th')}"


def _turn(piece: JointPiece, axis: str) -> float:
    """Angle between a piece and an axis, 0 to a right angle."""
    dx, dy = (abs(b - a) for a, b in zip(piece.start, piece.end, strict=True))
    return math.atan2(dy, dx) if axis == "x" else math.atan2(dx, dy)


def _along(pieces: Sequence[JointPiece], axis: str) -> list[JointPiece]:
    return [p for p in pieces if p.length_mm > 0.0 and _turn(p, axis) <= MOST_TURN_RAD]


def _family(pieces: Sequence[JointPiece]) -> _Family:
    """Lines out of pieces that run nearly one way: their mean way is the line, gaps square to it part the lines.

    For the lines along y the way points to -y or +y as it falls out; it is turned so that the offset grows with x.
    """
    ends = np.array([(p.start, p.end) for p in pieces], dtype=np.float64)
    step = ends[:, 1] - ends[:, 0]
    flat = np.abs(step[:, 0]) >= np.abs(step[:, 1])
    sign = np.where(flat, np.sign(step[:, 0]), -np.sign(step[:, 1]))
    total = (step * sign[:, None]).sum(axis=0)
    c, s = total / np.linalg.norm(total)
    offset = (c * ends[:, :, 1] - s * ends[:, :, 0]).mean(axis=1)
    along = np.sort(c * ends[:, :, 0] + s * ends[:, :, 1], axis=1)
    extent = float(np.ptp(along))
    order = np.argsort(offset)
    breaks = np.flatnonzero(np.diff(offset[order]) > SAME_LINE_MM) + 1
    lines = []
    for group in np.split(order, breaks):
        covered = float((along[group, 1] - along[group, 0]).sum())
        spans = tuple((float(a), float(b)) for a, b in along[group])
        lines.append(_Line(float(offset[group].mean()), spans, covered >= RUNS_THROUGH * extent))
    return _Family((float(c), float(s)), tuple(lines))


def _door_wall(doors_mm: Sequence[Segment], box: tuple[float, float, float, float]) -> Wall | None:
    if not doors_mm:
        return None
    (xa, ya), (xb, yb) = doors_mm[0]
    x, y = (xa + xb) / 2.0, (ya + yb) / 2.0
    away: dict[Wall, float] = {
        "left": abs(x - box[0]),
        "right": abs(x - box[1]),
        "bottom": abs(y - box[2]),
        "top": abs(y - box[3]),
    }
    wall = min(away, key=away.__getitem__)
    return wall if away[wall] <= _IN_WALL_MM else None
