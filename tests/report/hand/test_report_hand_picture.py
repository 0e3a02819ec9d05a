"""The map of a floor read by hand: every number once, none over another, at forty placements too."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from flatscan.report.picture.field import NUMBER_PT
from flatscan.report.picture.heatmap import draw_heatmap, heatmap_png
from flatscan.report.picture.numbers import place_numbers
from flatscan.report.report import Report

BuildHandRead = Callable[..., Report]


def texts(report: Report) -> list[str]:
    return [t.get_text() for t in draw_heatmap(report).axes[0].texts]


def test_every_placement_and_staff_reading_has_its_number_and_each_sign_its_key(hand_read: Report) -> None:
    said = texts(hand_read)
    small = [t.get_text() for t in draw_heatmap(hand_read).axes[0].texts if t.get_fontsize() == NUMBER_PT]
    assert sorted(small) == sorted([*(str(i) for i in range(1, 13)), *(f"S{i}" for i in range(1, 10))])
    assert said.count("H") == said.count("L") == 2  # on the floor and in the key
    for text in (
        "straightedge reading, with its number", "staff reading, with its number", "sounds hollow", "sounds loose",
        "the floor may jump here",
    ):  # fmt: skip
        assert said.count(text) == 1, text
    assert not any("as it lay" in t for t in said)


def test_a_scans_map_has_no_such_key(report: Report) -> None:
    said = texts(report)
    assert "straightedge reading, with its number" not in said
    assert "straightedge as it lay: over the limit" in said


def test_over_and_contradicted_bars_are_drawn_otherwise(hand_read: Report) -> None:
    findings = list(hand_read.verdict.findings)
    for number, change in (("5", {"verdict": "over"}), ("6", {"conflict": True, "verdict": "not_decided"})):
        at = next(i for i, f in enumerate(findings) if f.placement == number)
        findings[at] = replace(findings[at], **change)
    said = texts(replace(hand_read, verdict=replace(hand_read.verdict, findings=tuple(findings))))
    assert "straightedge reading over by itself" in said
    assert "straightedge reading that the surface contradicts" in said


@pytest.mark.parametrize(("count", "size"), [(40, (5000.0, 4000.0)), (44, (9000.0, 3000.0))])
def test_forty_placements_stay_legible(build_hand_read: BuildHandRead, count: int, size: tuple[float, float]) -> None:
    report = build_hand_read(count=count, size=size)
    figure = draw_heatmap(report)
    figure.canvas.draw()
    axes = figure.axes[0]
    wanted = [str(i) for i in range(1, count + 1)]
    small = [t for t in axes.texts if t.get_fontsize() == NUMBER_PT and t.get_text() in wanted]
    # A number that finds no room is in readings.csv; nine of ten must find some.
    assert len({t.get_text() for t in small}) >= 0.9 * count
    boxes = [t.get_window_extent() for t in small]
    for a, b in combinations(boxes, 2):
        # Printed digits may stand out of their measured box by a pixel (hinting).
        assert not (a.x0 + 1 < b.x1 and b.x0 + 1 < a.x1 and a.y0 + 1 < b.y1 and b.y0 + 1 < a.y1)


def test_crowded_staff_readings_are_bare_dots_and_the_key_says_where_their_numbers_are(
    build_hand_read: BuildHandRead,
) -> None:
    said = texts(build_hand_read(count=2, staff=400))
    assert "staff reading (numbers in readings.csv)" in said
    assert "S1" not in said


def test_the_picture_opens_and_lines_darken_it(hand_read: Report) -> None:
    with_bars = np.asarray(Image.open(io.BytesIO(heatmap_png(hand_read))).convert("L"), dtype=np.float64)
    bare = replace(hand_read, field=None)
    without = np.asarray(Image.open(io.BytesIO(heatmap_png(bare))).convert("L"), dtype=np.float64)
    # The key is a row or two taller; the share of ink pixels grows.
    assert (with_bars < 60).mean() > (without < 60).mean()


def test_a_number_typed_as_a_formula_is_drawn_as_it_was_typed(hand_read: Report) -> None:
    field = hand_read.field
    assert field is not None
    odd = replace(field.placements[3], number="$\\frac{$")
    written = replace(field, placements=(*field.placements[:3], odd, *field.placements[4:]))
    assert heatmap_png(replace(hand_read, field=written)).startswith(b"\x89PNG")


@given(
    st.lists(st.tuples(st.floats(0, 6), st.floats(0, 4), st.floats(0.05, 0.4)), min_size=1, max_size=40),
    st.lists(st.tuples(st.floats(0, 6), st.floats(0, 4)), max_size=6),
)
@settings(max_examples=40, deadline=None)
def test_numbers_never_touch(bars: list[tuple[float, float, float]], signs: list[tuple[float, float]]) -> None:
    sizes = [(width, 0.1) for *_, width in bars]
    choices = [np.array([x, y]) + np.array([[0.1, 0.0], [0.8, 0.0], [0.4, 0.0]]) for x, y, _ in bars]
    own = [c.copy() for c in choices]
    blocked = [(x, y, x + 0.12, y + 0.12) for x, y in signs]
    placed = place_numbers(sizes, choices, own, blocked=blocked, drawn=np.concatenate(own))
    boxes = [b for b in placed if b is not None]
    for a, b in [*combinations(boxes, 2), *((a, b) for a in boxes for b in blocked)]:
        apart = (a[2] <= b[0] + 1e-12, b[2] <= a[0] + 1e-12, a[3] <= b[1] + 1e-12, b[3] <= a[1] + 1e-12)
        assert any(apart)
    # The first always finds room where no sign is.
    if not blocked:
        assert placed[0] is not None
