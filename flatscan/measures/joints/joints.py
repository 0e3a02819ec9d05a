"""The record of measured joints: what each station says, what each tile does, and what could not be resolved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from flatscan.caveats import Caveat
    from flatscan.measures.joints.network import JointNetwork
    from flatscan.measures.measurement import Point
    from flatscan.quantity import Quantity

#: Why a figure is missing at a station. The sentences are in ``report/joint_wording``.
Refusal = Literal[
    "no_photo",  # no photo shows the place
    "too_coarse",  # too few pixels or samples across the joint: go closer
    "too_blurred",  # narrower than three times the blur
    "shadow",  # a cast shadow lies in the joint
    "low_contrast",  # tile and joint look alike
    "steep_view",  # seen so much from the side that the tile hides the far edge
    "no_edges",  # no pair of edges fits what is seen
    "too_few_heights",  # not enough samples on one of the faces
    "smoothed",  # the surface was smoothed by whoever made it
]


@dataclass(frozen=True, slots=True)
class Station:
    """One place along a joint. A figure is None where it could not be measured, and ``refused`` says why.

    ``wall_width``: between the tiles' sides, which is what a photo shows. ``width``: what a limit means that does not
    say which, between the walls or between the ends of the flat faces; its uncertainty holds both. ``depth``: from
    the lower tile edge to the joint's floor. ``lip``: face to the left of the piece's way minus face to the right.
    """

    at: Point
    along_mm: float
    stretch_mm: float
    wall_width: Quantity | None = None
    width: Quantity | None = None
    depth: Quantity | None = None
    lip: Quantity | None = None
    refused: tuple[tuple[Literal["width", "depth", "lip"], Refusal], ...] = ()


@dataclass(frozen=True, slots=True)
class MeasuredJoint:
    """One piece of the network with its stations. ``id`` is the same on the map, in the tables and on the sheet."""

    id: str
    piece: int
    line: tuple[Point, ...]
    stations: tuple[Station, ...]

    @property
    def length_mm(self) -> float:
        """Length of joint."""
        return sum(station.stretch_mm for station in self.stations)


@dataclass(frozen=True, slots=True)
class MeasuredFace:
    """A tile's own shape, apart from the lips. None: not resolved.

    ``tilt``: against the floor's large shape around it, mm per m. ``warp``: bow of its middle against its edges,
    mm, + is a crown.
    """

    face: int
    tilt: Quantity | None
    warp: Quantity | None


@dataclass(frozen=True, slots=True, eq=False)
class Joints:
    """The joints of one floor, measured. ``joints`` in the order of ``network.pieces``."""

    network: JointNetwork
    joints: tuple[MeasuredJoint, ...]
    faces: tuple[MeasuredFace, ...] = ()
    #: Sentences for people: what the widths and lips were read from, how finely.
    notes: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()
