"""Collects blocks of points into one lean float32 array without losing map coordinates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_GROWTH = 1.5
#: Coordinates beyond this are spoilt bytes, and would overflow float32 once turned into mm.
FARTHEST = 1.0e12
#: Points per block: small beside a 10-million-point array, large beside the cost of a call.
BLOCK_POINTS = 1 << 19


class PointStore:
    """Points of one source in the file's own unit, relative to an origin taken from the first block.

    The origin (rounded median) is subtracted in float64 before the narrowing to float32, so a
    point 1e6 m from zero keeps its fraction of a millimetre. Points with a NaN, infinite
    or absurd coordinate are dropped, and so are repeated points at exactly 0 0 0: many exporters write that
    for a pixel without a reading.
    """

    def __init__(self, expected: int) -> None:
        """Make room for ``expected`` points (a hint: the store grows)."""
        rows = max(int(expected), 1)
        self._xyz = np.empty((rows, 3), dtype=np.float32)
        self._view: NDArray[np.uint16] | None = None
        self._colour: NDArray[np.uint8] | None = None
        self.count = 0
        self.seen = 0
        self.zeros_dropped = 0
        self.origin: NDArray[np.float64] = np.zeros(3)

    def add(
        self,
        xyz: NDArray[np.float64],
        *,
        view: NDArray[np.uint16] | int | None = None,
        colour: NDArray[np.uint8] | None = None,
    ) -> None:
        """Append a block.

        Parameters
        ----------
        xyz : (k, 3) float64, file unit; changed in place
        view : (k,) uint16 or one number for the block: which station saw the point
        colour : (k, 3) uint8 RGB
        """
        self.seen += len(xyz)
        keep = self._usable(xyz)
        if keep is not None:
            xyz = xyz[keep]
            view = view[keep] if isinstance(view, np.ndarray) else view
            colour = colour[keep] if colour is not None else None
        if not len(xyz):
            return
        if self.count == 0:
            self.origin = np.round(np.median(xyz, axis=0))
        xyz -= self.origin
        end = self.count + len(xyz)
        self._make_room(end)
        self._xyz[self.count : end] = xyz
        if view is not None:
            if self._view is None:
                self._view = np.zeros(len(self._xyz), dtype=np.uint16)
            self._view[self.count : end] = view
        if colour is not None:
            if self._colour is None:
                self._colour = np.zeros((len(self._xyz), 3), dtype=np.uint8)
            self._colour[self.count : end] = colour
        self.count = end

    def float32_step(self) -> float:
        """Coordinate step, file units, if the file held float32: what a large offset has cost."""
        return float(np.spacing(np.float32(np.abs(self.origin).max())))

    def points(self) -> NDArray[np.float32]:
        """(count, 3) float32, file unit, relative to ``origin``; the store's own memory."""
        self._xyz.resize((self.count, 3), refcheck=False)
        return self._xyz

    def views(self) -> NDArray[np.uint16] | None:
        """(count,) uint16 numbered 0, 1, … in rising order; None when fewer than two stations are told apart."""
        if self._view is None:
            return None
        self._view.resize(self.count, refcheck=False)
        view = self._view
        present = np.zeros(1 << 16, dtype=bool)
        for start in range(0, self.count, BLOCK_POINTS):
            present[view[start : start + BLOCK_POINTS]] = True
        if np.count_nonzero(present) < 2:  # noqa: PLR2004 - one number tells nothing apart
            return None
        number = (np.cumsum(present) - 1).astype(np.uint16)
        for start in range(0, self.count, BLOCK_POINTS):
            view[start : start + BLOCK_POINTS] = number[view[start : start + BLOCK_POINTS]]
        return view

    def colours(self) -> NDArray[np.uint8] | None:
        """(count, 3) uint8, or None when no block said."""
        if self._colour is not None:
            self._colour.resize((self.count, 3), refcheck=False)
        return self._colour

    def _usable(self, xyz: NDArray[np.float64]) -> NDArray[np.bool_] | None:
        """(k,) rows to keep, or None for all of them (the usual case, so it is the quick one)."""
        keep: NDArray[np.bool_] | None = None
        if not (np.abs(xyz) < FARTHEST).all():
            keep = np.asarray((np.abs(xyz) < FARTHEST).all(axis=1))
        at_zero = (xyz[:, 0] == 0.0) & (xyz[:, 1] == 0.0) & (xyz[:, 2] == 0.0)
        zeros = int(np.count_nonzero(at_zero))
        if zeros > 1:
            self.zeros_dropped += zeros
            keep = np.asarray(~at_zero if keep is None else keep & ~at_zero)
        return keep

    def _make_room(self, rows: int) -> None:
        # In place: the system moves the pages, so growing does not double the memory.
        if rows > len(self._xyz):
            self._xyz.resize((max(rows, int(len(self._xyz) * _GROWTH)), 3), refcheck=False)
        for column in (self._view, self._colour):
            if column is not None and len(column) < len(self._xyz):
                column.resize((len(self._xyz), *column.shape[1:]), refcheck=False)
