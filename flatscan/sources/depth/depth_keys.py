"""What camera files and ``transforms.json`` may state about depth, and side files found by name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from flatscan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

_COUNTS_PER_METRE = ("depth_per_m",)
_METRES_PER_COUNT = ("depth_unit_scale_factor", "integer_depth_scale")
#: ``depth_scale`` is written both ways; between these it could be either.
_SURELY_COUNTS = 100.0
_SURELY_METRES = 0.01
_CONFIDENCE_SUFFIXES = (".png", ".tif", ".tiff", ".npy")
_ADVICE = "State depth_per_m, the counts per metre, e.g. 1000"


def depth_keys(top: Mapping[str, Any]) -> dict[str, Any]:
    """The top-level keys with those under ``depth`` over them."""
    inner = top.get("depth")
    return {**top, **(inner if isinstance(inner, Mapping) else {})}


def stated_scale(keys: Mapping[str, Any], where: object, *, whole: bool) -> float | None:
    """Counts per metre that ``keys`` state; ``whole``: the images hold whole numbers. None: unstated."""
    for key in _COUNTS_PER_METRE:
        if key in keys:
            return _positive(keys[key], key, where)
    for key in _METRES_PER_COUNT:
        if key in keys:
            return 1.0 / _positive(keys[key], key, where) if whole else None
    if "depth_scale" not in keys:
        return None
    scale = _positive(keys["depth_scale"], "depth_scale", where)
    if scale >= _SURELY_COUNTS:
        return scale
    if scale <= _SURELY_METRES:
        return 1.0 / scale
    if scale == 1.0 and not whole:
        return 1.0
    raise InputError(where, f"depth_scale {scale:g} can be read in more than one way", _ADVICE)


def stated_ray(keys: Mapping[str, Any], where: object) -> bool | None:
    """Whether ``depth_is`` says ray length; None if unstated."""
    if "depth_is" not in keys:
        return None
    said = keys["depth_is"]
    if said not in {"z", "ray"}:
        raise InputError(where, f"depth_is is {said!r}", 'Write "z" (along the camera axis) or "ray"')
    return bool(said == "ray")


def confidence_beside(depth_path: Path) -> Path | None:
    """``../confidence/NAME.*`` or ``NAME_confidence.*`` or ``NAME.confidence.*`` next to a depth image."""
    stem = depth_path.stem
    folder = depth_path.parent
    for suffix in _CONFIDENCE_SUFFIXES:
        for path in (
            folder.parent / "confidence" / f"{stem}{suffix}",
            folder / f"{stem}_confidence{suffix}",
            folder / f"{stem}.confidence{suffix}",
        ):
            if path.is_file():
                return path
    return None


def _positive(value: Any, key: str, where: object) -> float:
    number = value if isinstance(value, (int, float)) and not isinstance(value, bool) else math.nan
    if not (math.isfinite(number) and number > 0.0):
        raise InputError(where, f"{key} is {value!r}, not a positive number", _ADVICE)
    return float(number)
