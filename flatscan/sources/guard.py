"""What a broken file makes a library raise, turned into one sentence; and the fingerprint of a file."""

from __future__ import annotations

import hashlib
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING

from flatscan.errors import FlatscanError, InputError
from flatscan.sources.scan import InputFile

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_BESIDE = "Copy the files that it names into its folder, and name them from there"
EXPORT_AGAIN = "Export or copy the file again, it may be cut short"


@contextmanager
def library_errors(path: Path, what: str, advice: str = EXPORT_AGAIN) -> Iterator[None]:
    """Turn whatever a format library raises on a broken file into an ``InputError``.

    Only for the lines that call the library: our own mistakes must stay visible. Libraries raise
    anything from ``KeyError`` to compiled-code panics (which are not ``Exception``) on broken bytes.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (FlatscanError, KeyboardInterrupt, SystemExit, GeneratorExit):
        raise
    except PermissionError as error:
        raise InputError(path, "it may not be read (permission denied)", "Change its permissions or copy it") from error
    except BaseException as error:  # library boundary, see above
        raise InputError(path, f"{what} ({_in_short(error)})", advice) from error


def _in_short(error: BaseException) -> str:
    """The first line of a library's message, short enough for a sentence."""
    lines = str(error).strip().splitlines()
    text = lines[0].strip().rstrip(".") if lines else ""
    return (text or type(error).__name__)[:120]


def fingerprint(path: Path, kind: str) -> InputFile:
    """The file's sha256, streamed, with the name of the reader that used it."""
    with library_errors(path, "it cannot be read"), path.open("rb") as stream:
        return InputFile(path=path, sha256=hashlib.file_digest(stream, "sha256").hexdigest(), kind=kind)


def named_by(path: Path, name: str) -> Path:
    """The file that a capture's own file ``path`` calls ``name``; it need not be there.

    A capture may come from a stranger, and what it names is shown in the report: so a name that leads out of the
    folder, by itself or by a link, is refused, and so is a pipe or a device, which would be read without end.
    """
    there = path.parent / name
    with library_errors(path, f"names {name!r}, which cannot be looked at", _BESIDE):
        inside = there.resolve().is_relative_to(path.parent.resolve())
        odd = there.exists() and not there.is_file()
    if not inside:
        raise InputError(path, f"names {name!r}, which lies outside its folder", _BESIDE)
    if odd:
        raise InputError(path, f"names {name!r}, which is a folder, a pipe or a device", _BESIDE)
    return there


def check_declared(path: Path, declared: int, least_bytes: float, have_bytes: int) -> None:
    """Refuse a header that promises more points than the file's bytes can hold, before allocating.

    Parameters
    ----------
    declared : points promised by the header
    least_bytes : bytes one point takes at the very least in this encoding
    have_bytes : bytes behind the header
    """
    if declared < 0 or declared * least_bytes > have_bytes:
        raise InputError(
            path,
            f"its header promises {declared:,} points, but the file is only {have_bytes:,} bytes long",
            EXPORT_AGAIN,
        )
