"""Floors read by hand without any error but what is asked for, and what the tests of this folder share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from flatscan.sources.hand.field_readings import Bar, FieldReadings, Level, LevelReading, Placement
from flatscan.sources.scan import InputFile

BAR = Bar("bar", 2000.0, step_mm=0.0, repeat_mm=0.1, bow_mm=0.0)
LEVEL = Level(step_mm=0.0, repeat_mm=0.1, tilt_mm_per_m=0.1, drift_mm=0.0)
FILE = InputFile(Path("sheet.csv"), "0" * 64, "readings")


class Hand:
    """Reads a floor, a function of x and y (mm), exactly; noise is the caller's."""

    @staticmethod
    def flat(x, y):
        return 0.0 * np.asarray(x) + 0.0 * np.asarray(y)

    @staticmethod
    def laid(floor, start, end, *, row=1, bar=BAR, rule="resting", stations=9, u_mm=0.1, turned=False, noise=None):
        """A bar whose line passes through the floor beneath its ends (touching there, or on feet)."""
        length = float(np.hypot(*np.subtract(end, start)))
        at = np.linspace(0.0, length, stations)
        if rule == "feet":
            at = at[1:-1]
        x, y = np.asarray(start)[:, None] + np.outer(np.subtract(end, start) / length, at)
        ends = [floor(*np.asarray(p, dtype=float)) for p in (start, end)]
        gap = np.interp(at, [0.0, length], ends) - floor(x, y) + (bar.feet_mm if rule == "feet" else 0.0)
        gap = gap if noise is None else gap + noise
        assert gap.min() > -1e-9, "not a floor this bar rests on by its ends"
        gap = np.maximum(gap, 0.0)
        contact = (gap < 1e-9) & (rule == "resting")
        return Placement(
            row, str(row), tuple(start), tuple(end), rule, at, gap, contact, np.full(len(at), u_mm), bar, turned
        )

    @staticmethod
    def levels(floor, places, *, row=1, set_up="A", shift=0.0, u_mm=0.1, noise=0.0):
        noise = np.broadcast_to(noise, len(places))
        return tuple(
            LevelReading(
                row + k, str(row + k), (float(x), float(y)), float(floor(x, y) + shift + noise[k]), u_mm, set_up, k
            )
            for k, (x, y) in enumerate(places)
        )

    @staticmethod
    def field(placements=(), levels=(), outline=None, **more):
        level = more.pop("level", LEVEL if levels else None)
        return FieldReadings((FILE,), tuple(placements), levels=tuple(levels), level=level, outline=outline, **more)


@pytest.fixture(scope="session")
def hand():
    return Hand


@pytest.fixture(scope="session")
def l_room():
    """7 rows of 12 cells of 100 mm, the far corner cut out."""
    return np.array([[0, 0], [1200, 0], [1200, 400], [800, 400], [800, 700], [0, 700], [0, 0]], dtype=np.float64)


def grid(low, high, count):
    """Places of a grid, x by x."""
    return [(x, y) for x in np.linspace(low[0], high[0], count[0]) for y in np.linspace(low[1], high[1], count[1])]


@pytest.fixture(scope="session", name="grid")
def grid_fixture():
    return grid
