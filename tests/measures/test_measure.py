"""The whole measurement of small invented floors."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
import pytest

from flatscan.measures import measure
from flatscan.measures.flatness import flatness_parameters
from flatscan.measures.lines import FROM_EDGES_MM, LEAST_LENGTH_MM, lay_out_lines
from flatscan.settings import MeasureSettings
from flatscan.surface.surface import NoiseModel, Slope, Surface

SurfaceOf = Callable[..., Surface]
NOISE = NoiseModel(0.1, 0.1, 100.0, 0.1, "invented")


def dish(shape: tuple[int, int], cell_mm: float) -> np.ndarray:
    """A 4 mm deep Gaussian dip of 250 mm, left and below of the middle."""
    y, x = np.indices(shape) * cell_mm
    far2 = (x - 0.4 * shape[1] * cell_mm) ** 2 + (y - 0.45 * shape[0] * cell_mm) ** 2
    return -4.0 * np.exp(-0.5 * far2 / 250.0**2)


@pytest.fixture(scope="module")
def settings() -> MeasureSettings:
    return MeasureSettings(edges_mm=(1000.0, 2000.0), draws=8, spots_per_edge=3)


def test_the_dip_is_found_measured_and_named(surface_of: SurfaceOf, settings: MeasureSettings) -> None:
    rng = np.random.default_rng(0)
    surface = surface_of(dish((61, 77), 50.0), noise=NOISE, rng=rng)
    result = measure(surface, settings, rng=rng)
    worst = result.gaps[0]
    assert worst.edge_mm == 2000.0
    # The 2 m chord over the dip rests 1 m out on both sides, where a 250 mm dip is gone: 4 mm.
    assert abs(worst.gap.value - 4.0) <= 3.0 * worst.gap.u
    assert 0.05 < worst.gap.u < 0.6
    assert math.dist(worst.at, (0.4 * 77 * 50.0, 0.45 * 61 * 50.0)) < 150.0
    assert math.dist(*worst.contacts) == pytest.approx(worst.span_mm, abs=75.0)
    assert worst.span_mm <= 2000.0
    assert not worst.bridges_hole
    assert [s.gap.value for s in result.gaps] == sorted((s.gap.value for s in result.gaps), reverse=True)
    assert {m.edge_mm for m in result.gap_maps} == {1000.0, 2000.0}
    for gap_map in result.gap_maps:
        assert np.nanmin(gap_map.gap_mm) >= 0.0
        np.testing.assert_array_equal(np.isnan(gap_map.gap_mm), ~surface.seen)
        np.testing.assert_array_equal(np.isnan(gap_map.u_mm), ~surface.seen)
        assert gap_map.noise_floor_mm > 0.0
    assert result.flatness.fltt.value == pytest.approx(
        result.flatness.fltp.value + result.flatness.fltv.value, abs=3.0 * result.flatness.fltt.u
    )
    assert result.flatness.fltt_minimum_zone.value <= result.flatness.fltt.value
    assert "directions_sampled" in {c.name for c in result.caveats}


def test_the_same_capture_twice_is_the_same(surface_of: SurfaceOf) -> None:
    surface = surface_of(dish((20, 31), 50.0), noise=NOISE, rng=np.random.default_rng(1))
    settings = MeasureSettings(edges_mm=(1000.0,), draws=4)
    first, second = (measure(surface, settings, rng=np.random.default_rng(2)) for _ in range(2))
    assert [s.gap for s in first.gaps] == [s.gap for s in second.gaps]
    assert first.flatness == second.flatness


def test_a_noiseless_capture_is_read_as_it_stands(surface_of: SurfaceOf) -> None:
    result = measure(
        surface_of(dish((61, 77), 50.0)), MeasureSettings(edges_mm=(2000.0,), draws=2), rng=np.random.default_rng(0)
    )
    assert result.gaps[0].gap.value == pytest.approx(result.gaps[0].raw_mm, abs=1e-4)
    assert result.gaps[0].gap.u == pytest.approx(0.0, abs=1e-4)
    assert result.gaps[0].noise_floor_mm == 0.0


def test_edges_that_do_not_fit_are_said(surface_of: SurfaceOf) -> None:
    surface = surface_of(dish((20, 31), 50.0))
    result = measure(surface, MeasureSettings(edges_mm=(150.0, 1000.0, 3000.0), draws=2), rng=np.random.default_rng(0))
    assert {m.edge_mm for m in result.gap_maps} == {1000.0}
    assert {"edge_too_short", "edge_not_laid"} <= {c.name for c in result.caveats}


@pytest.mark.parametrize("edge_mm", [2000.0, 9000.0])
def test_a_limit_binds_floors_shorter_than_its_edge(surface_of: SurfaceOf, edge_mm: float) -> None:
    """A bathroom of 0.9 x 1.2 m under 2 m: contacts no further apart than 2 m, so as far as the floor allows.

    A ramp up to both short walls, z = 0.01 |x| with x from the middle: the chord from wall to wall, cells
    centred 25 mm off the walls, stands 0.01 · 575 = 5.75 mm over the middle cells at |x| = 25 mm, 5.5 mm.
    """
    x = (np.arange(24) - 11.5) * 50.0
    result = measure(
        surface_of(np.tile(0.01 * np.abs(x), (18, 1))),
        MeasureSettings(edges_mm=(500.0,), draws=2),
        edges_mm=(edge_mm,),
        rng=np.random.default_rng(0),
    )
    worst = result.gaps[0]
    assert worst.edge_mm == edge_mm
    assert worst.gap.value == pytest.approx(5.5, abs=1e-5)
    assert worst.span_mm <= surface_of(np.zeros((18, 24))).longest_mm
    (said,) = [c for c in result.caveats if c.name == "edge_too_long"]
    assert "1.5 m apart" in said.text
    assert all(h.edge_mm == 500.0 for h in result.humps)


def test_edges_of_the_limits_are_laid_too(surface_of: SurfaceOf) -> None:
    result = measure(
        surface_of(dish((20, 31), 50.0)),
        MeasureSettings(edges_mm=(1000.0,), draws=2),
        edges_mm=(400.0, 1000.0),
        rng=np.random.default_rng(0),
    )
    assert [m.edge_mm for m in result.gap_maps] == [400.0, 1000.0]


@pytest.mark.parametrize("noise", [NoiseModel(1.0, 0.0, 100.0, 0.0, ""), NoiseModel(0.1, 0.6, 300.0, 0.0, "")])
def test_a_flat_noisy_floor_is_never_over(surface_of: SurfaceOf, noise: NoiseModel, settings: MeasureSettings) -> None:
    """White 1 mm a cell shows 4 mm on a flat floor; with 3 mm beneath 2 m it may be undecided, never over."""
    rng = np.random.default_rng(11)
    for _ in range(3):
        result = measure(surface_of(np.zeros((40, 52)), noise=noise, rng=rng), settings, rng=rng)
        for spot in result.gaps:
            assert spot.gap.value - 3.0 < 1.6449 * spot.gap.u
        assert result.gaps[0].gap.value < 2.0


@pytest.mark.parametrize("floor", [np.full((6, 7), np.nan), np.where(np.indices((6, 7))[0] == 2, 1.0, np.nan)])
def test_little_or_nothing_seen(surface_of: SurfaceOf, floor: np.ndarray) -> None:
    result = measure(
        surface_of(floor, noise=NOISE), MeasureSettings(edges_mm=(300.0,), draws=3), rng=np.random.default_rng(0)
    )
    assert all(s.gap.value == pytest.approx(0.0, abs=0.5) for s in result.gaps)
    assert result.f_numbers is None


def test_flatness_parameters_of_a_saddle() -> None:
    """Saddle z = x² - y² on {-1, 0, 1}²: LSPL is z = 0, range 2, peak = valley = 1, Sq 2/3 (analytic, TABLES O-9b)."""
    y, x = np.indices((3, 3)) - 1.0
    t, p, v, q, zone = flatness_parameters(x**2 - y**2, 1.0)
    assert (t, p, v, q) == pytest.approx((2.0, 1.0, 1.0, 2.0 / 3.0))
    assert zone <= 2.0 + 1e-9


def test_flatness_of_a_plane_and_of_one_row() -> None:
    y, x = np.indices((7, 12)).astype(float)
    np.testing.assert_allclose(flatness_parameters(0.02 * x - 0.01 * y + 1e4, 50.0), 0.0, atol=1e-6)
    np.testing.assert_allclose(flatness_parameters(np.array([[0.0, 1.0, np.nan]]), 1.0), [1.0, 0.5, 0.5, 0.5, 1.0])
    np.testing.assert_array_equal(flatness_parameters(np.full((2, 2), np.nan), 1.0), 0.0)


def test_lines_keep_the_rules(surface_of: SurfaceOf) -> None:
    inside = np.ones((160, 240), bool)
    inside[90:, 150:] = False  # 12 x 8 m less a corner
    surface = surface_of(np.zeros((160, 240)), inside=inside, cell_mm=50.0)
    lines = lay_out_lines(surface)
    assert len(lines) >= 6
    for line in lines:
        steps = np.hypot(np.diff(line.row), np.diff(line.col)) * 50.0
        np.testing.assert_allclose(steps, 300.0, atol=1e-9)
        assert steps.sum() >= LEAST_LENGTH_MM - 1e-6
        for r, c in zip(np.rint(line.row).astype(int), np.rint(line.col).astype(int), strict=True):
            # Distance to the nearest wall cell by brute force over the L's two inner borders and the grid's.
            assert min(r, c, 159 - r, 239 - c) >= FROM_EDGES_MM / 50.0 - 1.5
            assert not (r > 90 - FROM_EDGES_MM / 50.0 + 1 and c > 150 - FROM_EDGES_MM / 50.0 + 1)


def test_narrow_rooms_are_read_at_45_degrees(surface_of: SurfaceOf) -> None:
    lines = lay_out_lines(surface_of(np.zeros((100, 140)), cell_mm=50.0))
    assert lines
    for line in lines:
        assert abs(np.diff(line.row)[0]) == pytest.approx(abs(np.diff(line.col)[0]))


def test_f_numbers_of_a_wave(surface_of: SurfaceOf, fall: Callable[[float, float], Slope]) -> None:
    """Waves along x of 2400 mm and 1 mm: on a line along x FF = C/(3 · 4A sin²(pi/8)/√2) (O-1d in metric steps).

    Lines along y see nothing, so the overall figure is between; a 10 mm/m fall along x takes FL down to
    312.5/30 at most and must not touch FF.
    """
    x = np.indices((170, 250))[1] * 50.0
    wave = np.sin(2.0 * np.pi * x / 2400.0)
    flat = measure(
        surface_of(wave, slope=fall(0.0, 0.0)), MeasureSettings(edges_mm=(), draws=2), rng=np.random.default_rng(0)
    )
    tilted = measure(
        surface_of(wave, slope=fall(10.0, 0.0)), MeasureSettings(edges_mm=(), draws=2), rng=np.random.default_rng(0)
    )
    assert flat.f_numbers is not None
    assert tilted.f_numbers is not None
    along = [line for line in flat.f_numbers.lines if abs(line.start[1] - line.end[1]) < 1.0]
    expected = 112.5 / (3.0 * 4.0 * math.sin(math.pi / 8.0) ** 2 / math.sqrt(2.0))
    assert along
    for line in along:
        assert line.ff is not None
        # A 12 m line holds 5 waves less two readings: the rms of a cut sine moves by some %.
        assert line.ff.value == pytest.approx(expected, rel=0.05)
    assert flat.f_numbers.ff is not None
    assert tilted.f_numbers.ff is not None
    assert tilted.f_numbers.ff.value == pytest.approx(flat.f_numbers.ff.value, rel=1e-4)
    assert tilted.f_numbers.fl is not None
    steep = [line for line in tilted.f_numbers.lines if abs(line.start[1] - line.end[1]) < 1.0]
    assert all(line.fl is not None and line.fl.value < 312.5 / 30.0 for line in steep)


def test_no_gravity_no_fl_and_no_room_no_f_numbers(surface_of: SurfaceOf) -> None:
    settings = MeasureSettings(edges_mm=(), draws=2)
    large = measure(surface_of(dish((110, 120), 50.0), noise=NOISE), settings, rng=np.random.default_rng(0))
    assert large.f_numbers is not None
    assert large.f_numbers.fl is None
    assert large.f_numbers.fl_interval is None
    assert any("gravity" in note for note in large.f_numbers.notes)
    small = measure(surface_of(dish((40, 60), 50.0), noise=NOISE), settings, rng=np.random.default_rng(0))
    assert small.f_numbers is None
    assert "no_f_number_line" in {c.name for c in small.caveats}


def test_progress_counts_to_its_total(surface_of: SurfaceOf) -> None:
    class Counting:
        def __init__(self) -> None:
            self.seen: dict[str, list[int]] = {}

        def track(self, items: Iterable, *, label: str, total: int | None = None) -> Iterator:
            self.seen[label] = [0, total or 0]
            for item in items:
                self.seen[label][0] += 1
                yield item

    counting = Counting()
    measure(
        surface_of(dish((20, 31), 50.0), noise=NOISE),
        MeasureSettings(edges_mm=(1000.0,), draws=3),
        rng=np.random.default_rng(0),
        progress=counting,
    )
    assert counting.seen
    assert all(done == total for done, total in counting.seen.values())


def test_two_captures_of_one_floor_agree(surface_of: SurfaceOf, settings: MeasureSettings) -> None:
    """|y1 - y2| <= 3 hypot(u1, u2) for the worst gap and the flatness parameters: 0.3 % each fail by chance."""
    first, second = (
        measure(surface_of(dish((40, 52), 50.0), noise=NOISE, rng=rng), settings, rng=rng)
        for rng in (np.random.default_rng(21), np.random.default_rng(22))
    )
    pairs = [(first.gaps[0].gap, second.gaps[0].gap)]
    pairs += [(getattr(first.flatness, k), getattr(second.flatness, k)) for k in ("fltt", "fltp", "fltv", "fltq")]
    for one, other in pairs:
        assert 0.0 < abs(one.value - other.value) <= 3.0 * math.hypot(one.u, other.u)


def test_the_noise_floor_of_a_flat_floor_grows_with_its_readings(surface_of: SurfaceOf) -> None:
    """White 1 mm a cell: 3 to 6 mm under 2 m, more on more readings (about 4 standard deviations, ALGORITHMS A)."""
    noise = NoiseModel(1.0, 0.0, 100.0, 0.0, "invented")
    settings = MeasureSettings(edges_mm=(2000.0,), draws=3)
    floors = []
    for shape, cell_mm in (((12, 41), 200.0), ((30, 100), 80.0), ((60, 200), 40.0)):
        rng = np.random.default_rng(23)
        surface = surface_of(np.zeros(shape), noise=noise, cell_mm=cell_mm, rng=rng)
        floors.append(measure(surface, settings, rng=rng).gap_maps[0].noise_floor_mm)
    assert floors[0] < floors[1] < floors[2]
    assert floors[0] >= 3.0
    assert floors[2] <= 9.0


@pytest.mark.parametrize("fall", [0.0, 5.0, 20.0])
def test_a_fall_adds_no_gap(surface_of: SurfaceOf, fall: float) -> None:
    """Falls of 0 to 20 mm/m left in the heights: at most a nearest cell's step, half a cell for either contact."""
    y, x = np.indices((25, 37)) * 50.0
    slope = fall / 1000.0 * (0.8 * x + 0.6 * y)
    result = measure(surface_of(slope), MeasureSettings(edges_mm=(1000.0,), draws=2), rng=np.random.default_rng(0))
    assert result.gaps[0].gap.value <= fall / 1000.0 * 50.0 + 1e-4


@pytest.mark.parametrize("hidden", [[(12, 5)], [(12, 5), (12, 25)]])
def test_contacts_that_were_not_seen(surface_of: SurfaceOf, hidden: list[tuple[int, int]]) -> None:
    """Two 4 mm knobs 1 m apart carry the edge; unseen, they carry nothing, and the gap can only be smaller."""
    floor = np.zeros((25, 31))
    floor[12, [5, 25]] = 4.0
    for cell in hidden:
        floor[cell] = np.nan
    result = measure(surface_of(floor), MeasureSettings(edges_mm=(1000.0,), draws=2), rng=np.random.default_rng(0))
    if len(hidden) == 2:
        assert result.gaps[0].gap.value == pytest.approx(0.0, abs=1e-5)
    else:
        # One knob left: 20 steps from it lies the unseen cell, so the chord falls over 19, and 18 of them beside it.
        assert result.gaps[0].gap.value == pytest.approx(4.0 * 18.0 / 19.0, abs=1e-4)


def test_a_border_that_was_not_seen(surface_of: SurfaceOf) -> None:
    """Unseen all round, the seen part reads as it would alone: nothing is made up beyond it."""
    dip = dish((25, 37), 50.0)
    framed = np.full((31, 43), np.nan)
    framed[3:-3, 3:-3] = dip
    settings = MeasureSettings(edges_mm=(1000.0,), draws=2)
    alone, within = (measure(surface_of(f), settings, rng=np.random.default_rng(0)) for f in (dip, framed))
    assert within.gaps[0].gap.value == pytest.approx(alone.gaps[0].gap.value, abs=0.05)


def test_two_equal_points(surface_of: SurfaceOf) -> None:
    result = measure(
        surface_of(np.full((1, 2), 3.0), noise=NOISE, cell_mm=300.0),
        MeasureSettings(edges_mm=(2000.0,), draws=3),
        edges_mm=(2000.0,),
        rng=np.random.default_rng(0),
    )
    assert all(s.gap.value == pytest.approx(0.0, abs=1e-6) for s in result.gaps)
    assert result.flatness.fltt.value == pytest.approx(0.0, abs=0.5)
