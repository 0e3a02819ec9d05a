"""Rows laid on each other: bent joints come out as sharp as straight ones, stray rows stay out."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.measures.joints.widths.groove_model import PARAMETERS, profile
from flatscan.measures.joints.widths.start import best_band
from flatscan.measures.joints.widths.straighten import profiles_of

STEP_MM, ROWS = 0.12, 64
X_MM = np.arange(-150, 151) * STEP_MM
ALONG = (np.arange(ROWS) + 0.5) / ROWS * 2.0 - 1.0


def strip(shift_mm: np.ndarray, width_mm: float = 4.0, blur_mm: float = 0.3) -> np.ndarray:
    """(1, rows, m): each row's joint lies ``shift_mm`` to the left."""
    theta = np.zeros((ROWS, PARAMETERS))
    theta[:, :3], theta[:, 4], theta[:, 5] = (0.5, 0.1, 0.4), width_mm, np.log(blur_mm)
    theta[:, 3] = shift_mm
    return profile(X_MM, np.zeros(ROWS), theta)[None].astype(np.float32)


def straightened(strips: np.ndarray, parts: int = 3):
    band = best_band(X_MM, strips.mean(axis=1).astype(float), 4.0)
    return profiles_of(strips, X_MM, ALONG, band, parts=parts)


@pytest.mark.parametrize(("slant_mm", "bow_mm"), [(0.0, 0.0), (0.8, 0.0), (-1.2, 0.4), (0.5, -0.6)])
def test_a_slanting_and_bent_joint_comes_out_sharp(slant_mm: float, bow_mm: float):
    """The mean profile's steepest rise is that of one row, to 3 %: interpolating 0.12 mm steps blurs 0.3 mm by less."""
    rng = np.random.default_rng(1)
    shift = slant_mm * ALONG + bow_mm * ALONG**2
    strips = strip(shift) + rng.normal(0.0, 0.01, (1, ROWS, len(X_MM))).astype(np.float32)
    rise = np.abs(np.gradient(straightened(strips).whole[0])).max()
    alone = np.abs(np.gradient(strip(np.zeros(ROWS))[0, 0])).max()
    assert rise == pytest.approx(alone, rel=0.03)


def test_rows_that_do_not_belong_are_left_out():
    strips = strip(np.zeros(ROWS))
    strips[0, 20:29] *= 0.4
    strips[0, 50:54, 100:180] = 0.9
    found = straightened(strips)
    assert found.kept[0] == pytest.approx(1.0 - 13.0 / ROWS)
    assert np.abs(found.whole[0] - strip(np.zeros(ROWS))[0, 0]).max() < 1e-3


def test_parts_are_thirds_of_the_stretch():
    """A joint that widens in its last third: that part shows it, whichever rows the whole leaves out."""
    narrow, wide = strip(np.zeros(ROWS), 4.0), strip(np.zeros(ROWS), 5.0)
    strips = np.where((ALONG > 1.0 / 3.0)[None, :, None], wide, narrow)
    dark = (straightened(strips).parts[0] < 0.27).sum(axis=1) * STEP_MM
    assert dark[2] - dark[0] == pytest.approx(1.0, abs=2.0 * STEP_MM)
    assert dark[1] == pytest.approx(dark[0], abs=2.0 * STEP_MM)
