"""Before anything is measured: how well the readings of a sheet will know the floor, and what more of them buy."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import SettingsError
from flatscan.sheet.layout import lay_out
from flatscan.sheet.planned import planned_readings
from flatscan.sheet.room import Room

if TYPE_CHECKING:
    from flatscan.sheet.layout import Layout
    from flatscan.sheet.request import SheetRequest
    from flatscan.surface.readings.fit import LongMode
    from flatscan.surface.readings.nodes import Nodes

#: The thin plate's strength for floors of 1.5 and 2.9 mm (one standard deviation) whose bumps are about 1 m across
#: (Gaussian correlation, length 0.5 m): the strength with the greatest evidence, geometric mean of four invented
#: floors each, read with rows of a 2 m bar 0.5 m apart and 25 staff readings: 0.0054 and 0.0091.
KAPPA_ORDINARY = 0.0054
KAPPA_ROUGH = 0.0091
#: Waves shorter than this many spacings can slip between the rows.
_SPACINGS_PER_WAVE = 3.0
#: Heights reckoned with: three times as many move the figures by a twentieth and take ten times as long.
_MOST_NODES = 400
#: u hangs on the spacing, hardly on the room (rows 1 m apart: 0.46 mm in a room of 5 x 5 m, 0.46 mm in 12 x 8 m), so
#: of a larger room a square part is reckoned: of this side, and of at least so many bars and spacings.
_PART_MM = 5000.0
_PART_BARS = 2.0
_PART_SPACINGS = 4.0
_CELL_MM = 100.0


@dataclass(frozen=True, slots=True)
class Expected:
    """Standard uncertainty of the floor's heights, plane left out, mm: middle one, and nearly the worst (95 % below).

    ``rough``: the same on a rough floor.
    """

    median_mm: float
    worst_mm: float
    rough_median_mm: float
    rough_worst_mm: float


@dataclass(frozen=True, slots=True)
class Choice:
    """Another layout: what is changed, how many placements and staff readings it takes, and what it gives."""

    text: str
    placements: int
    staff: int
    expected: Expected


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the sheet will give. ``modes``: bends of room size, with whether the readings will see them."""

    expected: Expected
    smallest_wave_mm: float
    modes: tuple[LongMode, ...]
    choices: tuple[Choice, ...]

    @property
    def unseen(self) -> tuple[LongMode, ...]:
        """Bends of room size that only the assumed smoothness will decide."""
        return tuple(mode for mode in self.modes if not mode.seen)


def outlook(request: SheetRequest, layout: Layout) -> Outlook:
    """Reckon this layout and a few others that a person may prefer."""
    from flatscan.surface.readings.modes import long_modes
    from flatscan.surface.readings.observations import observe
    from flatscan.surface.readings.prior import thin_plate

    nodes = _nodes(request)
    observations = observe(planned_readings(request, layout), nodes)
    return Outlook(
        expected=expected(request),
        smallest_wave_mm=_SPACINGS_PER_WAVE * request.spacing_mm,
        modes=long_modes(nodes, observations, thin_plate(nodes), kappa=KAPPA_ORDINARY),
        choices=tuple(_choices(request)),
    )


def expected(request: SheetRequest) -> Expected:
    """What one layout will give on an ordinary and on a rough floor."""
    from flatscan.surface.readings.observations import observe
    from flatscan.surface.readings.posterior import predicted_sd_mm
    from flatscan.surface.readings.prior import thin_plate

    part = _part(request)
    nodes = _nodes(part)
    observations = observe(planned_readings(part, lay_out(part)), nodes)
    prior = thin_plate(nodes)
    figures = []
    for kappa in (KAPPA_ORDINARY, KAPPA_ROUGH):
        sd = predicted_sd_mm(observations, prior, nodes, kappa=kappa)
        figures += [float(np.median(sd)), float(np.quantile(sd, 0.95))]
    return Expected(*figures)


def _part(request: SheetRequest) -> SheetRequest:
    """The same request for a part of a large room, in its corner."""
    side = max(_PART_MM, _PART_BARS * request.edge_mm, _PART_SPACINGS * request.spacing_mm)
    if request.room.area_mm2 <= side**2:
        return request
    width, depth = (min(side, length) for length in request.room.extent_mm)
    corners = np.array([(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)])
    return replace(request, room=Room(outline_mm=corners, size_mm=(width, depth)))


def _choices(request: SheetRequest) -> list[Choice]:
    halved = replace(request, spacing_mm=request.spacing_mm / 2.0)
    found = [("half the spacing", halved)]
    if request.tools == "straightedge":
        found.append(("a level and staff as well", replace(request, tools="both")))
    elif request.tools == "staff":
        found.append(("the straightedge as well", replace(request, tools="both")))
    else:
        found.append(("the staff alone, without the straightedge", replace(request, tools="staff")))
    if 2.0 * request.spacing_mm <= min(request.room.extent_mm):
        found.append(("twice the spacing", replace(request, spacing_mm=2.0 * request.spacing_mm)))
    choices = []
    for text, other in found:
        try:
            laid = lay_out(other)
        except SettingsError:  # more readings than a sheet holds, or a bar that does not fit: no choice to offer
            continue
        choices.append(Choice(text, len(laid.placements), len(laid.staff), expected(other)))
    return choices


def _nodes(request: SheetRequest) -> Nodes:
    from flatscan.surface.readings.nodes import lay_nodes

    usual = max(_CELL_MM, math.sqrt(request.room.area_mm2 / _MOST_NODES))
    return lay_nodes(request.room.outline_mm, cell_mm=min(usual, min(request.room.extent_mm) / 4.0))
