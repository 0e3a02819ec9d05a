"""From a template of this folder, data and pictures to a PDF."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.report.record.plain import plain
from flatscan.typeset import typeset

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from flatscan.settings import Paper

_TEMPLATES = Path(__file__).parent


def set_pages(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
    """The PDF; ``pictures`` by the file names under which ``data`` speaks of them. Two runs agree byte for byte.

    Templates and pictures lie in a folder of their own for the time it takes, so that a template can reach nothing
    else; the folder's name is not in the PDF.
    """
    with tempfile.TemporaryDirectory(prefix="flatscan-") as made:
        folder = Path(made)
        for source in _TEMPLATES.glob("*.typ"):
            (folder / source.name).write_bytes(source.read_bytes())
        for name, picture in pictures.items():
            (folder / name).write_bytes(picture)
        return typeset(folder / template, plain(data))


def paper_name(paper: Paper) -> str:
    """What the typesetter calls it."""
    return "us-letter" if paper == "letter" else "a4"


def day_of(date: dt.date | None) -> dict[str, int] | None:
    """A date for the PDF's own record; None: it carries none, for the clock would make two runs differ."""
    return None if date is None else {"year": date.year, "month": date.month, "day": date.day}
