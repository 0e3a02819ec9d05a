"""A small camera file for layouts that carry no intrinsics of their own.

``camera.json`` or ``camera.toml``: the keys of ``transforms.json`` (``fl_x fl_y cx cy w h``, or ``fx fy
width height``; optional ``k1 k2 p1 p2``, ``depth_per_m``, ``depth_is``). ``camera.txt``: either lines
``name value`` (also ``name = value``, ``name: value``) with those names, or one line of numbers
``fx fy cx cy [w h [k1 k2 p1 p2]]``; ``#`` starts a comment.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError
from flatscan.sources.depth.camera import LENS_KEYS
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from flatscan.settings import ReadSettings

_SUFFIXES = (".json", ".toml", ".txt")
_LINE_KEYS = ("fl_x", "fl_y", "cx", "cy", "w", "h", *LENS_KEYS)
_LINE_LENGTHS = {4, 6, 10}
_MOST_BYTES = 1_000_000
_ADVICE = "Put a camera.json beside the depth with fl_x, fl_y, cx, cy, w and h in pixels, or state --camera"


def find_camera_file(folder: Path, settings: ReadSettings, stem: str | None = None) -> Path:
    """The stated camera file, else one named after the image (``stem``), else ``camera.*``; raises InputError."""
    if settings.camera_file is not None:
        return Path(settings.camera_file)
    names = [f"{stem}{middle}" for middle in (".camera", "_camera", "")] if stem is not None else []
    for name in (*names, "camera"):
        for suffix in _SUFFIXES:
            path = folder / f"{name}{suffix}"
            if path.is_file():
                return path
    raise InputError(folder, "has no camera file, so pixels have no direction", _ADVICE)


def read_camera_file(path: Path) -> dict[str, Any]:
    """Keys of a camera file, in the names of ``transforms.json``; raises InputError."""
    with library_errors(path, "is not a readable camera file", _ADVICE):
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(path, "is far too large for a camera file", _ADVICE)
        text = path.read_text(encoding="utf-8-sig")
        if path.suffix.lower() == ".json":
            keys = json.loads(text)
        elif path.suffix.lower() == ".toml":
            keys = tomllib.loads(text)
        else:
            keys = _from_lines(text, path)
    if not isinstance(keys, dict) or not keys:
        raise InputError(path, "states nothing about the camera", _ADVICE)
    return keys


def _from_lines(text: str, path: Path) -> dict[str, Any]:
    lines = [bare for line in text.splitlines() if (bare := line.split("#", 1)[0].strip())]
    if len(lines) == 1 and (numbers := _numbers(lines[0])) is not None:
        if len(numbers) not in _LINE_LENGTHS:
            raise InputError(path, f"its line has {len(numbers)} numbers", "Write fx fy cx cy w h, pixels")
        return dict(zip(_LINE_KEYS, numbers, strict=False))
    keys: dict[str, Any] = {}
    for line in lines:
        parts = re.split(r"\s*[:=]\s*|\s+", line, maxsplit=1)
        if len(parts) != 2:  # noqa: PLR2004
            raise InputError(path, f"the line {line!r} is not a name and a value", _ADVICE)
        value = _numbers(parts[1])
        keys[parts[0]] = value[0] if value is not None and len(value) == 1 else parts[1]
    return keys


def _numbers(text: str) -> list[float] | None:
    try:
        return [float(part) for part in text.replace(",", " ").split()]
    except ValueError:
        return None
