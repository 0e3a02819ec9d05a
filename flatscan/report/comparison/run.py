"""The record of two results held against each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.comparing.comparison import Comparison
    from flatscan.comparing.measured import Measured
    from flatscan.settings import Paper
    from flatscan.units import UnitSystem


@dataclass(frozen=True, slots=True)
class ResultFolder:
    """One of the two results: the name of its folder and what its files are known by."""

    name: str
    result_sha256: str
    floor_sha256: str
    captures: tuple[str, ...]
    visited: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class ComparisonRun:
    """Everything that the outputs may say. ``turned``: degrees that a person said; None: found."""

    before: Measured
    after: Measured
    from_before: ResultFolder
    from_after: ResultFolder
    found: Comparison
    seed: int
    turned: int | None = None
    units: UnitSystem = "metric"
    paper: Paper = "a4"
