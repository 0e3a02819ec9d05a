"""A survey file that lies beside a capture, so that nobody forgets that it is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

#: What ``flatscan survey new`` is shown with, and the samples have.
SURVEY_NAME = "survey.toml"


def survey_beside(sources: Iterable[Path | str]) -> Path | None:
    """The ``survey.toml`` in the folder of a capture, or beside a capture that is a file; None where there is none.

    The first one found in the order of ``sources``; nothing is opened.
    """
    for source in map(Path, sources):
        folder = source if source.is_dir() else source.parent
        found = folder / SURVEY_NAME
        if found.is_file():
            return found
    return None
