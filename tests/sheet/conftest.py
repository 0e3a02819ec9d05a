"""Requests as the command line makes them, and an outlook that need not be reckoned for each page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from flatscan.sheet.predicted import Choice, Expected, Outlook
from flatscan.sheet.request import SheetRequest, request_from

USUAL: dict[str, Any] = {
    "room": None, "outline": None, "tools": "both", "edge": None, "spacing": None, "units": "metric", "paper": "a4",
    "stations": 9, "joints": 10, "lips": 10, "title": "",
}  # fmt: skip


@pytest.fixture(scope="session")
def ask() -> Callable[..., SheetRequest]:
    def make(**said: Any) -> SheetRequest:
        options = USUAL | said
        return request_from(options.pop("room"), options.pop("outline"), **options)

    return make


@pytest.fixture(scope="session")
def some_outlook() -> Outlook:
    expected = Expected(0.46, 0.75, 0.67, 1.2)
    return Outlook(expected, 3000.0, (), (Choice("half the spacing", 62, 25, expected),))
