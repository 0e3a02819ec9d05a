"""Whether a file is a readings table: a spreadsheet or text table whose header says what was read, and where."""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING

from flatscan.sources.hand.columns import is_field_header
from flatscan.sources.levels.levels_rows import TEXT_SUFFIXES, XLSX_SUFFIXES, text_titles

if TYPE_CHECKING:
    from pathlib import Path

_SNIFF_BYTES = 32_768
#: Comment lines before a header; a sheet without one in so many rows is none.
_SNIFF_ROWS = 200
_MOST_BYTES = 50_000_000


def is_field_table(path: Path) -> bool:
    """Whether a CSV or XLSX table has columns ``what`` and ``x``; False for anything that cannot be read."""
    suffix = path.suffix.lower()
    try:
        if suffix in TEXT_SUFFIXES and path.is_file():
            with path.open("rb") as file:
                return is_field_header(text_titles(file.read(_SNIFF_BYTES)))
        if suffix in XLSX_SUFFIXES and path.is_file():
            return _is_field_workbook(path)
    except Exception:  # noqa: BLE001 - whatever a broken file makes a library raise, it is no readings table
        return False
    return False


def _is_field_workbook(path: Path) -> bool:
    import openpyxl

    with zipfile.ZipFile(path) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > _MOST_BYTES:
            return False
    workbook = openpyxl.load_workbook(path, read_only=True, data_only=False)
    try:
        return any(
            is_field_header(_titles(sheet.iter_rows(max_row=_SNIFF_ROWS, values_only=True))) for sheet in workbook
        )
    finally:
        workbook.close()


def _titles(rows: object) -> list[str]:
    """The first row that is neither empty nor a comment."""
    for values in rows:  # type: ignore[attr-defined]
        cells = ["" if value is None else str(value).strip() for value in values]
        first = next((cell for cell in cells if cell), "#")
        if not first.startswith("#"):
            return cells
    return []
