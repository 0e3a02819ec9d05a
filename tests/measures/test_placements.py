"""Each laying of the straightedge by itself: closed forms, a slow twin of the hull, and true gaps held."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.measures.placements import deepest, placement_figures
from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import Bar, FieldReadings, HumpReading, Placement, StepLine
from flatscan.surface.surface import NoiseModel, Surface

BAR = Bar("2 m straightedge", 2000.0, 0.5, 0.2, 0.1)
QUARTERS = np.arange(0.0, 2001.0, 250.0)


def laid(
    at: np.ndarray,
    gap: np.ndarray,
    *,
    contact: np.ndarray | None = None,
    rule: str = "resting",
    bar: Bar = BAR,
    end: tuple[float, float] = (2000.0, 0.0),
    u_mm: float = 0.25,
    **more: object,
) -> Placement:
    touching = np.zeros(len(at), bool) if contact is None else contact
    u = np.where(touching, 0.1, u_mm)
    return Placement(3, "7", (0.0, 0.0), end, rule, at.astype(float), gap.astype(float), touching, u, bar, **more)


def alone(*placements: Placement, humps: tuple[HumpReading, ...] = (), surface: Surface | None = None):
    return placement_figures(FieldReadings((), placements=placements, humps=humps), surface)


def upper_hull(at: np.ndarray, height: np.ndarray) -> np.ndarray:
    """Height of the hull over every station, by Andrew's monotone chain: separately written, no chords tried."""
    chain: list[int] = []
    for k in range(len(at)):
        while len(chain) > 1:
            i, j = chain[-2:]
            turn = (at[j] - at[i]) * (height[k] - height[i]) - (at[k] - at[i]) * (height[j] - height[i])
            if turn < 0.0:
                break
            chain.pop()
        chain.append(k)
    return np.interp(at, at[chain], height[chain])


def test_dish_of_100_m_radius() -> None:
    """2 m bar over a dish of radius R: R - sqrt(R² - 1 m²) = 5.000125 mm at mid-length (L²/8R = 5.000)."""
    radius = 100_000.0
    depth = np.sqrt(radius**2 - (QUARTERS - 1000.0) ** 2) - np.sqrt(radius**2 - 1000.0**2)
    (figure,) = alone(laid(QUARTERS, depth, contact=depth == 0.0))
    assert figure.gap.value == pytest.approx(radius - math.sqrt(radius**2 - 1000.0**2), abs=1e-9)
    assert figure.gap.value == pytest.approx(5.0, abs=2e-4)
    assert figure.at == pytest.approx((1000.0, 0.0))
    assert figure.contacts == ((0.0, 0.0), (2000.0, 0.0))
    assert figure.span_mm == 2000.0
    assert figure.edge_mm == 2000.0
    assert (figure.row, figure.number, figure.hump, figure.surface) == (3, "7", None, None)


def test_uncertainty_of_the_three_readings() -> None:
    """The station whole, the supports by the lever rule, the bar's bend as a parabola and a wave of one length.

    Contacts at 0 and 1 m, deepest at 0.25 m: 0.25² + (0.75·0.1)² + (0.25·0.1)²; bow at s/L = 0, 1/8, 1/2 is 0, 7/16,
    1 and sin(2πs/L) is 0, sin 45°, 0: 0.1 · hypot(-7/16 + 1/4, -sin 45°).
    """
    at, gap = np.array([0.0, 250.0, 1000.0]), np.array([0.0, 3.0, 0.0])
    (figure,) = alone(laid(at, gap, contact=gap == 0.0))
    budget = dict(figure.gap.budget)
    assert budget["reading"] == pytest.approx(0.25)
    assert budget["contact"] == pytest.approx(0.1 * math.hypot(0.75, 0.25))
    assert budget["bow"] == pytest.approx(0.1 * math.hypot(-7.0 / 16.0 + 0.25, math.sin(math.pi / 4.0)))
    assert figure.gap.u == pytest.approx(math.sqrt(sum(v**2 for v in budget.values())))


def test_a_straight_bar_turned_is_as_sure() -> None:
    at, gap = np.array([0.0, 250.0, 1000.0]), np.array([0.0, 3.0, 0.0])
    one, other = (alone(laid(at, gap, turned=t))[0].gap for t in (False, True))
    assert one == other


def test_overhang_is_not_measured() -> None:
    """R1: the floor falls away 9 mm beyond the contacts at 0.5 and 1.5 m; between them 2 mm."""
    at = np.array([0.0, 500.0, 1000.0, 1500.0, 2000.0])
    gap = np.array([9.0, 0.0, 2.0, 0.0, 9.0])
    (figure,) = alone(laid(at, gap, contact=gap == 0.0))
    assert figure.gap.value == pytest.approx(2.0)
    assert figure.contacts == ((500.0, 0.0), (1500.0, 0.0))
    assert figure.span_mm == pytest.approx(1000.0)


def test_without_contacts_the_readings_hull_is_used() -> None:
    """A laser line 40 mm up and tilted by 7 mm over 2 m shows the same 3 mm dip as a bar at rest."""
    depth = np.array([0.0, 1.0, 2.0, 3.0, 2.0, 1.0, 0.5, 0.2, 0.0])
    (figure,) = alone(laid(QUARTERS, depth + 40.0 + 7.0 * QUARTERS / 2000.0, rule="line"))
    assert figure.gap.value == pytest.approx(3.0)
    assert figure.contacts[0] == (0.0, 0.0)
    assert figure.contacts[1] == (2000.0, 0.0)
    assert "contact" not in {k for k, v in figure.gap.budget if v > 0.0}


def test_on_feet() -> None:
    """R3, feet of 10 mm: readings 10.5, 13, 9, 10 mm at quarters and the middle. Dip 3 mm, hump 1 mm.

    The gap is that of any straightedge (R1) on the same floor, -0.5, -3, +1, 0 between ends at 0: from the end at 0
    to the +1 at 1.25 m, whose chord stands 0.6 over 0.75 m: 3.6 mm.
    """
    bar = replace(BAR, feet_mm=10.0)
    at = np.array([250.0, 750.0, 1250.0, 1750.0])
    (figure,) = alone(laid(at, np.array([10.5, 13.0, 9.0, 10.0]), rule="feet", bar=bar))
    assert figure.gap.value == pytest.approx(3.6)
    assert figure.contacts == ((0.0, 0.0), (1250.0, 0.0))
    assert figure.hump is not None
    assert figure.hump.value == pytest.approx(1.0)
    assert dict(figure.hump.budget)["reading"] == pytest.approx(0.25)
    assert dict(figure.hump.budget)["contact"] == pytest.approx(0.1 * math.hypot(0.625, 0.375))


def test_on_feet_over_a_dip_alone() -> None:
    """R3 and R1 agree where nothing stands above the line of the feet: readings less feet, the largest."""
    bar = replace(BAR, feet_mm=10.0)
    (figure,) = alone(laid(QUARTERS, 10.0 + np.array([0.4, 1, 2, 3, 4, 3, 2, 1, -0.3]), rule="feet", bar=bar))
    assert figure.gap.value == pytest.approx(4.0)
    assert figure.contacts == ((0.0, 0.0), (2000.0, 0.0))
    assert figure.hump is not None
    # Beside its foot the reading is 0.3 less than the foot is high: the reader's error, within its doubt.
    assert figure.hump.value == pytest.approx(0.3)


def test_a_crest_shows_no_gap() -> None:
    (figure,) = alone(laid(QUARTERS, np.abs(QUARTERS - 1000.0) / 250.0, contact=QUARTERS == 1000.0))
    assert figure.gap.value == 0.0
    assert figure.at == (1000.0, 0.0)
    assert figure.contacts == ((1000.0, 0.0), (1000.0, 0.0))
    assert figure.span_mm == 0.0


def test_humps_are_told_apart_from_gaps() -> None:
    """Free end halved to 4 mm: the crest 4 mm above the mean of the ends; errors 1 at the crest, half at the end."""
    reading = HumpReading(2, "4", (0.0, 500.0), (2000.0, 500.0), Quantity(4.0, 0.2, "mm"), BAR)
    first, second = alone(laid(QUARTERS, np.zeros(9)), humps=(reading,))
    assert (first.number, second.number) == ("4", "7")  # in the order of the file
    assert first.hump is not None
    assert first.hump.value == 4.0
    assert first.hump.u == pytest.approx(math.sqrt(0.2**2 + 0.1**2 + 0.05**2 + 0.1**2))
    assert first.at == (1000.0, 500.0)
    assert first.gap.value == 0.0
    assert first.surface is None


@given(
    st.lists(st.tuples(st.integers(1, 9), st.floats(-9.0, 9.0)), min_size=1, max_size=14),
    st.floats(-50.0, 50.0),
    st.floats(-1e6, 1e6),
)
def test_hull_twin_and_tilt(steps: list[tuple[int, float]], tilt: float, lift: float) -> None:
    at = np.cumsum([100.0 * step for step, _ in steps])
    height = np.array([h for _, h in steps])
    expected = float((upper_hull(at, height) - height).max())
    assert deepest(at, height).gap_mm == pytest.approx(expected, abs=1e-8)
    leaned = deepest(at, height + lift + tilt * at / 1000.0)
    # 1e6 mm carries 1e-10 of rounding, times a few operations.
    assert leaned.gap_mm == pytest.approx(expected, abs=1e-7)
    mirrored = deepest(at[-1] - at[::-1], height[::-1])
    assert mirrored.gap_mm == pytest.approx(expected, abs=1e-8)


def test_the_longest_chord_binds() -> None:
    """Crests 3 m apart under a 2 m bar: chords to the 1 m stations only, half as steep: gap 1.5 and not 3 mm."""
    at, height = np.array([0.0, 1000.0, 2000.0, 3000.0]), np.array([0.0, -3.0, -3.0, 0.0])
    assert deepest(at, height).gap_mm == pytest.approx(3.0)
    assert deepest(at, height, 2000.0).gap_mm == pytest.approx(1.5)


def surface_of(floors: np.ndarray, *, drawn: bool) -> Surface:
    estimate = floors.mean(axis=0).astype(np.float32)
    return Surface(
        height_mm=estimate.copy(),
        estimate_mm=estimate,
        white_mm=np.where(np.isfinite(estimate), 0.1, np.nan).astype(np.float32),
        count=np.isfinite(estimate).astype(np.int32),
        inside=np.ones(estimate.shape, bool),
        cell_mm=100.0,
        origin_mm=(-50.0, -50.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(0.1, 0.0, 100.0, 0.0, "invented"),
        slope=None,
        kind="readings" if drawn else "cloud",
        realisations_mm=floors.astype(np.float32) if drawn else None,
    )


def test_the_surface_beside_it() -> None:
    """Floors a·(x - 1 m)² with a = 3, 4, 5: a mm beneath the chord at mid-length, between rows 2 and 3 as on them.

    Of 12 floors: Student's variance 11/9, and the mean's own scatter, one twelfth.
    """
    x = np.arange(21) * 100.0
    size = np.tile([3.0, 4.0, 5.0], 4)
    floors = np.broadcast_to(size[:, None, None] * (x / 1000.0 - 1.0) ** 2, (12, 7, 21))
    depth = 4.2 * (1.0 - (QUARTERS / 1000.0 - 1.0) ** 2)
    placement = laid(QUARTERS, depth, contact=depth == 0.0)
    moved = replace(placement, start=(0.0, 250.0), end=(2000.0, 250.0))
    (figure,) = alone(moved, surface=surface_of(floors, drawn=True))
    assert figure.surface is not None
    assert figure.surface.value == pytest.approx(4.0, abs=1e-5)
    scatter = size.std(ddof=1) * math.sqrt(11.0 / 9.0)
    assert figure.surface.u == pytest.approx(scatter * math.sqrt(1.0 + 1.0 / 12.0), rel=1e-5)
    assert figure.gap.value == pytest.approx(4.2)  # the readings' own


def test_the_surface_is_read_between_its_cells() -> None:
    """A twist z = x·y/1e6 is what four corners make exactly: along a diagonal it is a parabola.

    From (130, 70) to (1330, 430) mm the middle lies 1200 · 360 / 4e6 = 0.108 mm below the chord's middle.
    """
    y, x = np.indices((7, 21)) * 100.0
    floors = np.stack([x * y / 1e6] * 5)
    depth = np.array([0.0, 0.108, 0.0])
    bar = replace(BAR, length_mm=math.hypot(1200.0, 360.0))
    at = np.array([0.0, 0.5, 1.0]) * bar.length_mm
    placement = replace(laid(at, depth, contact=depth == 0.0, bar=bar), start=(130.0, 70.0), end=(1330.0, 430.0))
    (figure,) = alone(placement, surface=surface_of(floors, drawn=True))
    assert figure.surface is not None
    assert figure.surface.value == pytest.approx(0.108, abs=1e-6)


def test_nothing_beyond_a_step_tells_of_a_place_on_this_side() -> None:
    """A floor that jumps by 6 mm at 1040 mm, between centres 1000 and 1100: flat under a bar that ends at 1030."""
    x = np.arange(21) * 100.0
    floors = np.broadcast_to(np.where(x < 1040.0, 2.0, 8.0), (5, 7, 21))
    at = np.array([0.0, 300.0, 800.0])
    bar = replace(BAR, length_mm=800.0)
    read = laid(at, np.array([0.0, 0.5, 0.0]), contact=np.array([True, False, True]), bar=bar)
    placement = replace(read, start=(230.0, 300.0), end=(1030.0, 300.0))
    step = StepLine(9, (1040.0, -50.0), (1040.0, 700.0))
    surface = surface_of(floors, drawn=True)
    (figure,) = placement_figures(FieldReadings((), placements=(placement,), steps=(step,)), surface)
    assert figure.surface is not None
    assert figure.surface.value == pytest.approx(0.0, abs=1e-6)
    # Unheard of, the step lifts the end by 0.3 · 6 mm, and the chord over the station by 0.375 of that.
    (figure,) = placement_figures(FieldReadings((), placements=(placement,)), surface)
    assert figure.surface is not None
    assert figure.surface.value == pytest.approx(0.375 * 0.3 * 6.0, abs=1e-5)


def test_a_scan_beside_it_and_what_was_not_seen() -> None:
    x = np.arange(21) * 100.0
    floor = np.broadcast_to(4.0 * (x / 1000.0 - 1.0) ** 2, (7, 21))[None]
    depth = 4.0 * (1.0 - (QUARTERS / 1000.0 - 1.0) ** 2)
    placement = laid(QUARTERS, depth, contact=depth == 0.0)
    (figure,) = alone(placement, surface=surface_of(floor, drawn=False))
    assert figure.surface is not None
    assert figure.surface.value == pytest.approx(4.0, abs=1e-5)
    assert 0.0 <= figure.surface.u <= 0.1 * math.sqrt(1.5) + 1e-9
    holed = floor.copy()
    holed[0, :2, 9:12] = np.nan
    assert alone(placement, surface=surface_of(holed, drawn=False))[0].surface is None
    away = replace(placement, start=(5000.0, 0.0), end=(7000.0, 0.0))
    assert alone(away, surface=surface_of(floor, drawn=False))[0].surface is None


def test_intervals_hold_the_true_gap_of_the_stations() -> None:
    """Bars laid on random floors, read in half millimetres: 400 of them, 95 % ± 1.1 %.

    The largest of noisy readings is too large on average; the floors bend enough for that to stay within the doubt.
    """
    rng = np.random.default_rng(2)
    root = np.linalg.cholesky(1.5**2 * np.exp(-0.5 * ((QUARTERS[:, None] - QUARTERS) / 500.0) ** 2) + 1e-9 * np.eye(9))
    share = QUARTERS / 2000.0
    held = []
    for _ in range(400):
        floor = root @ rng.standard_normal(9)
        bend = rng.normal(0.0, 0.1) * 4.0 * share * (1.0 - share) + rng.normal(0.0, 0.1) * np.sin(2.0 * np.pi * share)
        hull = upper_hull(QUARTERS, floor)
        rests = np.flatnonzero(hull - floor < 1e-9)
        i, j = rests[rests <= 4][-1], rests[rests >= 4][0]
        line = floor[i] + (floor[j] - floor[i]) * (QUARTERS - QUARTERS[i]) / max(QUARTERS[j] - QUARTERS[i], 1.0)
        true_gap = line + bend - floor
        read = np.round(2.0 * np.maximum(0.0, true_gap + rng.normal(0.0, 0.2, 9))) / 2.0
        figure = alone(laid(QUARTERS, read, contact=read == 0.0))[0]
        held.append(abs(figure.gap.value - float((hull - floor).max())) <= figure.gap.expanded)
    assert np.mean(held) >= 0.91
