"""Clouds as text: XYZ, TXT, CSV, ASC and PTS, with or without a header."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import scan_from_store
from flatscan.sources.clouds.number_rows import number_blocks
from flatscan.sources.clouds.point_store import PointStore
from flatscan.sources.clouds.text_layout import TextLayout, sniff_layout
from flatscan.sources.guard import EXPORT_AGAIN, library_errors
from flatscan.sources.inference import FileUnit
from flatscan.units import mm_per

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

HEAD_BYTES = 1 << 16
_LEAST_ROW_BYTES = 6
_TYPICAL_ROW_BYTES = 24
_XYZ = 3


def read_text_cloud(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read rows of x, y, z (and colours where named), with the layout taken from the first lines."""
    with library_errors(path, "it cannot be read as text"):
        encoding, head = text_head(path)
    layout = sniff_layout(head)
    if layout is None:
        raise InputError(
            path,
            "its lines are not rows of x, y, z",
            "Export the cloud as columns of numbers, separated by blanks, commas, semicolons or tabs",
        )
    store = _read_rows(path, encoding, layout, progress)
    unit = None
    if layout.unit is not None:
        unit = FileUnit(layout.unit, mm_per(layout.unit), "its header row")
    columns = ", ".join(str(column + 1) for column in layout.columns[:_XYZ])
    lines = () if layout.named else (f"{path.name}: columns {columns} taken as x, y, z",)
    return scan_from_store(path, "text", store, settings, unit=unit, step=layout.step, inferences=lines)


def text_head(path: Path) -> tuple[str, str]:
    """Encoding and the first lines of a text file; UTF-16 is told by its byte order mark."""
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    return decode_head(head)


def decode_head(head: bytes) -> tuple[str, str]:
    """``("utf-8-sig", text)`` and the like; Latin-1 reads any bytes, numbers are the same in it."""
    if head[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return "utf-16", head[: len(head) // 2 * 2].decode("utf-16", errors="replace")
    if head[:3] == b"\xef\xbb\xbf":
        return "utf-8-sig", head.decode("utf-8-sig", errors="replace")
    return "latin-1", head.decode("latin-1")


def _read_rows(path: Path, encoding: str, layout: TextLayout, progress: Progress) -> PointStore:
    size = path.stat().st_size
    store = PointStore(max(1, size // _TYPICAL_ROW_BYTES))
    with library_errors(path, "it cannot be read as text"), path.open(encoding=encoding, errors="replace") as stream:
        list(islice(stream, layout.skip_lines))
        blocks = number_blocks(path, stream, layout.form, layout.columns, first_line=layout.skip_lines + 1)
        for block in progress.track(blocks, label=f"reading {path.name}"):
            colour = np.clip(block[:, _XYZ:], 0, 255).astype(np.uint8) if block.shape[1] > _XYZ else None
            store.add(np.ascontiguousarray(block[:, :_XYZ]), colour=colour)
    if layout.declared is not None and store.seen < layout.declared:
        raise InputError(
            path, f"its first line promises {layout.declared:,} points, but {store.seen:,} are there", EXPORT_AGAIN
        )
    return store
