"""The survey file to start from: every key explained, none of them filled in."""

from __future__ import annotations

import os
import secrets
from importlib.resources import files
from typing import TYPE_CHECKING

from flatscan.errors import OutputError

if TYPE_CHECKING:
    from pathlib import Path


def template() -> str:
    """The text of the template, which is a valid survey file that records nothing."""
    return files("flatscan.sources.survey").joinpath("template.toml").read_text(encoding="utf-8")


def write_template(path: Path, *, force: bool = False) -> None:
    """Write the template aside and rename it into place, so that it is whole or not there.

    Raises
    ------
    OutputError
        for a file that exists (unless ``force``), for a folder, and for a place that cannot be written to
    """
    if path.is_dir():
        raise OutputError(path, "this is a folder", "Name a file, such as survey.toml in it")
    if path.exists() and not force:
        raise OutputError(path, "the file exists", "Choose another name, or pass --force to replace it")
    if not path.parent.is_dir():
        raise OutputError(path, f"there is no folder {path.parent}", "Make that first, or check the path")
    place = path.resolve()
    aside = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        with aside.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(template())
        _put(aside, place, force=force)
    except FileExistsError as error:
        raise OutputError(path, "the file exists", "Choose another name, or pass --force to replace it") from error
    except OSError as error:
        what = f"cannot be written: {error.strerror or error}"
        raise OutputError(path, what, "Choose a folder that you may write to") from error
    finally:
        aside.unlink(missing_ok=True)


def _put(aside: Path, place: Path, *, force: bool) -> None:
    """Rename; without ``force`` nothing that came there meanwhile is replaced."""
    if not force:
        try:
            os.link(aside, place)
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if place.exists():
                raise FileExistsError(place) from None
        else:
            return
    aside.replace(place)
