"""Invented floors for the tests of joints."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def lip_floors():
    """``oracles/lip_floors.py``."""
    path = Path(__file__).parents[2] / "oracles" / "lip_floors.py"
    spec = importlib.util.spec_from_file_location("lip_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["lip_floors"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def joint_photos():
    """``oracles/joint_photos.py``."""
    path = Path(__file__).parents[2] / "oracles" / "joint_photos.py"
    spec = importlib.util.spec_from_file_location("joint_photos", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["joint_photos"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module
