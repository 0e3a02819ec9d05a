"""The header of a PLY file: what elements follow, in what encoding, from which byte."""

from __future__ import annotations

from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

_MOST_HEADER_LINES = 500
_MOST_LINE_BYTES = 4096
_ORDER = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1",
    "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
    "int64": "i8", "uint64": "u8",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlyElement:
    """``fields``: (name, numpy type with byte order) in file order; None as type: a list of varying length."""

    name: str
    count: int
    fields: tuple[tuple[str, str | None], ...]

    @property
    def row_type(self) -> np.dtype[np.void] | None:
        """Structured type of one row, or None when rows vary in length."""
        if any(kind is None for _, kind in self.fields):
            return None
        return np.dtype([(name, kind) for name, kind in self.fields if kind is not None])


@dataclass(frozen=True, slots=True)
class PlyHeader:
    """``data_start`` is the byte, ``lines`` the number of lines before the first element."""

    ascii: bool
    elements: tuple[PlyElement, ...]
    data_start: int
    lines: int

    def count(self, name: str) -> int:
        """Rows of that element, 0 when it is not there."""
        return sum(e.count for e in self.elements if e.name == name)


def read_ply_header(path: Path, stream: IO[bytes]) -> PlyHeader:
    """Parse the header from the start of ``stream``; raises ``InputError`` when it is broken."""
    order: str | None = None
    elements: list[tuple[str, int, list[tuple[str, str | None]]]] = []
    for number in range(1, _MOST_HEADER_LINES):
        line = stream.readline(_MOST_LINE_BYTES)
        words = line.decode("latin-1").split()
        if not line:
            break
        try:
            match words:
                case ["format", encoding, *_]:
                    order = _ORDER[encoding]
                case ["element", name, count]:
                    elements.append((name, int(count), []))
                case ["property", "list", _, _, name]:
                    elements[-1][2].append((name, None))
                case ["property", kind, name]:
                    elements[-1][2].append((name, (order or "") + _TYPES[kind]))
                case ["end_header"] if order is not None:
                    made = tuple(PlyElement(n, c, tuple(f)) for n, c, f in elements)
                    return PlyHeader(order == "", made, stream.tell(), number)
                case _:
                    pass
        except (KeyError, ValueError, IndexError) as error:
            raise InputError(path, f"line {number} of its PLY header cannot be read", "Export it again") from error
    raise InputError(path, "its PLY header has no end", "Export or copy the file again, it may be cut short")
