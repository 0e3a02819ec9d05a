"""The record of one reading taken by hand at a named place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from flatscan.quantity import Quantity

HandWhat = Literal["gap", "lip", "joint_width", "joint_depth"]


@dataclass(frozen=True, slots=True)
class HandReading:
    """One filled-in line of the readings file.

    ``at``: floor-frame mm. ``value``: in mm, u from the instrument's resolution and its reader. ``edge_mm``: length of
    the straightedge for a gap. ``joint``: id of the joint for the others, as the sheet named it. ``row``: line number
    in the file, for messages and for tracing. ``number``: what the sheet calls the row.
    """

    row: int
    what: HandWhat
    at: tuple[float, float]
    value: Quantity
    edge_mm: float | None = None
    joint: str | None = None
    note: str = ""
    number: str = ""
