"""The heat map: colours, labels, and that everything is on the paper in any room."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image
from skimage.color import rgb2lab

from flatscan.report.picture.colours import contour_step_mm, height_colours, scale_mm
from flatscan.report.picture.edge_line import edge_line
from flatscan.report.picture.floor import block_mean, block_step
from flatscan.report.picture.heatmap import MOST_BYTES, draw_heatmap, heatmap_png
from flatscan.report.picture.labels import Box, Wanted, place_labels
from flatscan.report.picture.lettering import width_in, wrap
from flatscan.report.picture.sheet import room_of, sheet_for
from flatscan.report.report import Report
from flatscan.report.words import caption
from flatscan.settings import PlaceSettings
from flatscan.sources.scan import InputFile
from flatscan.sources.survey import Door, Survey

Build = Callable[..., Report]

ROOMS: dict[str, dict[str, Any]] = {
    "l_shape": {},
    "corridor": {"size": (12_000.0, 1_200.0), "notch": None, "hole": None},
    "tall": {"size": (1_300.0, 9_000.0), "notch": None, "hole": None},
    "closet": {"size": (900.0, 700.0), "notch": None, "hole": (600.0, 500.0, 800.0, 600.0), "cell_mm": 5.0},
    "hall": {"size": (40_000.0, 24_000.0), "notch": (12_000.0, 9_000.0), "hole": None, "cell_mm": 50.0},
    "one_row": {"size": (6_000.0, 500.0), "notch": None, "hole": None, "cell_mm": 500.0},
}


# Colours


def lab_of_scheme() -> NDArray[np.float64]:
    colours = height_colours()
    return np.asarray(rgb2lab(colours(np.linspace(0.0, 1.0, 127))[None, :, :3])[0])


def test_zero_is_the_neutral_middle() -> None:
    middle = lab_of_scheme()[63]
    assert middle[0] > 95.0
    assert np.hypot(middle[1], middle[2]) < 2.0


def test_lightness_falls_alike_on_both_sides() -> None:
    light = lab_of_scheme()[:, 0]
    assert np.all(np.diff(light[:64]) > 0.0)
    assert np.all(np.diff(light[63:]) < 0.0)
    # Low and high of one size look equally strong: within 8 of 100 units of lightness.
    assert np.abs(light - light[::-1]).max() < 8.0


def test_the_two_sides_differ_in_blue_and_yellow_too() -> None:
    # Red-green blindness leaves the blue-yellow axis (b* of CIELAB): low is on its blue side, high on its
    # yellow side, each from a quarter of the scale on by more than three just noticeable differences of 2.3.
    b = lab_of_scheme()[:, 2]
    quarter = 16
    assert np.all(b[: 63 - quarter] < -6.9)
    assert np.all(b[63 + quarter :] > 6.9)


@given(st.floats(0.01, 200.0), st.floats(0.0, 3.0))
def test_the_scale_is_round_and_holds_what_was_measured(height: float, sigma: float) -> None:
    scale = scale_mm(np.array([[height, -height, np.nan]], dtype=np.float32), sigma)
    assert scale >= max(float(np.float32(height)) * (1 - 1e-6), 3.0 * sigma * (1 - 1e-6), 1.0)
    assert scale <= 2.0 * max(height, 3.0 * sigma, 1.0)
    assert float(f"{scale:.2g}") == pytest.approx(scale)
    assert 2 <= scale / contour_step_mm(scale) <= 4.0 + 1e-9


def test_a_floor_without_any_height_still_has_a_scale() -> None:
    assert scale_mm(np.full((2, 3), np.nan, dtype=np.float32), 0.0) == 1.0


# Blocks


def test_block_means_match_a_plain_loop_and_keep_holes() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(size=(7, 12)).astype(np.float32)
    values[2:5, 4:9] = np.nan
    step = block_step(values.shape, 4)
    assert step == 3
    means = block_mean(values, step)
    assert means.shape == (3, 4)
    for i, j in np.ndindex(means.shape):
        block = values[3 * i : 3 * i + 3, 3 * j : 3 * j + 3]
        known = block[np.isfinite(block)]
        if known.size:
            # float32 storage of a mean of order 1: 6e-8, times a margin of ten.
            assert means[i, j] == pytest.approx(known.mean(dtype=np.float64), abs=1e-6)
        else:
            assert np.isnan(means[i, j])


# Labels


@given(
    st.lists(
        st.tuples(st.floats(0, 10), st.floats(0, 7), st.floats(0.2, 2.5), st.floats(0.1, 0.4)), min_size=1, max_size=12
    ),
    st.lists(st.tuples(st.floats(0, 9), st.floats(0, 6)), max_size=4),
)
@settings(max_examples=40, deadline=None)
def test_labels_never_touch_each_other_or_leave_the_paper(
    wanted: list[tuple[float, float, float, float]], corners: list[tuple[float, float]]
) -> None:
    bounds = (0.0, 0.0, 10.0, 7.0)
    blocked: list[Box] = [(x, y, x + 0.8, y + 0.5) for x, y in corners]
    drawn = np.array([(x, y) for x, y, _, _ in wanted])
    labels = [Wanted((x, y), w, h) for x, y, w, h in wanted]
    boxes = place_labels(labels, bounds, blocked=blocked, drawn=drawn, gap=0.05)
    placed = [box for box in boxes if box is not None]
    for label, box in zip(labels, boxes, strict=True):
        if box is not None:
            assert bounds[0] <= box[0] <= box[2] <= bounds[2]
            assert bounds[1] <= box[1] <= box[3] <= bounds[3]
            assert box[2] - box[0] == pytest.approx(label.width)
            assert box[3] - box[1] == pytest.approx(label.height)
    for one, other in [*combinations(placed, 2), *((p, b) for p in placed for b in blocked)]:
        assert not overlap(one, other)


def test_a_single_label_finds_a_place_wherever_one_is_free() -> None:
    blocked: list[Box] = [(0.0, 0.0, 10.0, 6.0)]
    (box,) = place_labels(
        [Wanted((5.0, 1.0), 2.0, 0.3)], (0, 0, 10, 7), blocked=blocked, drawn=np.empty((0, 2)), gap=0.05
    )
    assert box is not None
    assert box[1] >= 6.05 - 1e-9


def test_a_label_that_fits_nowhere_is_left_out() -> None:
    assert place_labels([Wanted((1, 1), 3.0, 0.3)], (0, 0, 2, 2), drawn=np.empty((0, 2)), gap=0.05) == [None]


def overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


# The straightedge


SQUARE = (np.array([(0.0, 0.0), (3000.0, 0.0), (3000.0, 3000.0), (0.0, 3000.0)]),)


def test_in_the_open_the_edge_is_centred_on_its_contacts() -> None:
    start, end = edge_line(((1000.0, 1500.0), (2000.0, 1500.0)), 2000.0, SQUARE, slack_mm=1.0)
    assert start == pytest.approx((500.0, 1500.0))
    assert end == pytest.approx((2500.0, 1500.0))


def test_beside_a_wall_it_slides_along_its_own_line_and_keeps_both_contacts() -> None:
    start, end = edge_line(((50.0, 1500.0), (850.0, 1500.0)), 2000.0, SQUARE, slack_mm=1.0)
    assert end[0] - start[0] == pytest.approx(2000.0)
    assert -1.0 <= start[0] <= 50.0
    assert end[0] >= 850.0


def test_an_edge_longer_than_the_room_is_drawn_from_wall_to_wall() -> None:
    start, end = edge_line(((100.0, 1500.0), (2900.0, 1500.0)), 4000.0, SQUARE, slack_mm=1.0)
    assert sorted((start[0], end[0])) == pytest.approx([0.0, 3000.0])


def test_without_an_outline_the_contacts_are_all_that_is_known() -> None:
    contacts = ((0.0, 0.0), (10.0, 0.0))
    assert edge_line(contacts, 2000.0, (), slack_mm=1.0) == contacts


def test_a_limit_by_distance_is_drawn_from_contact_to_contact() -> None:
    contacts = ((100.0, 1500.0), (2900.0, 1500.0))
    assert edge_line(contacts, 0.0, SQUARE, slack_mm=1.0) == contacts


# The whole picture


@pytest.mark.parametrize("room", ROOMS)
def test_every_word_is_on_the_paper_and_no_label_covers_another(build: Build, room: str) -> None:
    report = build(**ROOMS[room])
    place = PlaceSettings(north_deg=115.0, doors_mm=(((200.0, 0.0), (600.0, 0.0)),))
    report = replace(report, settings=replace(report.settings, place=place))
    figure = draw_heatmap(report)
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    paper = figure.bbox
    texts = [text for text in figure.axes[0].texts if text.get_text()]
    boxes = [text.get_window_extent(renderer) for text in texts]
    for text, box in zip(texts, boxes, strict=True):
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= paper.width and box.y1 <= paper.height
        assert inside, text.get_text()
    for (one, a), (other, b) in combinations(zip(texts, boxes, strict=True), 2):
        assert not a.overlaps(b), (one.get_text(), other.get_text())


@pytest.mark.parametrize("room", ["l_shape", "closet", "hall"])
def test_the_picture_is_of_a_size_that_can_be_mailed_and_printed(build: Build, room: str) -> None:
    png = heatmap_png(build(**ROOMS[room]))
    assert len(png) < MOST_BYTES
    with Image.open(io.BytesIO(png)) as picture:
        width, height = picture.size
        assert 900 <= width <= 2600
        assert 700 <= height <= 2400
        pixels = np.asarray(picture.convert("RGB"))
    assert len(np.unique(pixels.astype(np.int32) @ np.array([65536, 256, 1]))) > 20
    assert (pixels[:20] == 255).all(), "the paper's edge is free"
    assert (pixels[-20:] == 255).all()
    assert (pixels[:, :20] == 255).all()
    assert (pixels[:, -20:] == 255).all()


def pixel_at(report: Report, xy_mm: tuple[float, float]) -> tuple[int, ...]:
    figure = draw_heatmap(report)
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())  # type: ignore[attr-defined]
    room = room_of(report.surface)
    # The map's foot is where the caption ends: read it back from the picture of heights.
    image = figure.axes[0].images[0]
    left, right, bottom, top = image.get_extent()
    x0, y0 = report.surface.origin_mm
    rows, cols = report.surface.height_mm.shape
    share_x = (xy_mm[0] - x0) / (cols * report.surface.cell_mm)
    share_y = (xy_mm[1] - y0) / (rows * report.surface.cell_mm)
    assert room[0] <= xy_mm[0] <= room[2]
    x, y = left + share_x * (right - left), bottom + share_y * (top - bottom)
    row, col = round(pixels.shape[0] - y * figure.dpi), round(x * figure.dpi)
    return tuple(int(v) for v in pixels[row, col, :3])


def bare(report: Report, height_mm: NDArray[np.float32]) -> Report:
    """The same room with these heights and nothing drawn on it."""
    surface = replace(
        report.surface, height_mm=height_mm, estimate_mm=np.where(np.isfinite(height_mm), 0, np.nan).astype(np.float32)
    )
    return replace(
        report,
        surface=surface,
        measurement=replace(report.measurement, gaps=()),
        plan=replace(report.plan, areas=(), methods=()),
    )


def test_left_low_is_blue_right_high_is_red_and_zero_is_neutral(report: Report) -> None:
    # Heights rise along x only, then along y only: swapped or flipped axes would show.
    heights = np.where(report.surface.seen, 0.0, np.nan).astype(np.float32)
    along_x, along_y = heights.copy(), heights.copy()
    along_x[:, :100] -= 1.0
    along_x[:, 360:] += 1.0
    along_y[:90] -= 1.0
    along_y[230:] += 1.0
    low, zero, high = (pixel_at(bare(report, along_x), (x, 1150.0)) for x in (450.0, 2450.0, 4150.0))
    assert low[2] > low[0] + 80
    assert high[0] > high[2] + 80
    assert max(zero) - min(zero) <= 4
    assert min(zero) > 240
    low, high = pixel_at(bare(report, along_y), (1400.0, 450.0)), pixel_at(bare(report, along_y), (1400.0, 2650.0))
    assert low[2] > low[0] + 80
    assert high[0] > high[2] + 80


def test_a_hole_is_not_painted_as_a_height(report: Report) -> None:
    # In the middle of the hole there is grey or hatch: no red, no blue.
    colour = pixel_at(report, (2310.0, 2210.0))
    assert max(colour) - min(colour) <= 6
    assert max(colour) < 235


def test_the_same_report_gives_the_same_picture(build: Build) -> None:
    closet = build(**ROOMS["closet"])
    assert heatmap_png(closet) == heatmap_png(closet)


def test_text_of_a_user_is_never_read_as_a_formula(hostile: Report) -> None:
    draw_heatmap(hostile).canvas.draw()


def test_no_setting_of_matplotlib_is_touched(report: Report) -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    draw_heatmap(report)
    assert dict(mpl.rcParams) == before


# Paper and lettering


@given(st.floats(100.0, 60_000.0), st.floats(100.0, 60_000.0))
def test_any_room_fits_its_paper_undistorted(wide: float, deep: float) -> None:
    sheet = sheet_for((0.0, 0.0, wide, deep), above_in=0.7, below_in=1.5)
    left, bottom, right, top = sheet.room_box
    assert (right - left) / (top - bottom) == pytest.approx(wide / deep, rel=1e-6)
    assert sheet.map_box[0] < left
    assert right < sheet.map_box[2]
    assert sheet.map_box[1] < bottom
    assert top < sheet.map_box[3] < sheet.height
    assert sheet.width < 15.0
    assert sheet.height < 14.0
    assert 1 <= sheet.labelled_every <= 50


@given(st.text(st.characters(codec="utf-8"), max_size=80), st.floats(0.5, 6.0))
@settings(deadline=None, max_examples=50)
def test_wrapped_lines_fit(text: str, room_in: float) -> None:
    lines = wrap(text, room_in, 8.0)
    assert all(width_in(line, 8.0) <= room_in or len(line) == 1 for line in lines)


def test_a_survey_file_is_no_part_of_the_capture_and_its_doors_are_on_the_map(report) -> None:
    file = InputFile(Path("rooms.toml"), "0" * 64, "survey")
    door = Door("hall door", ((500.0, 0.0), (1400.0, 0.0)))
    surveyed = replace(report, inputs=(*report.inputs, file), survey=Survey(file, doors=(door,)))
    assert caption.caption_lines(surveyed, 1000.0) == caption.caption_lines(report, 1000.0)
    assert surveyed.doors_mm == (*report.settings.place.doors_mm, door.line_mm)
    assert heatmap_png(surveyed) != heatmap_png(report)
