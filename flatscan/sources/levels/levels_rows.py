"""Rows of text cells out of a CSV or XLSX levels table, with the line each stands on."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError
from flatscan.sources.guard import library_errors
from flatscan.sources.levels.levels_words import TableFacts, facts_with

if TYPE_CHECKING:
    from pathlib import Path

XLSX_SUFFIXES = (".xlsx", ".xlsm")
TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
_ZIP_MAGIC = b"PK\x03\x04"
_DELIMITERS = (";", "\t", "|", ",")
#: A levels table is typed by people; more than this is another kind of file.
_MOST_BYTES = 50_000_000
_NOT_TEXT = "Save it as CSV (UTF-8) or XLSX"
_LEVELS_HEADER = "x [m], y [m], staff [mm]"


@dataclass(frozen=True, slots=True)
class Row:
    """Cells of one line; ``number`` counts from 1 as the file or sheet shows it."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RawTable:
    """Header, rows below it that hold something, the ``#`` lines by row number, and the cell separator.

    ``place`` names the file, with the sheet where it has several.
    """

    place: str
    header: Row
    rows: tuple[Row, ...]
    comments: tuple[tuple[int, str], ...]
    delimiter: str | None

    def levels_facts(self) -> TableFacts:
        """What the ``#`` lines of a levels table state; raises InputError for those that are not understood."""
        facts = TableFacts()
        for number, line in self.comments:
            facts = facts_with(facts, line, f"{self.place}, row {number}")
        return facts


def text_titles(start: bytes) -> list[str]:
    """The header's cells of a text table by its first bytes; [] where there is no line that is no comment."""
    for line in _decoded(start).splitlines():
        if line.strip() and not _is_comment_line(line):
            return next(csv.reader([line], delimiter=_delimiter(line)), [])
    return []


def read_table(path: Path, *, kind: str = "levels table", header: str = _LEVELS_HEADER) -> RawTable:
    """The one table of a CSV or XLSX file; raises InputError, which says ``kind`` and the ``header`` it needs."""
    with library_errors(path, "cannot be read"):
        size = path.stat().st_size
        with path.open("rb") as file:
            start = file.read(4)
    if size == 0:
        raise InputError(path, "the file is empty", "Export the table again")
    if size > _MOST_BYTES:
        raise InputError(path, f"is {size / 1e6:.0f} MB, far too large for a {kind}", "Check the file")
    if start == _ZIP_MAGIC:
        return _from_workbook(path, kind, header)
    if path.suffix.lower() in XLSX_SUFFIXES:
        raise InputError(path, "is not an XLSX workbook in spite of its name", _NOT_TEXT)
    return _from_text(path, header)


def _from_text(path: Path, wanted: str) -> RawTable:
    with library_errors(path, "cannot be read"):
        data = path.read_bytes()
    text = _decoded(data)
    if "\x00" in text:
        raise InputError(path, "is not a text table", _NOT_TEXT)
    lines = text.splitlines()
    header = next((line for line in lines if line.strip() and not _is_comment_line(line)), None)
    if header is None:
        raise InputError(path, "holds no table", f"Write a header line such as {wanted}")
    delimiter = _delimiter(header)
    # Comment lines keep their place, emptied, so that the reader's line count stays the file's.
    bare = "\n".join("" if _is_comment_line(line) else line for line in lines)
    reader = csv.reader(io.StringIO(bare), delimiter=delimiter)
    with library_errors(path, "is not a readable table", _NOT_TEXT):
        rows = [Row(reader.line_num, tuple(cell.strip() for cell in cells)) for cells in reader]
    comments = [(n, _comment(line)) for n, line in enumerate(lines, start=1) if _is_comment_line(line)]
    return _table(str(path), rows, comments, delimiter, wanted)


def _is_comment_line(line: str) -> bool:
    """Whether a line is a comment, also as a spreadsheet saves it: in quotes."""
    return line.lstrip(' \t"').startswith("#")


def _comment(line: str) -> str:
    """A comment without what a spreadsheet adds when it saves one: quotes, and a separator for every empty cell."""
    bare = line.strip().rstrip("".join(_DELIMITERS) + " \t")
    return bare[1:-1].replace('""', '"').strip() if bare.startswith('"') and bare.endswith('"') else bare


def _decoded(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _delimiter(header: str) -> str:
    """The separator that cuts the header into most cells; words in it hold none of them."""
    return max(_DELIMITERS, key=header.count)


def _from_workbook(path: Path, kind: str, wanted: str) -> RawTable:
    import openpyxl

    # The stream is ours to close: the library leaves a file open that it cannot read.
    with library_errors(path, "is not a readable XLSX workbook", _NOT_TEXT), path.open("rb") as stream:
        with zipfile.ZipFile(stream) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > _MOST_BYTES:
            raise InputError(path, f"unpacks to {unpacked / 1e6:.0f} MB, far too large for a {kind}", _NOT_TEXT)
        # Formulas are kept as formulas: a stored result may be stale or absent.
        workbook = openpyxl.load_workbook(stream, read_only=True, data_only=False)
        try:
            sheets = [(sheet.title, _sheet_rows(sheet)) for sheet in workbook.worksheets]
        finally:
            workbook.close()
    filled = [(title, rows) for title, rows in sheets if rows]
    if not filled:
        raise InputError(path, "has no sheet with data", f"Write a header row such as {wanted}")
    if len(filled) > 1:
        titles = ", ".join(title for title, _ in filled)
        raise InputError(path, f"has data on {len(filled)} sheets ({titles})", "Save the one to use as its own file")
    title, rows = filled[0]
    comments = [(r.number, " ".join(c for c in r.cells if c)) for r in rows if _is_comment(r)]
    return _table(f"{path}, sheet {title}", [r for r in rows if not _is_comment(r)], comments, None, wanted)


def _is_comment(row: Row) -> bool:
    return next((c for c in row.cells if c), "").startswith("#")


def _sheet_rows(sheet: Any) -> list[Row]:
    rows = []
    for number, values in enumerate(sheet.iter_rows(values_only=True), start=1):
        cells = tuple("" if value is None else _text(value) for value in values)
        if any(cells):
            rows.append(Row(number, cells))
    return rows


def _text(value: object) -> str:
    if isinstance(value, float):
        # A sheet stores 0.3 as 0.30000000000000004; ten digits are more than any staff has.
        text = f"{value:.10g}"
        return f"{value:.10f}" if "e" in text else text
    return str(value).strip()


def _table(
    place: str, rows: list[Row], comments: list[tuple[int, str]], delimiter: str | None, wanted: str
) -> RawTable:
    filled = [row for row in rows if any(row.cells)]
    if not filled:
        raise InputError(place, "holds no table", f"Write a header row such as {wanted}")
    return RawTable(place, filled[0], tuple(filled[1:]), tuple(comments), delimiter)
