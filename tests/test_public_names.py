"""The library mirrors the commands."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import flatscan


@pytest.mark.parametrize("name", flatscan.__all__)
def test_every_public_name_is_there(name: str) -> None:
    assert getattr(flatscan, name) is not None


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="flatten"):
        flatscan.flatten  # noqa: B018 - the access is the test


MODULES = sorted(module.name for module in pkgutil.walk_packages(flatscan.__path__, "flatscan."))


def test_the_examples_in_docstrings_run() -> None:
    ran = 0
    for name in MODULES:
        module = importlib.import_module(name)
        result = doctest.testmod(module)
        assert result.failed == 0, name
        ran += result.attempted
    assert ran > 5
