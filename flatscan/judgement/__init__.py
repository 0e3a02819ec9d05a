"""Judgement: measured values against limits, with the chance of being wrong.

The names load on first use, so that listing limits needs none of what judging needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flatscan.judgement.decision import decide as decide
    from flatscan.judgement.judging import judge as judge
    from flatscan.judgement.limit_files import known_limit_sets as known_limit_sets
    from flatscan.judgement.limit_files import load_limits as load_limits
    from flatscan.judgement.limit_text import explain as explain
    from flatscan.judgement.limit_text import list_as_text as list_as_text
    from flatscan.judgement.steps import edges_needed as edges_needed
    from flatscan.judgement.steps import stepped_limits as stepped_limits

_HOMES = {
    "decide": "decision",
    "edges_needed": "steps",
    "explain": "limit_text",
    "judge": "judging",
    "known_limit_sets": "limit_files",
    "list_as_text": "limit_text",
    "load_limits": "limit_files",
    "stepped_limits": "steps",
}

__all__ = [
    "decide",
    "edges_needed",
    "explain",
    "judge",
    "known_limit_sets",
    "list_as_text",
    "load_limits",
    "stepped_limits",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"flatscan.judgement.{_HOMES[name]}"), name)
    raise AttributeError(f"module 'flatscan.judgement' has no attribute {name!r}")
