"""A folder of results: written aside, then renamed into place, so that it is whole or not there."""

from __future__ import annotations

import os
import secrets
import shutil
from typing import TYPE_CHECKING, TypedDict

from flatscan.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from pathlib import Path


class _Rules(TypedDict):
    may_hold: Collection[str]
    part_of: str
    force: bool
    written_by_hand: Callable[[Path], bool]


def _nothing(_: Path) -> bool:
    return False


def refuse_existing(
    folder: Path,
    *,
    may_hold: Collection[str],
    part_of: str,
    force: bool,
    written_by_hand: Callable[[Path], bool] = _nothing,
) -> None:
    """Raise OutputError where ``write_folder`` would: before the long work, not after it.

    Parameters
    ----------
    folder : the folder to be made
    may_hold : every name it may hold; a folder with anything else in it is not replaced, even with ``force``
    part_of : what those files belong to, for the message: ``a result``
    force : a folder of that name may be replaced
    written_by_hand : tells files that a person has typed into; a folder with one is not replaced, even with ``force``
    """
    try:
        folder.lstat()
    except (OSError, ValueError) as error:
        if not isinstance(error, FileNotFoundError | NotADirectoryError):  # one that is not there is what is wanted
            what = f"no folder can be called so: {getattr(error, 'strerror', None) or error}"
            raise OutputError(folder, what, "Choose another name") from error
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise OutputError(folder, f"there is no folder {parent} to make it in", "Make that first, or check the path")
    if not os.access(parent, os.W_OK):
        raise OutputError(folder, f"you may not write into {parent}", "Choose another folder")
    if not (folder.exists() or folder.is_symlink()):
        return
    if not folder.is_dir():
        raise OutputError(folder, "a file of that name exists", "Choose another folder name")
    entries = sorted(folder.iterdir())
    strangers = [entry.name for entry in entries if entry.name not in may_hold]
    typed = [entry.name for entry in entries if written_by_hand(entry)]
    if not force:
        final = strangers or typed
        advice = "Choose another folder" if final else "Choose another folder, or pass --force to replace it"
        raise OutputError(folder, "the folder exists", advice)
    if strangers:
        what = f"the folder holds {strangers[0]!r}, which is not part of {part_of}, so it is not replaced"
        raise OutputError(folder, what, "Choose another folder, or take that out first")
    if typed:
        what = f"{typed[0]!r} in the folder holds readings that were typed in, so it is not replaced"
        raise OutputError(folder, what, "Choose another folder, or take that file out first")


def write_folder(
    out: Path,
    write: Callable[[Path], None],
    *,
    may_hold: Collection[str],
    part_of: str,
    force: bool = False,
    written_by_hand: Callable[[Path], bool] = _nothing,
) -> tuple[Path, ...]:
    """Have ``write`` fill a folder aside, put it in place, and return its files in the order of ``may_hold``.

    An old folder (see ``refuse_existing``) is there until the new one is whole. Raises OutputError.
    """
    rules: _Rules = {"may_hold": may_hold, "part_of": part_of, "force": force, "written_by_hand": written_by_hand}
    refuse_existing(out, **rules)
    place = out.resolve()
    aside = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        aside.mkdir()
        write(aside)
        refuse_existing(place, **rules)
        _put_in_place(aside, place)
    except OSError as error:
        raise OutputError(
            out, f"cannot be written: {error.strerror or error}", "Choose a folder that you may write to"
        ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return tuple(out / name for name in may_hold if (out / name).exists())


def _put_in_place(aside: Path, place: Path) -> None:
    """Rename; an old folder is moved aside first and moved back if the rename fails."""
    if not place.exists():
        aside.rename(place)
        return
    old = place.with_name(f".{place.name}.{secrets.token_hex(4)}.old")
    place.rename(old)
    try:
        aside.rename(place)
    except BaseException:
        old.rename(place)
        raise
    shutil.rmtree(old)
