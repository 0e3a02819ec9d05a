"""Whether anything was written into a readings table: a sheet lists its places beforehand, with no values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.errors import InputError
from flatscan.sources.hand.columns import is_station, meaning_of
from flatscan.sources.levels.levels_columns import UNREAD
from flatscan.sources.levels.levels_rows import read_table
from flatscan.sources.levels.levels_words import is_level

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.sources.levels.levels_rows import RawTable

#: Read where they lie: their place is all there is to tell.
_PLACE_TELLS = frozenset({"step", "crack"})


def is_typed(path: Path) -> bool:
    """Whether a person has written a reading into the table; True where that cannot be told."""
    try:
        return _holds_a_reading(read_table(path))
    except InputError:
        return True


def the_typed_one(tables: Sequence[Path], folder: Path) -> Path:
    """Of several tables in a folder the one that is filled in; raises InputError where it is not just one.

    ``flatscan sheet`` writes one sheet in two formats, and one of them stays empty.
    """
    if len(tables) == 1:
        return tables[0]
    typed = [table for table in tables if is_typed(table)]
    if len(typed) == 1:
        return typed[0]
    if not typed:
        what = f"nothing is filled in yet: {_listed(tables)} hold no value"
        raise InputError(folder, what, "Type what you read into one of them")
    raise InputError(folder, f"{_listed(typed)} are filled in", f"Name the one to read, such as {typed[0]}")


def _holds_a_reading(table: RawTable) -> bool:
    meanings = [meaning_of(title)[0] for title in table.header.cells]
    titles = table.header.cells
    values = [i for i, title in enumerate(titles) if meanings[i] == "value" or is_station(title) or is_level(title)]
    places = [i for i, meaning in enumerate(meanings) if meaning == "x"]
    whats = [i for i, meaning in enumerate(meanings) if meaning == "what"]
    return any(
        _is_filled(cells, values) or (_is_filled(cells, places) and any(cells[i] in _PLACE_TELLS for i in whats))
        for cells in (row.cells + ("",) * len(meanings) for row in table.rows)
    )


def _is_filled(cells: Sequence[str], columns: Sequence[int]) -> bool:
    return any(cells[i].strip().lower() not in UNREAD for i in columns)


def _listed(tables: Sequence[Path]) -> str:
    names = [table.name for table in tables]
    return f"{', '.join(names[:-1])} and {names[-1]}"
