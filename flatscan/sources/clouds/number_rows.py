"""Rows of numbers in a text file, parsed in blocks by numpy's compiled reader."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass
from itertools import islice
from typing import IO, TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

_BLOCK_LINES = 1 << 17
_ROW_IN_MESSAGE = re.compile(r"at row (\d+)")


@dataclass(frozen=True, slots=True)
class NumberFormat:
    """``delimiter`` None: runs of blanks; ``decimal_comma``: 1,5 is one and a half."""

    delimiter: str | None = None
    decimal_comma: bool = False


def number_blocks(
    path: Path,
    stream: IO[str],
    form: NumberFormat,
    columns: tuple[int, ...],
    *,
    first_line: int,
    rows: int | None = None,
) -> Iterator[NDArray[np.float64]]:
    """Blocks of the wanted columns from where ``stream`` stands.

    Parameters
    ----------
    path, first_line : where a broken line is, for the error (``first_line`` counts from 1)
    columns : wanted columns, from 0
    rows : read this many and no more; None: to the end

    Yields
    ------
    (k, len(columns)) float64
    """
    done = 0
    while rows is None or done < rows:
        most = _BLOCK_LINES if rows is None else min(_BLOCK_LINES, rows - done)
        lines = list(islice(stream, most))
        if not lines:
            return
        try:
            block = _parse(lines, form, columns)
        except (ValueError, IndexError) as error:
            raise _bad_line(path, error, first_line + done, len(lines)) from error
        done += len(lines)
        if block.size:
            yield block


def _parse(lines: list[str], form: NumberFormat, columns: tuple[int, ...]) -> NDArray[np.float64]:
    source: Iterable[str] = io.StringIO("".join(lines).replace(",", ".")) if form.decimal_comma else lines
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # numpy's "no data" for a block of blank lines
        return np.loadtxt(source, delimiter=form.delimiter, usecols=columns, ndmin=2, comments="#")


def _bad_line(path: Path, error: Exception, first: int, count: int) -> InputError:
    """Name the line where numpy says it stumbled, or the block when it does not."""
    found = _ROW_IN_MESSAGE.search(str(error))
    where = f"line {first + int(found.group(1))}" if found else f"a line between {first} and {first + count - 1}"
    return InputError(
        path, f"{where} does not hold the same columns of numbers as the others", "Mend that line, or export it again"
    )
