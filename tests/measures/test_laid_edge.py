"""A straightedge laid on any line: closed forms, a slow twin, the gap map, and what its doubt is made of."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatscan.measures.chords import gap_field
from flatscan.measures.highest_chord import deepest
from flatscan.measures.laid_edge import lay_edge, stations_mm
from flatscan.measures.left_noise import LeftNoise
from flatscan.sources.hand.field_readings import StepLine
from flatscan.surface.noise.noise_fields import sample_bend
from flatscan.surface.surface import NoiseModel, Surface

Make = Callable[..., Surface]
CELL = 50.0


def _oracle() -> ModuleType:
    path = Path(__file__).parents[1] / "oracles" / "laid_edges.py"
    spec = importlib.util.spec_from_file_location("laid_edges", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SLOW = _oracle()


def grid(rows: int, cols: int) -> tuple[np.ndarray, np.ndarray]:
    """Both places of the cells' centres."""
    y, x = np.indices((rows, cols)) * CELL + CELL / 2
    return x, y


heights = st.lists(st.one_of(st.integers(-3, 3).map(float), st.floats(-9, 9, width=32)), min_size=1, max_size=14)


@given(heights, st.data())
@settings(max_examples=300, deadline=None)
def test_the_largest_gap_is_that_of_all_chords(z: list[float], data: st.DataObject) -> None:
    steps = data.draw(st.lists(st.sampled_from([0.3, 1.0, 1.0, 2.5]), min_size=len(z), max_size=len(z)))
    longest = data.draw(st.one_of(st.just(math.inf), st.floats(0.5, 20.0)))
    at, height = np.cumsum(steps), np.array(z)
    found = deepest(at, height, longest)
    assert found.gap_mm == pytest.approx(SLOW.largest_gap(at, z, longest), abs=2e-9)
    if found.gap_mm == 0.0:
        assert found.first == found.second == found.at
        assert z[found.at] == max(z)
        return
    assert at[found.second] - at[found.first] <= longest
    assert found.first < found.at < found.second
    share = (at[found.at] - at[found.first]) / (at[found.second] - at[found.first])
    chord = (1 - share) * z[found.first] + share * z[found.second]
    assert chord - z[found.at] == pytest.approx(found.gap_mm, abs=2e-9)


@given(heights, st.floats(1.5, 9.0))
@settings(max_examples=100, deadline=None)
def test_of_equal_gaps_the_widest_chord_is_taken(z: list[float], longest: float) -> None:
    at = np.arange(len(z), dtype=float)
    slow = SLOW.with_contacts(at, z, longest)
    found = deepest(at, np.array(z), longest)
    if slow is not None and found.gap_mm > 1e-6:
        assert found.second - found.first == slow[3] - slow[1]


def test_a_dish_has_the_gap_of_its_curve(surface_of: Make) -> None:
    """With z = r² / 2R: beneath contacts d apart the gap is d² / 8R at their middle, on any line.

    Between cells the floor is read off a chord of the dish, so at most cell² / 8R in each axis too high.
    """
    radius = 200_000.0
    x, y = grid(61, 81)
    surface = surface_of(((x - 2000.0) ** 2 + (y - 1500.0) ** 2) / (2 * radius), cell_mm=CELL)
    between = 2 * CELL**2 / (8 * radius)
    for start, end in (
        ((125.0, 1525.0), (3925.0, 1525.0)),
        ((300.0, 200.0), (3600.0, 2700.0)),
        ((77.0, 9.0), (911.0, 2990.0)),
    ):
        for edge in (1000.0, 2000.0):
            laid = lay_edge(surface, start, end, edge_mm=edge)
            assert laid.gap is not None
            assert laid.gap.value == pytest.approx(edge**2 / (8 * radius), abs=between + 1e-5)
            assert laid.span_mm == pytest.approx(edge, abs=2 * CELL)
    whole = lay_edge(surface, (125.0, 1525.0), (3925.0, 1525.0))
    assert whole.gap is not None
    assert whole.gap.value == pytest.approx(3800.0**2 / (8 * radius), abs=between + 1e-5)
    assert whole.span_mm == pytest.approx(3800.0)


def test_one_dip_is_bridged_by_its_two_rims(surface_of: Make) -> None:
    floor = np.zeros((9, 41))
    floor[:, 17:24] = -2.5
    laid = lay_edge(surface_of(floor), (25.0, 225.0), (2025.0, 225.0), edge_mm=1000.0)
    assert laid.gap is not None
    assert laid.gap.value == pytest.approx(2.5)
    assert laid.deepest is not None
    assert 17 * CELL < laid.deepest[0] < 24 * CELL
    assert laid.contacts is not None
    assert laid.contacts[0][0] < 17 * CELL < 24 * CELL < laid.contacts[1][0]
    short = lay_edge(surface_of(floor), (25.0, 225.0), (2025.0, 225.0), edge_mm=300.0)
    assert short.gap is not None
    # Too short to rest on both rims, it hangs from one to the bottom, six cells on: 5/6 of the dip beside the rim.
    assert short.gap.value == pytest.approx(2.5 * 5 / 6)


def test_a_ramp_a_crest_and_a_level_floor_have_no_gap(surface_of: Make) -> None:
    x, y = grid(30, 40)
    for floor in (0.02 * x - 0.011 * y, -((x - 900.0) ** 2 + (y - 700.0) ** 2) / 1e5, np.zeros_like(x)):
        laid = lay_edge(surface_of(floor), (100.0, 130.0), (1870.0, 1400.0), edge_mm=1000.0)
        assert laid.gap is not None
        # float32 heights of up to 40 mm are rounded to 2e-6 mm.
        assert laid.gap.value == pytest.approx(0.0, abs=1e-5)


def test_a_step_is_bridged_from_its_upper_edge(surface_of: Make) -> None:
    """Contacts w cells apart, the second on the step's edge: just before it the chord is (w - 1) / w of the step."""
    floor = np.zeros((9, 41))
    floor[:, 20:] = 2.0
    laid = lay_edge(surface_of(floor), (25.0, 225.0), (2025.0, 225.0), edge_mm=500.0)
    assert laid.gap is not None
    assert laid.gap.value == pytest.approx(2.0 * 9 / 10)
    assert laid.contacts == ((10 * CELL + 25.0, 225.0), (20 * CELL + 25.0, 225.0))


def test_unseen_contacts_leave_the_next_best(surface_of: Make) -> None:
    floor = np.zeros((9, 41))
    floor[:, 18:23] = -2.0
    floor[:, [17, 23]] = 1.0
    line = ((25.0, 225.0), (2025.0, 225.0))
    both = lay_edge(surface_of(floor), *line, edge_mm=500.0)
    assert both.gap is not None
    assert both.gap.value == pytest.approx(3.0)
    assert not both.bridges_hole
    holes = floor.copy()
    holes[:, [17, 23]] = np.nan
    laid = lay_edge(surface_of(holes), *line, edge_mm=500.0)
    assert laid.gap is not None
    assert laid.gap.value == pytest.approx(2.0)
    assert laid.bridges_hole
    assert np.isnan(laid.height_mm[[17, 23]]).all()


def test_walls_and_long_holes_end_the_edge(surface_of: Make) -> None:
    """A dip of 2 mm with a wall, or a long hole, in it: the edge hangs from a rim to the last station before that.

    A wall of one cell: three cells from the rim, so 2/3 of the dip beside the rim. A hole of one cell is bridged.
    """
    floor = np.zeros((9, 41))
    floor[:, 17:24] = -2.0
    line = ((25.0, 225.0), (2025.0, 225.0))
    inside = np.ones(floor.shape, bool)
    inside[:, 20] = False
    column = np.arange(41)
    walled = surface_of(floor, inside=inside)
    small, large = (surface_of(np.where(abs(column - 20) < half, np.nan, floor)) for half in (1, 2))
    for blocked, gap in ((walled, 2.0 * 2 / 3), (small, 2.0), (large, 2.0 * 1 / 2)):
        laid = lay_edge(blocked, *line, edge_mm=1000.0)
        assert laid.gap is not None
        assert laid.gap.value == pytest.approx(gap)
    nowhere = lay_edge(surface_of(floor), (-500.0, -900.0), (2500.0, -900.0))
    assert nowhere.gap is None
    assert nowhere.contacts is None
    assert np.isnan(nowhere.height_mm).all()


def rough(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """A floor of noise with holes, a column and an L-shaped room."""
    floor = np.cumsum(rng.normal(0.0, 0.3, (23, 37)), axis=1) + rng.normal(0.0, 0.5, (23, 37))
    floor[rng.random(floor.shape) < 0.12] = np.nan
    inside = np.ones(floor.shape, bool)
    inside[15:, 22:] = False
    inside[5:7, 10:13] = False
    inside[9:14, 17] = False
    return floor, inside


@pytest.mark.parametrize("edge", [200.0, 450.0, 1000.0, 5000.0])
def test_along_rows_and_columns_it_is_the_gap_map(edge: float, surface_of: Make) -> None:
    floor, inside = rough(np.random.default_rng(5))
    surface = surface_of(floor, inside=inside)
    laid_as = {"cell_mm": CELL, "edge_mm": edge}
    estimate = surface.estimate_mm
    rows = gap_field(estimate, surface.inside, directions=1, **laid_as).gap_mm
    cols = gap_field(np.ascontiguousarray(estimate.T), np.ascontiguousarray(surface.inside.T), directions=1, **laid_as)
    every = gap_field(estimate, surface.inside, directions=12, **laid_as).gap_mm
    high, wide = floor.shape
    found = []
    for n, of_line in ((high, rows), (wide, cols.gap_mm)):
        for k in range(n):
            ends = [(CELL / 2, (k + 0.5) * CELL), ((len(of_line[k]) - 0.5) * CELL, (k + 0.5) * CELL)]
            start, end = ends if of_line is rows else [place[::-1] for place in ends]
            laid = lay_edge(surface, start, end, edge_mm=edge)
            if laid.gap is None:
                continue
            # The map is float32.
            assert laid.gap.value == pytest.approx(float(np.nanmax(of_line[k])), abs=2e-6)
            found.append(laid.gap.value)
    assert max(found) <= np.nanmax(every) + 2e-6
    assert max(found) > 0.5


def test_turned_round_tilted_or_lifted_it_reads_the_same(surface_of: Make) -> None:
    floor, inside = rough(np.random.default_rng(6))
    x, y = grid(*floor.shape)
    ends = ((130.0, 90.0), (1750.0, 660.0))
    first = lay_edge(surface_of(floor, inside=inside), *ends)
    back = lay_edge(surface_of(floor, inside=inside), *ends[::-1])
    tilted = lay_edge(surface_of(floor + 0.01 * x - 0.02 * y + 7.0, inside=inside), *ends)
    for other in (back, tilted):
        assert first.gap is not None
        assert other.gap is not None
    # Stations count from the start, so that turned round they lie elsewhere; the tilt changes no place.
    assert tilted.contacts == first.contacts
    assert first.gap is not None
    assert tilted.gap is not None
    # Beside a hole the nearest cell's height stands for the place: half a cell of the tilt at most.
    assert tilted.gap.value == pytest.approx(first.gap.value, abs=2 * 0.5 * CELL * 0.03)


def test_stations_are_every_cell_and_the_end(surface_of: Make) -> None:
    assert stations_mm(120.0, 50.0).tolist() == [0.0, 50.0, 100.0, 120.0]
    assert stations_mm(100.0 + 1e-9, 50.0).tolist() == [0.0, 50.0, 100.0 + 1e-9]
    assert stations_mm(10.0, 50.0).tolist() == [0.0, 10.0]
    with pytest.raises(ValueError, match="between two places"):
        lay_edge(surface_of(np.zeros((5, 5))), (1.0, 1.0), (1.0, 1.0))


def test_its_doubt_is_that_of_three_heights_and_the_slow_bends(surface_of: Make) -> None:
    """The bends' part against many sampled bends: a standard deviation from n draws is good to 1 / sqrt(2 n)."""
    x, y = grid(33, 52)
    noise = NoiseModel(0.4, 0.0, 100.0, 0.7, "invented")
    rng = np.random.default_rng(8)
    surface = surface_of(3.0 * np.cos(x / 400.0) * np.cos(y / 300.0), noise=noise, rng=rng)
    laid = lay_edge(surface, (210.0, 120.0), (2400.0, 1500.0), edge_mm=2000.0)
    assert laid.gap is not None
    assert laid.contacts is not None
    assert laid.deepest is not None
    places = [laid.deepest, *laid.contacts]
    cells = [(round(p[1] / CELL - 0.5), round(p[0] / CELL - 0.5)) for p in places]
    s = math.dist(places[0], places[1]) / laid.span_mm
    weight = np.array([-1.0, 1 - s, s])
    sigma = np.array([LeftNoise.of(surface).sigma_mm[cell] for cell in cells])
    parts = dict(laid.gap.budget)
    assert parts["noise_left"] == pytest.approx(float(np.linalg.norm(weight * sigma)), rel=1e-5)
    draws = 4000
    shown = [
        weight @ [sample[cell] for cell in cells] for sample in (sample_bend(surface.seen, rng) for _ in range(draws))
    ]
    # The sampled bends are read at the nearest cells, no more than half a cell of 1000 mm off.
    assert parts["slow_bends"] == pytest.approx(0.7 * float(np.std(shown)), rel=4 / math.sqrt(2 * draws) + 0.08)
    assert parts["slow_bends"] > 0.1


def test_beside_a_step_line_the_floor_is_read_on_its_own_side(surface_of: Make) -> None:
    floor = np.zeros((9, 41))
    floor[:, 20:] = 2.0
    step = StepLine(1, (20 * CELL, -100.0), (20 * CELL, 600.0))
    # Stations between the centres of the cells.
    line = ((0.0, 225.0), (2000.0, 225.0))
    smeared, sharp = (lay_edge(surface_of(floor), *line, edge_mm=500.0, steps=steps) for steps in ((), (step,)))
    assert set(np.round(sharp.height_mm, 6)) == {0.0, 2.0}
    assert 1.0 in np.round(smeared.height_mm, 6)
