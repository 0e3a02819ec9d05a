"""Whether a file is a table of readings by hand: its header says what was read and where, or names level readings."""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING

from flatscan.sources.clouds.text_layout import sniff_layout
from flatscan.sources.detection import head_of
from flatscan.sources.hand.columns import is_field_header
from flatscan.sources.levels.levels_rows import TEXT_SUFFIXES, XLSX_SUFFIXES, text_titles
from flatscan.sources.levels.levels_words import has_levels_header

if TYPE_CHECKING:
    from pathlib import Path

_SNIFF_BYTES = 32_768
#: Comment lines before a header; a sheet without one in so many rows is none.
_SNIFF_ROWS = 200
_MOST_BYTES = 50_000_000


def is_field_table(path: Path) -> bool:
    """Whether a CSV or XLSX table has columns ``what`` and ``x``; False for anything that cannot be read."""
    return any(is_field_header(titles) for titles in _headers(path))


def is_read_by_hand(path: Path) -> bool:
    """Whether it is such a table, or one of levels: columns x, y and height, staff or reading (a sheet's may be z)."""
    is_sheet = path.suffix.lower() in XLSX_SUFFIXES
    headers = _headers(path)
    if any(is_field_header(titles) for titles in headers):
        return True
    # Of text with columns x, y, z and a height the cloud's reader makes use.
    return any(has_levels_header(titles, z=is_sheet) for titles in headers) and (is_sheet or not _is_cloud(path))


def _headers(path: Path) -> list[list[str]]:
    """The first line of cells of a text table, of each sheet of a workbook; [] where it cannot be read."""
    suffix = path.suffix.lower()
    try:
        if suffix in TEXT_SUFFIXES and path.is_file():
            with path.open("rb") as file:
                return [text_titles(file.read(_SNIFF_BYTES))]
        if suffix in XLSX_SUFFIXES and path.is_file():
            return _sheet_headers(path)
    except Exception:  # noqa: BLE001 - whatever a broken file makes a library raise, it is no readings table
        return []
    return []


def _sheet_headers(path: Path) -> list[list[str]]:
    import openpyxl

    with path.open("rb") as stream:
        with zipfile.ZipFile(stream) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > _MOST_BYTES:
                return []
        workbook = openpyxl.load_workbook(stream, read_only=True, data_only=False)
        try:
            return [_titles(sheet.iter_rows(max_row=_SNIFF_ROWS, values_only=True)) for sheet in workbook]
        finally:
            workbook.close()


def _is_cloud(path: Path) -> bool:
    layout = sniff_layout(head_of(path).text)
    return layout is not None and layout.named


def _titles(rows: object) -> list[str]:
    """The first row that is neither empty nor a comment."""
    for values in rows:  # type: ignore[attr-defined]
        cells = ["" if value is None else str(value).strip() for value in values]
        first = next((cell for cell in cells if cell), "#")
        if not first.startswith("#"):
            return cells
    return []
