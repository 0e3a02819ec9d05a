"""Measure how flat a floor is, judge it against stated limits, and plan the levelling.

The public names mirror the commands and load their heavy parts on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flatscan.sources import read as read
    from flatscan.workflow import check as check

__version__ = "0.1.0"

_HOMES = {
    "read": "flatscan.sources",
    "check": "flatscan.workflow",
}

__all__ = ["__version__", "check", "read"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'flatscan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
