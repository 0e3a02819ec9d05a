"""The record of where the joints run: straight pieces from node to node, the faces between them, the tile format."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.measures.measurement import Point
    from flatscan.quantity import Quantity

#: How tiles lie against each other. ``running``: each row shifted against the one before by ``TileFormat.shift``.
Bond = Literal["stack", "running", "herringbone", "mixed"]
FoundIn = Literal["picture", "heights", "both"]


@dataclass(frozen=True, slots=True)
class JointPiece:
    """A straight piece of joint from node to node, its centre line in floor-frame mm.

    ``faces``: index into ``JointNetwork.faces`` of the face to the left and to the right of the way from ``start``
    to ``end``; None: no closed face was found there. ``evidence``: how clearly it was seen, 0 to 1.
    """

    start: Point
    end: Point
    faces: tuple[int | None, int | None]
    evidence: float

    @property
    def length_mm(self) -> float:
        """From node to node."""
        return math.dist(self.start, self.end)


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """One tile (or what is left of it): the ring of its joints' centre lines.

    ``ring``: (k, 2) float64 floor-frame mm, not closed, anticlockwise. ``whole``: it has the format's size, so
    it is neither cut nor several tiles in one.
    """

    ring: NDArray[np.float64]
    whole: bool


@dataclass(frozen=True, slots=True)
class TileFormat:
    """The commonest tile. Pitch: tile with one joint, measured from centre line to centre line.

    ``pitch_long``, ``pitch_short`` in mm; ``direction_rad``: the long side (of a square: either) from floor-frame
    x, 0 <= direction < pi. ``shift``: of running bond, how far each row lies against the one before as a share of the
    pitch along the row, 0 to 0.5. ``share``: of the whole faces that have this format.
    """

    pitch_long: Quantity
    pitch_short: Quantity
    direction_rad: float
    bond: Bond
    shift: float | None
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class JointNetwork:
    """All joints found on one floor. Empty ``pieces``: none was found, and ``how`` says what was looked at."""

    pieces: tuple[JointPiece, ...]
    faces: tuple[Face, ...]
    format: TileFormat | None
    found_in: FoundIn
    #: One sentence for people: what was looked at and how finely.
    how: str
    caveats: tuple[Caveat, ...] = ()

    @property
    def length_mm(self) -> float:
        """Length of all pieces together."""
        return sum(piece.length_mm for piece in self.pieces)
