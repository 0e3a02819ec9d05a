"""The floor before and after, side by side."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from flatscan.levelling.plan import LevellingPlan
from flatscan.report.output import FILE_NAMES, write_report
from flatscan.report.picture import after_map
from flatscan.report.picture.after_key import share_colours
from flatscan.report.report import Report


@given(
    st.integers(1, 30),
    st.integers(1, 30),
    st.integers(1, 7),
    st.integers(0, 2**32 - 1),
)
def test_no_bad_place_vanishes_when_a_large_grid_is_drawn(rows: int, cols: int, step: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    share = rng.random((rows, cols)).astype(np.float32)
    share[rng.random((rows, cols)) < 0.4] = np.nan
    small = after_map.block_max(share, step)
    assert small.shape == (-(-rows // step), -(-cols // step))
    for r in range(small.shape[0]):
        for c in range(small.shape[1]):
            block = share[r * step : (r + 1) * step, c * step : (c + 1) * step]
            known = block[np.isfinite(block)]
            assert np.isnan(small[r, c]) if known.size == 0 else small[r, c] == known.max()


def test_a_gap_at_its_limit_is_drawn_within_and_one_beyond_it_is_not() -> None:
    colours, norm = share_colours()

    def colour(share: float) -> tuple[float, ...]:
        return tuple(colours(norm(np.float32(share))))

    within, over = colour(0.9), colour(1.2)
    assert within != over
    assert colour(1.0) == within
    # The proof takes 1e-4 mm over a limit as met, which is 1e-4 of a limit of 1 mm.
    assert colour(1.0001) == within
    assert colour(1.001) == over
    assert np.allclose(colours(norm(np.ma.masked_invalid([np.nan])))[0][3], 0.0)


def test_colours_within_and_over_stay_apart_for_those_who_see_no_red_or_green() -> None:
    # Vienot, Brettel, Mollon 1999: a dichromat without red or green cones sees red and green as their mix, so what is
    # left is blue against the mix of red and green; from memory. Blue leads within the limit, never over it.
    colours, norm = share_colours()
    for share in (0.6, 0.9):
        red, green, blue, _ = colours(norm(share))
        assert blue > (red + green) / 2.0
    for share in (1.2, 1.7, 3.0):
        red, green, blue, _ = colours(norm(share))
        assert blue < (red + green) / 2.0


def test_the_picture_is_small_and_the_same_each_time(report: Report, plan: LevellingPlan) -> None:
    first = after_map.planned_png(report.surface, plan)
    assert first[:4] == b"\x89PNG"
    assert 10_000 < len(first) < after_map.MOST_BYTES
    assert after_map.planned_png(report.surface, plan) == first


def test_the_picture_shows_both_maps_at_one_scale_with_areas_and_walls(report: Report, plan: LevellingPlan) -> None:
    assert plan.before is not None
    proof = plan.methods[0].proof
    assert proof is not None
    figure = after_map.draw_after(report.surface, plan.before.share, proof.share, plan)
    (axes,) = figure.axes
    left, right = axes.images
    assert left.norm.vmin == right.norm.vmin
    assert left.norm.vmax == right.norm.vmax
    shown = [np.asarray(image.get_array(), dtype=np.float64) for image in (left, right)]
    assert np.nanmax(shown[0]) > 1.0 >= np.nanmax(shown[1])
    texts = {text.get_text() for text in axes.texts}
    assert {"area 1", "area 2", "W1", "W6", "Before: the floor as it is", "After, as planned: patch", "1 m"} <= texts
    wide, high = figure.get_size_inches()
    for text in axes.texts:
        x, y = text.get_position()
        assert 0.0 <= x <= wide
        assert 0.0 <= y <= high


@pytest.mark.parametrize("size", [(9000.0, 1200.0), (700.0, 3000.0), (300.0, 200.0), (24_000.0, 15_000.0)])
def test_rooms_of_every_shape_are_drawn(
    build: Callable[..., Report], build_plan: Callable[..., LevellingPlan], size: tuple[float, float]
) -> None:
    cell_mm = 10.0 if size[0] < 10_000 else 40.0
    report = build(spots=(((0.5, 0.5), 0.0, 100.0),), size=size, notch=None, hole=None, cell_mm=cell_mm)
    plan = replace(build_plan(report.surface), areas=(), fill_mm=np.zeros_like(report.surface.height_mm))
    figure_bytes = after_map.planned_png(report.surface, plan)
    assert 5_000 < len(figure_bytes) < after_map.MOST_BYTES


def test_a_floor_of_noise_still_fits_into_the_size(report: Report, plan: LevellingPlan) -> None:
    share = np.random.default_rng(1).random(report.surface.height_mm.shape).astype(np.float32) * 2.5
    assert len(after_map.after_png(report.surface, share, share, plan)) < after_map.MOST_BYTES


@pytest.mark.parametrize(
    ("most", "step"), [(0.9, None), (1.0, None), (4.1, 1.0), (15.0, 1.0), (29.0, 2.0), (300.0, 20.0)]
)
def test_contours_are_a_millimetre_apart_until_they_are_too_many(most: float, step: float | None) -> None:
    assert after_map.contour_step_mm(np.array([[0.0, most, np.nan]], dtype=np.float32)) == step


def test_without_a_chosen_way_there_is_no_picture(report: Report, plan: LevellingPlan) -> None:
    assert after_map.planned_png(report.surface, replace(plan, chosen=None)) == b""
    assert after_map.planned_png(report.surface, replace(plan, before=None)) == b""


def test_the_folder_holds_the_picture_and_the_table(
    planned: Report, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pathlib import Path

    assert isinstance(tmp_path, Path)
    buffer = io.BytesIO()
    Image.new("RGB", (600, 400), "white").save(buffer, "PNG")
    monkeypatch.setattr("flatscan.report.picture.heatmap.heatmap_png", lambda _: buffer.getvalue())
    files = {path.name for path in write_report(planned, tmp_path / "result")}
    assert {"after.png", "methods.csv"} <= files <= set(FILE_NAMES)
    page = (tmp_path / "result" / "report.html").read_text(encoding="utf-8")
    assert page.count("data:image/png;base64,") == 2
