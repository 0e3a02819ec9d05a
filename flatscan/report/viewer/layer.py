"""One grid of the floor, packed small for the page.

How it is undone: base64 to bytes; raw deflate (zlib with ``wbits=-15``) to ``rows * cols * bits / 8`` bytes; these are
planes, first the lowest byte of every number, then the next, so number k is made of byte k of each plane; numbers are
unsigned and wrap in their bits. Running along a row each number is added to the sum so far, the first of a row to the
sum of the first of the row before (0 before the first row). What comes out is ``nodata`` (the largest number) where
there is nothing, and else the value is ``offset + scale * number``. Row 0 lies along the bottom wall.
"""

from __future__ import annotations

import base64
import math
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: ``signed``: heights, which are told with their sign; ``size``: never below 0; ``share``: of a limit, 1 is the limit;
#: ``class``: numbers that stand for words.
LayerKind = Literal["signed", "size", "share", "class"]
_DTYPE = {8: np.uint8, 16: np.uint16, 32: np.uint32}
#: Harder packing takes three times as long for a hundredth less.
_DEFLATE_LEVEL = 6


@dataclass(frozen=True, slots=True)
class Layer:
    """A packed grid of ``rows`` by ``cols`` square cells from the floor's own corner on."""

    name: str
    title: str
    unit: str
    kind: LayerKind
    rows: int
    cols: int
    cell_mm: float
    scale: float
    offset: float
    bits: int
    nodata: int
    data: str
    edge_mm: float | None = None
    limit_mm: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """For the page; what is not known is left out."""
        return {name: getattr(self, name) for name in self.__slots__ if getattr(self, name) is not None}


def pack(
    values: NDArray[Any],
    *,
    name: str,
    title: str,
    cell_mm: float,
    scale: float,
    unit: str = "mm",
    kind: LayerKind = "signed",
    edge_mm: float | None = None,
    limit_mm: float | None = None,
) -> Layer:
    """A grid as whole numbers of ``scale``, no value more than half of it off.

    Parameters
    ----------
    values : (rows, cols); NaN is nothing
    scale : the step; 8, 16 or 32 bits are taken, as the range asks for
    """
    seen = np.isfinite(values)
    low, high = (float(f(values[seen])) if seen.any() else 0.0 for f in (np.min, np.max))
    first = math.floor(low / scale + 1e-6)
    steps = round(high / scale) - first
    bits = next((b for b in _DTYPE if steps + 1 < 2**b - 1), 0)
    if not bits:
        raise ValueError(f"{name}: {high - low} in steps of {scale} does not fit")
    nodata = 2**bits - 1
    numbers = np.full(values.shape, nodata, dtype=_DTYPE[bits])
    numbers[seen] = np.rint(values[seen].astype(np.float64) / scale).astype(np.int64) - first
    rows, cols = values.shape
    return Layer(
        name=name,
        title=title,
        unit=unit,
        kind=kind,
        rows=rows,
        cols=cols,
        cell_mm=cell_mm,
        scale=scale,
        offset=first * scale,
        bits=bits,
        nodata=nodata,
        data=_packed(numbers),
        edge_mm=edge_mm,
        limit_mm=limit_mm,
    )


def _packed(numbers: NDArray[Any]) -> str:
    """Differences along the rows, in planes of bytes, deflated, as base64."""
    # Unsigned numbers wrap around, which is meant.
    change = np.diff(numbers, axis=1, prepend=numbers[:, :1])
    if change.size:
        change[:, 0] = np.diff(numbers[:, 0], prepend=numbers.dtype.type(0))
    little = np.ascontiguousarray(change.astype(numbers.dtype.newbyteorder("<")))
    planes = little.view(np.uint8).reshape(-1, numbers.dtype.itemsize).T
    deflate = zlib.compressobj(_DEFLATE_LEVEL, zlib.DEFLATED, -15)
    return base64.b64encode(deflate.compress(planes.tobytes()) + deflate.flush()).decode()
