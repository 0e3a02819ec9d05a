"""Surface: the floor found among everything else, as a height map on its reference plane."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flatscan.surface.build import find_surface as find_surface

__all__ = ["find_surface"]


def __getattr__(name: str) -> Any:
    if name == "find_surface":
        return import_module("flatscan.surface.build").find_surface
    raise AttributeError(f"module 'flatscan.surface' has no attribute {name!r}")
