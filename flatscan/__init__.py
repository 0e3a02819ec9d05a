"""Measure how flat a floor is, judge it against stated limits, and plan the levelling.

The public names mirror the commands and load their heavy parts on first use::

    report = flatscan.check("scan.laz", settings=flatscan.Settings(limits=("din18202-3",)))
    flatscan.write_report(report, Path("result"))
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flatscan.judgement import known_limit_sets as known_limit_sets
    from flatscan.judgement import load_limits as load_limits
    from flatscan.report.output import write_report as write_report
    from flatscan.settings import Settings as Settings
    from flatscan.sources import read as read
    from flatscan.synth.demo import write_demo as write_demo
    from flatscan.workflow import check as check

__version__ = "0.1.0"

_HOMES = {
    "Settings": "flatscan.settings",
    "check": "flatscan.workflow",
    "known_limit_sets": "flatscan.judgement",
    "load_limits": "flatscan.judgement",
    "read": "flatscan.sources",
    "write_demo": "flatscan.synth.demo",
    "write_report": "flatscan.report.output",
}

__all__ = [
    "Settings",
    "__version__",
    "check",
    "known_limit_sets",
    "load_limits",
    "read",
    "write_demo",
    "write_report",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'flatscan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
