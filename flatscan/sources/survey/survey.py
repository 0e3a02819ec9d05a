"""The record of a survey file: what binds the levelling, in floor-frame mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from flatscan.sources.survey.site import NO_SITE

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.measures.measurement import Point
    from flatscan.settings import Segment
    from flatscan.sources.scan import InputFile
    from flatscan.sources.survey.site import Site

#: ``no_fill``: no compound there (a drain, a channel). ``no_grind``: nothing is ground there (heating pipes, suspected
#: asbestos). ``keep_slope``: falls to a drain; levelled by itself, never poured level. ``fixed_height``: the finished
#: floor stands there just so high (threshold, drain, adjoining floor). ``greatest_build_up``: not thicker than that
#: there. ``remove_tiles``: tiles that come out (hollow, loose) and whose place is filled flush.
ZoneKind = Literal["no_fill", "no_grind", "keep_slope", "fixed_height", "greatest_build_up", "remove_tiles"]


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """One part of the floor with a rule of its own.

    ``name`` is what the person calls it, for messages and drawings. It is bounded by ``polygon_mm`` ((k, 2) float64,
    not closed) or is the tiles that hold the places ``tiles_at_mm``. ``value_mm``: of ``fixed_height`` how far the
    finished floor stands above the old one there, 0 for as it is; of ``greatest_build_up`` the thickness; of
    ``remove_tiles`` the depth of the hole that a tile with its bed leaves; of the others None.
    """

    kind: ZoneKind
    name: str
    polygon_mm: NDArray[np.float64] | None = None
    tiles_at_mm: tuple[Point, ...] = ()
    value_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Door:
    """A door: its line over the floor, and how much the floor may rise there (None: not said)."""

    name: str
    line_mm: Segment
    greatest_build_up_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """What a survey file says.

    ``remove_hollow_mm``: depth of hole where tiles that sounded hollow or loose come out, None: they stay.
    ``dams_mm``: lines where the person means to dam a pour. ``site``: everything that binds no levelling.
    """

    file: InputFile
    zones: tuple[Zone, ...] = ()
    doors: tuple[Door, ...] = ()
    movement_joints_mm: tuple[tuple[Point, ...], ...] = ()
    dams_mm: tuple[tuple[Point, ...], ...] = ()
    greatest_build_up_mm: float | None = None
    remove_hollow_mm: float | None = None
    site: Site = NO_SITE
    #: The file's own bytes, kept with the result.
    data: bytes = b""
