"""The writers of cloud and mesh files, shared with the other folder that breaks them."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def cloud_files() -> ModuleType:
    """``oracles/cloud_files.py``."""
    path = Path(__file__).parents[1] / "oracles" / "cloud_files.py"
    spec = importlib.util.spec_from_file_location("cloud_files", path)
    if spec is None or spec.loader is None:
        raise ImportError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
