"""Joints on the heat map and on the picture of the floor."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import to_rgb
from matplotlib.path import Path as Shape
from PIL import Image
from skimage.color import rgb2lab

from flatscan.measures.joints.joints import Joints
from flatscan.quantity import Quantity
from flatscan.report.picture import floor_photo
from flatscan.report.picture.heatmap import MOST_BYTES, draw_heatmap, heatmap_png
from flatscan.report.picture.joints import PHOTO_STYLE_OF, STYLE_OF, joint_entries, step_mark
from flatscan.report.report import Report
from flatscan.report.words.joint_words import (
    MOST_LABELLED,
    MOST_SIGNS,
    judged_joints,
    labelled,
    lips_left_out,
    lips_shown,
)
from flatscan.surface.picture.floor_picture import FloorPicture

TileOf = Callable[..., Report]


@pytest.fixture(scope="module")
def drawn(tiled: Report) -> Axes:
    """The map, drawn once for all that only look at it."""
    axes: Axes = draw_heatmap(tiled).axes[0]
    return axes


def lines_of(axes: Axes) -> dict[str, LineCollection]:
    return {str(c.get_label()): c for c in axes.collections if isinstance(c, LineCollection) and len(c.get_segments())}


@pytest.mark.parametrize("styles", [STYLE_OF, PHOTO_STYLE_OF])
def test_verdicts_differ_in_shape_and_in_lightness_or_width(styles: Any) -> None:
    words = ("over", "not_decided", "within", "not_seen")
    for one, other in combinations(words, 2):
        a, b = styles[one], styles[other]
        # Without any colour: the dash or, both solid, a width that is at least four times the other's.
        apart = a.dash != b.dash or max(a.width, b.width) >= 2.5 * min(a.width, b.width)
        assert apart, (one, other)
        assert a.ink != b.ink
        # In colours that no eye confuses: more than three just noticeable differences of 2.3 in CIELAB.
        lab = rgb2lab(np.array([[to_rgb(a.ink), to_rgb(b.ink)]]))[0]
        assert np.linalg.norm(lab[0] - lab[1]) > 6.9
    assert styles["over"].width == max(style.width for style in styles.values())
    assert styles["over"].layer == max(style.layer for style in styles.values())


def test_every_joint_is_drawn_once_where_it_runs(tiled: Report, drawn: Axes) -> None:
    lines = lines_of(drawn)
    judged = judged_joints(tiled)
    wanted = {STYLE_OF[one.line_word].said for one in judged}
    assert set(lines) & {style.said for style in STYLE_OF.values()} == wanted
    for word, style in STYLE_OF.items():
        of_word = [one for one in judged if one.line_word == word]
        if not of_word:
            continue
        pieces = lines[style.said].get_segments()
        assert len(pieces) == len(of_word)
        # One inch per mm for all of them, no axis swapped or mirrored: differences go with differences.
        mm = np.array([one.joint.line for one in of_word])
        inch = np.array(pieces)
        step_mm, step_in = mm - mm[0, 0], inch - inch[0, 0]
        scale = np.abs(step_in).max() / np.abs(step_mm).max()
        np.testing.assert_allclose(step_in, scale * step_mm, atol=1e-9)


def test_the_sign_of_a_lip_points_down_to_the_low_side() -> None:
    for low in (0.0, 0.5 * math.pi, math.pi, -0.5 * math.pi, 0.3):
        mark = step_mark(low)
        shape: Shape = mark.get_path().transformed(mark.get_transform())
        way = np.array([math.cos(low), math.sin(low)])
        along = shape.vertices @ way
        across = shape.vertices @ np.array([-way[1], way[0]])
        tip = int(np.argmax(along))
        assert along.max() > 3.0 * -along.min()
        assert abs(across[tip]) < 1e-9
        # The bar lies along the joint: on the high side the sign is widest, by more than half as at the arrow's head.
        head = np.ptp(across[along > 0.3 * along.max()])
        assert np.ptp(across[along < 0.3 * along.max()]) > 1.5 * head


def test_lips_are_filled_only_where_over(tiled: Report, drawn: Axes) -> None:
    signs = [line for line in drawn.lines if isinstance(line.get_marker(), Shape)]
    judged = judged_joints(tiled)
    shown = lips_shown(judged)
    assert {lip.word for lip in shown} == {"over", "not_decided"}
    filled = [sign.get_markerfacecolor() != "white" for sign in signs]
    words = [lip.word == "over" for lip in shown]
    in_key = 2
    assert filled[: len(shown)] == words
    assert len(signs) == len(shown) + in_key


def test_only_the_worst_few_are_labelled_and_no_joint_twice(tiled: Report, drawn: Axes) -> None:
    judged = judged_joints(tiled)
    names = [worst.joint.id for worst in labelled(judged)]
    assert len(names) == len(set(names)) == MOST_LABELLED
    assert {worst.word for worst in labelled(judged)} == {"over"}
    said = " ".join(text.get_text() for text in drawn.texts)
    assert [one.joint.id for one in judged if f"{one.joint.id} " in said] == sorted(names, key=lambda n: int(n[1:]))
    worst = labelled(judged)[0]
    assert worst.value is not None
    assert f"{worst.joint.id}  " in said


def test_words_stay_on_the_paper_and_labels_apart_with_hundreds_of_joints(
    tile: TileOf, joints: Callable[..., Joints]
) -> None:
    report = tile(joints(pitch=(300.0, 200.0)))
    assert len(judged_joints(report)) > 500
    figure = draw_heatmap(report)
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    texts = [text for text in figure.axes[0].texts if text.get_text()]
    boxes = [text.get_window_extent(renderer) for text in texts]
    paper = figure.bbox
    for text, box in zip(texts, boxes, strict=True):
        assert box.x0 >= 0, text.get_text()
        assert box.y0 >= 0
        assert box.x1 <= paper.width
        assert box.y1 <= paper.height
    for (one, a), (other, b) in combinations(zip(texts, boxes, strict=True), 2):
        assert not a.overlaps(b), (one.get_text(), other.get_text())
    assert len(heatmap_png(report)) < MOST_BYTES


def test_more_lips_than_can_be_told_apart_are_left_out_and_it_is_said(
    tile: TileOf, joints: Callable[..., Joints]
) -> None:
    base = joints(pitch=(300.0, 200.0))
    vague = replace(
        base,
        joints=tuple(
            replace(joint, stations=tuple(replace(s, lip=s.lip and Quantity(0.9, 0.3, "mm")) for s in joint.stations))
            for joint in base.joints
        ),
    )
    judged = judged_joints(tile(vague))
    assert len(lips_shown(judged)) == MOST_SIGNS
    assert lips_left_out(judged).startswith(f"Drawn are {MOST_SIGNS} of ")


def test_the_key_names_what_is_drawn_and_nothing_else(tiled: Report, tile: TileOf) -> None:
    said = {entry.text for entry in joint_entries(judged_joints(tiled))}
    assert STYLE_OF["over"].said in said
    assert joint_entries(()) == []
    free = {entry.text for entry in joint_entries(judged_joints(tile(limits=())))}
    assert free == {STYLE_OF[None].said}


def test_without_joints_the_map_is_as_it_was(report: Report) -> None:
    assert not any(style.said in lines_of(draw_heatmap(report).axes[0]) for style in STYLE_OF.values())


# The floor from above


def test_the_floor_picture_is_small_and_within_its_pixels(tiled: Report, picture: FloorPicture) -> None:
    jpg = floor_photo.floor_jpg(picture, tiled.surface, judged_joints(tiled))
    assert len(jpg) < floor_photo.MOST_BYTES
    with Image.open(io.BytesIO(jpg)) as opened:
        assert opened.format == "JPEG"
        assert floor_photo.MOST_PIXELS - 5 <= max(opened.size) <= floor_photo.MOST_PIXELS


def test_a_picture_as_rough_as_can_be_still_fits(tiled: Report, picture: FloorPicture) -> None:
    # White noise is what JPEG packs worst.
    rng = np.random.default_rng(5)
    rgb = rng.integers(0, 256, (*picture.tone.shape, 3), dtype=np.uint8)
    rough = replace(picture, rgb=rgb)
    assert len(floor_photo.floor_jpg(rough, tiled.surface, ())) < floor_photo.MOST_BYTES


def test_the_picture_lies_where_the_floor_is(tiled: Report, picture: FloorPicture) -> None:
    # A red mark at a place that is different in x and y must be found there on the paper.
    x_mm, y_mm = 3900.0, 700.0
    row, col = int(y_mm / picture.pixel_mm), int(x_mm / picture.pixel_mm)
    marked = picture.rgb.copy() if picture.rgb is not None else np.zeros((*picture.tone.shape, 3), np.uint8)
    marked[row - 25 : row + 25, col - 25 : col + 25] = (255, 0, 0)
    figure = floor_photo.draw_floor(replace(picture, rgb=marked), tiled.surface, ())
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3].astype(np.int32)  # type: ignore[attr-defined]
    red = (pixels[..., 0] > 200) & (pixels[..., 1] < 60) & (pixels[..., 2] < 60)
    rows, cols = np.nonzero(red)
    # The paper's height above its foot; corner 0 is the black disc's middle.
    left, right, bottom, top = figure.axes[0].images[0].get_extent()
    rows_mm, cols_mm = (n * picture.pixel_mm for n in picture.tone.shape)
    x_in, y_in = left + (right - left) * x_mm / cols_mm, bottom + (top - bottom) * y_mm / rows_mm
    # Half a pixel of the canvas and a grid line that may cover part of the mark.
    assert cols.mean() == pytest.approx(x_in * figure.dpi, abs=2.0)
    assert pixels.shape[0] - rows.mean() == pytest.approx(y_in * figure.dpi, abs=2.0)


def test_bare_heights_are_drawn_as_grey_and_the_unseen_as_such(picture: FloorPicture) -> None:
    grey = floor_photo.shown_pixels(replace(picture, kind="heights", rgb=None))
    assert np.ptp(grey, axis=2).max() == 0.0
    assert grey[100, 100].mean() < grey[100, -100].mean()  # on tiles, which are brighter to the right
    coloured = floor_photo.shown_pixels(picture)
    assert coloured[-10, -10].tolist() == pytest.approx(to_rgb("#d2d2d2"))


def test_a_picture_of_nothing_does_no_harm(tiled: Report, picture: FloorPicture) -> None:
    tone = np.full_like(picture.tone, np.nan)
    floor_photo.draw_floor(replace(picture, kind="heights", rgb=None, tone=tone), tiled.surface, ())
