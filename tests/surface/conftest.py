"""Invented rooms for the tests of this folder."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def rooms():
    path = Path(__file__).parents[1] / "oracles" / "rooms.py"
    spec = importlib.util.spec_from_file_location("rooms", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
