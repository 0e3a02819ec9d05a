"""What a file's first bytes say it is."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.sources.clouds.text_cloud import HEAD_BYTES, decode_head
from flatscan.sources.clouds.text_layout import sniff_layout
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from pathlib import Path

_STL_HEADER_BYTES = 84
_STL_FACE_BYTES = 50
_OBJ_LINE = re.compile(rb"^(v|f|vn|vt|o|g|mtllib)\s+\S", re.MULTILINE)
_PCD_LINE = re.compile(rb"^(# \.PCD|VERSION\s|FIELDS\s)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Head:
    """The first bytes of a file, and its size."""

    path: Path
    data: bytes
    size: int

    @property
    def text(self) -> str:
        """The head as text; a cut last line keeps its missing line end."""
        return decode_head(self.data)[1]

    @property
    def looks_like_text(self) -> bool:
        """Whether no byte is one that text does not hold (UTF-16 is told by its mark)."""
        return self.data[:2] in {b"\xff\xfe", b"\xfe\xff"} or b"\0" not in self.data


def head_of(path: Path) -> Head:
    """Read the first bytes."""
    with library_errors(path, "it cannot be read"), path.open("rb") as stream:
        return Head(path, stream.read(HEAD_BYTES), path.stat().st_size)


def starts_with(*marks: bytes) -> _StartsWith:
    """Test for any of some first bytes."""
    return _StartsWith(marks)


@dataclass(frozen=True, slots=True)
class _StartsWith:
    marks: tuple[bytes, ...]

    def __call__(self, head: Head) -> bool:
        return head.data.startswith(self.marks)


def is_pcd(head: Head) -> bool:
    """Header keywords of PCD among the first lines."""
    start = head.data[:2048]
    return bool(_PCD_LINE.search(start)) and b"FIELDS" in start


def is_stl(head: Head) -> bool:
    """Binary: the face count in bytes 80 to 84 fits the size; text: ``solid`` and a facet."""
    if head.data[:5].lower() == b"solid" and b"facet" in head.data:
        return True
    faces = int.from_bytes(head.data[80:84], "little")
    return len(head.data) >= _STL_HEADER_BYTES and head.size == _STL_HEADER_BYTES + _STL_FACE_BYTES * faces


def is_obj(head: Head) -> bool:
    """Text with lines that start with OBJ keywords."""
    return head.looks_like_text and bool(_OBJ_LINE.search(head.data))


def is_gltf(head: Head) -> bool:
    """A JSON object that speaks of an asset (the head may be cut before its end)."""
    if not head.data.lstrip().startswith(b"{"):
        return False
    if head.size <= len(head.data):
        try:
            return "asset" in json.loads(head.data)
        except (ValueError, RecursionError):
            return False
    return b'"asset"' in head.data or b'"buffers"' in head.data or b'"accessors"' in head.data


def is_text_cloud(head: Head) -> bool:
    """Rows of x, y, z."""
    return head.looks_like_text and sniff_layout(head.text) is not None
