"""Invented pairs of floors, and chance."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest


@pytest.fixture(scope="session")
def floors() -> ModuleType:
    path = Path(__file__).parents[1] / "oracles" / "compared_floors.py"
    spec = importlib.util.spec_from_file_location("compared_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["compared_floors"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(7)
