"""The table as a spreadsheet: text cells, so that 1/4 and 3,5 stay what was typed, and lists of the known words."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from flatscan.sheet.table import RULES, WHATS

if TYPE_CHECKING:
    from flatscan.sheet.table import SheetTable

#: Column widths in characters, by title; stations and values are all as wide as ``_USUAL``.
_WIDTHS = {"number": 9.0, "what": 13.0, "rule": 9.0, "note": 30.0, "set_up": 8.0}
_USUAL = 8.5
_SPARE_ROWS = 50
_TEXT = "@"


def as_xlsx(table: SheetTable) -> bytes:
    """One sheet: comment lines, header (it stays in sight), rows, and as many blank ones ready for more."""
    from openpyxl import Workbook
    from openpyxl.styles import Font, PatternFill

    book = Workbook()
    sheet: Any = book.active
    sheet.title = "readings"
    for line in table.comments:
        sheet.append([f"# {line}"])
    sheet.append(list(table.header))
    head = len(table.comments) + 1
    for row in table.rows:
        sheet.append([cell or None for cell in row])
    last = head + len(table.rows) + _SPARE_ROWS
    for cells in sheet.iter_rows(min_row=1, max_row=last, max_col=len(table.header)):
        for cell in cells:
            cell.number_format = _TEXT
    for cell in sheet[head]:
        cell.font = Font(bold=True)
        cell.fill = PatternFill("solid", fgColor="E6E6E6")
    sheet.freeze_panes = sheet.cell(row=head + 1, column=3)
    _widen(sheet, table)
    _offer(sheet, table, "what", WHATS, head + 1, last)
    _offer(sheet, table, "rule", RULES, head + 1, last)
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = f"{head}:{head}"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _widen(sheet: Any, table: SheetTable) -> None:
    from openpyxl.utils import get_column_letter

    for column, title in enumerate(table.header, start=1):
        sheet.column_dimensions[get_column_letter(column)].width = _WIDTHS.get(title, _USUAL)


def _offer(sheet: Any, table: SheetTable, title: str, words: tuple[str, ...], first: int, last: int) -> None:
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letter = get_column_letter(table.header.index(title) + 1)
    known = DataValidation(type="list", formula1=f'"{",".join(words)}"', allow_blank=True)
    known.error = f"Write one of {', '.join(words)}"
    sheet.add_data_validation(known)
    known.add(f"{letter}{first}:{letter}{last}")
