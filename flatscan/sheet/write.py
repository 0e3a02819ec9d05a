"""The sheet's folder: the pages to print and the two tables to type into."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import new_folder
from flatscan.sources.hand.typed import is_typed

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.sheet.layout import Layout
    from flatscan.sheet.predicted import Outlook
    from flatscan.sheet.request import SheetRequest

FILE_NAMES = ("field_sheet.pdf", "readings.csv", "readings.xlsx")
_PART_OF = "a field sheet"
_TABLES = frozenset({"readings.csv", "readings.xlsx"})


def refuse_existing(folder: Path, *, force: bool) -> None:
    """Raise OutputError where ``write_sheet`` would: before the reckoning, not after it."""
    new_folder.refuse_existing(
        folder, may_hold=FILE_NAMES, part_of=_PART_OF, force=force, written_by_hand=_written_by_hand
    )


def write_sheet(
    request: SheetRequest, layout: Layout, found: Outlook, out: Path, *, force: bool = False
) -> tuple[Path, ...]:
    """Write the folder and return its files; raises OutputError where it exists or cannot be written."""
    from flatscan.sheet.pdf import as_pdf
    from flatscan.sheet.table import as_csv, sheet_table
    from flatscan.sheet.workbook import as_xlsx

    table = sheet_table(request, layout)

    def write(folder: Path) -> None:
        (folder / "field_sheet.pdf").write_bytes(as_pdf(request, layout, found))
        (folder / "readings.csv").write_text(as_csv(table), encoding="utf-8", newline="")
        (folder / "readings.xlsx").write_bytes(as_xlsx(table))

    return new_folder.write_folder(
        out, write, may_hold=FILE_NAMES, part_of=_PART_OF, force=force, written_by_hand=_written_by_hand
    )


def _written_by_hand(path: Path) -> bool:
    return path.name in _TABLES and is_typed(path)
