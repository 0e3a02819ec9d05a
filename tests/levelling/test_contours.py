"""Contours of a fill: their areas are those of closed forms and of counted cells, and they give back the volume."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy import ndimage

from flatscan.levelling.marking.contours import contours_of

CELL_MM = 10.0
ORIGIN_MM = (1234.0, -567.0)
ROWS, COLS = 150, 230


def cap(most_mm: float) -> np.ndarray:
    """A lens with an elliptic base, half axes 900 and 600 mm: thickness ``most_mm`` (1 - r²)."""
    y, x = np.mgrid[0:ROWS, 0:COLS]
    r2 = ((x - 114.3) * CELL_MM / 900.0) ** 2 + ((y - 74.6) * CELL_MM / 600.0) ** 2
    return np.maximum(0.0, most_mm * (1.0 - r2))


def enclosed_mm2(lines: tuple[np.ndarray, ...]) -> float:
    """Signed area: islands count against."""
    return float(sum(0.5 * np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]) for p in lines))


def test_every_millimetre_of_a_lens_encloses_its_ellipse() -> None:
    """A(h) = pi a b (1 - h / most). Chords lie inside the ellipse by about cell² / 8 r, so a little is missing."""
    contours = contours_of(cap(6.5), CELL_MM, ORIGIN_MM)
    assert [level for level, _ in contours] == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    for level, lines in contours:
        wanted = np.pi * 900.0 * 600.0 * (1.0 - level / 6.5)
        assert len(lines) == 1
        assert enclosed_mm2(lines) == pytest.approx(wanted, rel=2e-3)
        centre = shapely.Polygon(lines[0]).centroid
        assert (centre.x, centre.y) == pytest.approx((1234.0 + 1148.0, -567.0 + 751.0), abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_areas_are_those_of_the_counted_cells(seed: int) -> None:
    """The line runs between the middles of a cell that is thicker and one that is not: half a cell off on average."""
    rough = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(ROWS, COLS)), 9.0)
    fill = np.maximum(0.0, 60.0 * rough - 0.3)
    for level, lines in contours_of(fill, CELL_MM, ORIGIN_MM):
        counted = float((fill > level).sum()) * CELL_MM**2
        around = sum(float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in lines)
        assert abs(enclosed_mm2(lines) - counted) < 0.5 * CELL_MM * around + CELL_MM**2
        assert all(np.array_equal(line[0], line[-1]) for line in lines)
        times = sum(shapely.contains_xy(shapely.Polygon(line), *_middles()).astype(int) for line in lines)
        np.testing.assert_array_equal(times % 2 == 1, fill > level)


def _middles() -> tuple[np.ndarray, np.ndarray]:
    y, x = np.mgrid[0:ROWS, 0:COLS]
    return ORIGIN_MM[0] + (x + 0.5) * CELL_MM, ORIGIN_MM[1] + (y + 0.5) * CELL_MM


@pytest.mark.parametrize("step", [1.0, 0.5, 0.25])
def test_level_by_level_the_volume_comes_back(step: float) -> None:
    """End areas (trapezoidal) and prismoidal (Simpson), from the base up; the sections of a lens shrink linearly.

    The remainder above the highest level is at most its area times one step.
    """
    fill = cap(6.0)
    contours = contours_of(fill, CELL_MM, ORIGIN_MM, step)
    sections = [float((fill > 0).sum()) * CELL_MM**2, *(enclosed_mm2(lines) for _, lines in contours), 0.0]
    volume = float(fill.sum()) * CELL_MM**2
    assert len(sections) == round(6.0 / step) + 1
    assert step * float(np.trapezoid(sections)) == pytest.approx(volume, rel=2e-3)
    if len(sections) % 2:
        simpson = step / 3.0 * (sections[0] + sections[-1] + 4.0 * sum(sections[1:-1:2]) + 2.0 * sum(sections[2:-1:2]))
        assert simpson == pytest.approx(volume, rel=2e-3)


def test_fill_against_a_wall_or_beside_the_unseen_has_closed_lines() -> None:
    fill = np.full((7, 12), 2.5)
    fill[3, 4:6] = np.nan
    contours = contours_of(fill, 50.0, (0.0, 0.0))
    assert [level for level, _ in contours] == [1.0, 2.0]
    outer, hole = sorted(contours[0][1], key=lambda line: -abs(enclosed_mm2((line,))))
    assert enclosed_mm2((outer,)) > 0 > enclosed_mm2((hole,))
    # From a cell's middle, 2.5 mm, to the next, 0: 1 mm lies 0.6 of a cell out, 0.1 beyond the cell's edge.
    assert outer[:, 0].min() == pytest.approx(-0.1 * 50.0)
    assert outer[:, 0].max() == pytest.approx(12.1 * 50.0)
    assert outer[:, 1].max() == pytest.approx(7.1 * 50.0)


def test_what_stays_below_the_first_level_has_no_contour() -> None:
    assert contours_of(np.full((5, 6), 0.9), 10.0, (0.0, 0.0)) == ()
    assert contours_of(np.full((5, 6), np.nan), 10.0, (0.0, 0.0)) == ()
    assert contours_of(np.zeros((5, 6)), 10.0, (0.0, 0.0)) == ()
