"""One way of levelling: litres, bags, layers, hours, rise at doors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from flatscan.levelling.choice.doors import door_rises, doors_of
from flatscan.levelling.choice.times import cover_h, layers_of, walk_on_h
from flatscan.levelling.joints.joint_work import LipDown
from flatscan.levelling.plan import Proposal
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import bags_to_buy, interval_95, method_of, quantiles_l, with_extras
from flatscan.quantity import Quantity
from flatscan.sources.survey.survey import Door

PRODUCT = replace(
    load_product(),
    least_layer_mm=1.0,
    greatest_layer_mm=12.0,
    layer_per_lift_mm=5.0,
    primer_kg_per_m2=0.15,
    walk_on_h=3.0,
    cover_h=12.0,
    cover_h_per_mm=2.0,
)
LITRES = st.lists(st.floats(0.0, 500.0), min_size=4, max_size=30)


def proposal_of(fill, grind=None, **more) -> Proposal:
    fill = np.asarray(fill, dtype=np.float32)
    grind = np.zeros_like(fill) if grind is None else np.asarray(grind, dtype=np.float32)
    return Proposal(**({"name": "patch", "fill_mm": fill, "grind_mm": grind} | more))


@pytest.fixture
def of(make_surface):
    def make(proposal, draws, product=PRODUCT, **more):
        return method_of(proposal, draws, product, make_surface(), rng=np.random.default_rng(1), **more)

    return make


def filled(value=3.0) -> np.ndarray:
    """30 x 40 cells of 50 mm, 3 m², at one thickness; unseen corner."""
    fill = np.zeros((70, 120))
    fill[10:40, 20:60] = value
    fill[:5, :5] = np.nan
    return fill


@pytest.mark.parametrize("degrees", [1, 4, 19])
@pytest.mark.parametrize("share", [0.025, 0.1, 0.5, 0.9, 0.975])
def test_quantiles_are_those_of_a_normal_sample_as_scipy_has_them(degrees, share):
    """Prediction of one further draw: mean + t s sqrt(1 + 1/n), on square roots."""
    draws = [9.0, 16.0, 12.0, 20.25, 10.0, 14.0]
    roots = np.sqrt(draws)
    t = stats.t(degrees, loc=roots.mean(), scale=roots.std(ddof=1) * math.sqrt(1.0 + 1.0 / 6.0))
    (said,) = quantiles_l(draws, [share], degrees=degrees)
    assert said == pytest.approx(max(0.0, t.ppf(share)) ** 2, rel=1e-9)


@given(LITRES, st.integers(1, 29))
def test_quantiles_rise_and_the_tenths_lie_within_the_95_percent(draws, degrees):
    p10, p50, p90 = quantiles_l(draws, (0.1, 0.5, 0.9), degrees=degrees)
    low, high = interval_95(draws, degrees=degrees)
    assert 0.0 <= low <= p10 <= p50 <= p90 <= high


def test_of_ten_floors_nine_are_done_with_the_ninth_tenth():
    """8000 trials: standard error 0.34 %, so 1.4 % is four of them."""
    rng = np.random.default_rng(3)
    roots = 5.0 + 0.4 * rng.normal(size=(8000, 11))
    done = [[(row[-1] ** 2 <= q) for q in quantiles_l(row[:-1] ** 2, (0.1, 0.9))] for row in roots]
    assert np.mean(done, axis=0) == pytest.approx([0.1, 0.9], abs=0.014)


def test_a_way_adds_up(of):
    """3 m² at 3 mm are 9 l; 8 l of draws and 1 l of joints, 1.7 kg and 10 % waste a litre, bags of 25 kg."""
    draws = [8.0] * 10
    made = of(proposal_of(filled(), extra_l=(("joints", Quantity(1.0, 0.0, "l")),)), draws)
    assert made.volume_l.value == pytest.approx(9.0)
    assert made.volume_l.u == pytest.approx(0.0, abs=1e-12)
    assert made.volume_p_l == pytest.approx((9.0, 9.0, 9.0))
    assert made.mass_kg.value == pytest.approx(15.3)
    assert made.bags == 1
    assert made.bags_p == (1, 1, 1)
    assert (made.buy, made.keep_sealed) == (1, 0)
    assert made.area_m2 == pytest.approx(3.0)
    assert (made.min_mm, made.mean_mm, made.max_mm) == (3.0, 3.0, 3.0)
    assert made.primer_kg == pytest.approx(0.45)
    assert (made.layers, made.walk_on_h, made.cover_h) == (1, 3.0, 18.0)
    assert made.possible
    assert made.cost is None
    assert (made.ground_l, made.ground_m2, made.lifted_m2) == (0.0, 0.0, 0.0)


def test_bags_to_buy_are_those_for_nine_floors_of_ten(of):
    rng = np.random.default_rng(8)
    draws = list((6.0 + rng.normal(size=20)) ** 2)
    made = of(proposal_of(filled()), draws)
    few, middle, many = (bags_to_buy(litres, PRODUCT) for litres in made.volume_p_l)
    assert made.bags_p == (few, middle, many)
    assert few < middle < many
    assert (made.buy, made.keep_sealed) == (many, many - middle)
    roots = np.sqrt(draws)
    t = stats.t(9, loc=roots.mean(), scale=roots.std(ddof=1) * math.sqrt(1.05))  # two accounts of 20 draws
    assert made.volume_p_l == pytest.approx(tuple(t.ppf([0.1, 0.5, 0.9]) ** 2), rel=1e-9)
    one = of(proposal_of(filled()), draws, accounts=1)
    assert one.volume_p_l[2] < made.volume_p_l[2]


@given(LITRES, st.floats(0.0, 20.0), st.floats(0.0, 5.0))
def test_what_is_bought_is_never_less_than_what_will_likely_do(draws, extra, u):
    from flatscan.surface.surface import NoiseModel, Surface

    flat = np.zeros((4, 4), dtype=np.float32)
    surface = Surface(
        flat, flat.copy(), flat, flat.astype(np.int32), flat == 0.0, 50.0, (0.0, 0.0), np.eye(4), (),
        NoiseModel(0.1, 0.0, 50.0, 0.0, "stated"), None, "cloud",
    )  # fmt: skip
    proposal = proposal_of(flat, extra_l=(("joints", Quantity(extra, u, "l")),))
    made = method_of(proposal, draws, PRODUCT, surface, rng=np.random.default_rng(0))
    assert made.bags_p[0] <= made.bags_p[1] <= made.bags_p[2] == made.buy
    assert 0 <= made.keep_sealed <= made.buy
    assert made.bags_interval[0] <= made.bags_p[0] <= made.buy <= made.bags_interval[1]
    assert made.volume_l.value >= 0.0


def test_extras_are_drawn_with_their_own_doubt_and_never_below_nothing():
    rng = np.random.default_rng(2)
    drawn = with_extras([5.0] * 40_000, [("joints", Quantity(2.0, 0.3, "l"))], rng)
    # Four standard errors of 40 000: 0.006 of the mean, 0.0042 of the spread.
    assert drawn.mean() == pytest.approx(7.0, abs=0.006)
    assert drawn.std() == pytest.approx(0.3, abs=0.0045)
    assert with_extras([0.0] * 1000, [("joints", Quantity(0.1, 1.0, "l"))], rng).min() == 0.0
    assert with_extras([5.0, 6.0], [], rng).tolist() == [5.0, 6.0]


def test_a_way_that_takes_the_same_on_any_floor_has_only_the_joints_doubt(of):
    made = of(proposal_of(filled(), name="skim"), [])
    assert made.volume_l.value == pytest.approx(9.0)
    assert made.volume_interval_l == pytest.approx((9.0, 9.0))
    doubtful = of(proposal_of(filled(), name="skim", extra_l=(("joints", Quantity(3.0, 0.5, "l")),)), [])
    # About 12 ± 2 x 0.5 l.
    assert doubtful.volume_interval_l[0] == pytest.approx(10.9, abs=0.6)
    assert doubtful.volume_interval_l[1] == pytest.approx(13.1, abs=0.6)


def test_nothing_to_do_takes_nothing(of):
    made = of(proposal_of(np.zeros((70, 120))), [0.0] * 10)
    assert (made.volume_l.value, made.buy, made.layers, made.min_mm, made.max_mm) == (0.0, 0, 0, 0.0, 0.0)
    assert made.walk_on_h is None
    assert made.cover_h is None
    up = of(proposal_of(np.zeros((70, 120)), name="lift_tiles"), [])
    assert up.lifted_m2 == pytest.approx(21.0)
    assert of(proposal_of(filled()), [9.0] * 4, lifted_m2=0.5).lifted_m2 == 0.5


def test_the_thinnest_layer_is_not_where_the_edge_runs_out(of):
    fill, edge = filled(), np.zeros((70, 120), dtype=bool)
    fill[10, 20:60] = 0.2
    fill[11, 20:60] = 2.5
    edge[10] = True
    assert of(proposal_of(fill), [9.0] * 4).min_mm == pytest.approx(0.2)
    assert of(proposal_of(fill), [9.0] * 4, feathered=edge).min_mm == pytest.approx(2.5)
    assert of(proposal_of(np.where(edge, fill, 0.0)), [9.0] * 4, feathered=edge).min_mm == pytest.approx(0.2)


def test_too_thick_a_layer_is_named_with_its_place(of):
    fill = filled()
    fill[29, 39] = 12.0
    assert of(proposal_of(fill), [9.0] * 4).possible
    fill[29, 39] = 13.6
    made = of(proposal_of(fill), [9.0] * 4)
    place = "1.98 m from the left wall, 1.48 m from the bottom wall"
    assert made.why_not == f"13.6 mm is needed {place}, and the product allows at most 12 mm"
    assert of(proposal_of(fill, why_not="no"), [9.0] * 4).why_not == "no"
    assert of(proposal_of(fill), [9.0] * 4, replace(PRODUCT, greatest_layer_mm=None)).possible


def test_what_is_ground_is_the_grid_and_the_lips(of):
    """1 m² at 2 mm: 2 l. A lip of 1.8 mm to 0.8 over 500 mm at 20 mm/m: 1 x 50 x 500 / 2 mm³ on 0.025 m²."""
    grind = np.zeros((70, 120))
    grind[:20, :20] = 2.0
    grind[:5, :5] = np.nan
    grind[20:25, :5] = 2.0
    line = ((0.0, 0.0), (500.0, 0.0))
    lip = LipDown("J1", (250.0, 0.0), line, (250.0, 100.0), 500.0, "over", Quantity(1.8, 0.1, "mm"), 1.0)
    made = of(proposal_of(filled(), grind), [9.0] * 4, lips=(lip,))
    assert made.ground_l == pytest.approx(2.0 + 0.0125)
    assert made.ground_m2 == pytest.approx(1.0 + 0.025)


@pytest.mark.parametrize(
    ("thickest", "fills", "layers"),
    [
        (0.0, False, 0),
        (0.0, True, 1),
        (4.9, True, 1),
        (5.0, True, 1),
        (5.01, True, 2),
        (10.0, True, 2),
        (10.1, True, 3),
    ],
)
def test_pours_on_top_of_each_other(thickest, fills, layers):
    assert layers_of(thickest, PRODUCT, fills=fills) == layers
    assert layers_of(np.float64(np.float32(thickest)), PRODUCT, fills=fills) == layers


def test_pours_and_hours_that_the_data_sheet_does_not_name():
    bare = load_product()
    assert layers_of(21.0, replace(bare, greatest_layer_mm=10.0), fills=True) == 3
    assert layers_of(21.0, replace(bare, greatest_layer_mm=None), fills=True) == 1
    assert walk_on_h(2, PRODUCT) == 6.0
    assert cover_h(2, 7.5, PRODUCT) == 27.0
    assert walk_on_h(2, replace(PRODUCT, walk_on_h=None)) is None
    assert cover_h(2, 7.5, replace(PRODUCT, cover_h=None)) is None


def test_the_rise_at_a_door_is_of_the_cells_near_its_line(make_surface):
    """The door lies in the left wall, 1.0 to 1.9 m up; within 100 mm are two columns of cells, at 25 and 75 mm.

    Rows 20 to 37 lie along it. Beyond each end, 25 mm along, both columns are within 100 mm (35 and 79 mm); 75 mm
    along only the nearer is (79 mm), the other 106 mm off.
    """
    surface = make_surface()
    rise = np.zeros((70, 120))
    rise[20:38, 0], rise[20:38, 1], rise[20:38, 2] = 2.0, 4.0, 50.0
    rise[19, :2], rise[38, :2] = 0.5, 0.5
    door = Door("hall", ((0.0, 1000.0), (0.0, 1900.0)), 6.0)
    (found,) = door_rises(rise, surface, [door])
    assert found.max_mm == 4.0
    cells = [2.0] * 18 + [4.0] * 18 + [0.5] * 4 + [0.0] * 2
    assert found.mean_mm == pytest.approx(np.mean(cells))
    assert (found.door, found.most_allowed_mm) == ("hall", 6.0)
    wider = door_rises(rise, replace(surface, strip_mm=50.0), [door])[0]
    assert wider.max_mm == 50.0
    assert door_rises(np.full((70, 120), np.nan), surface, [door]) == ()


def test_ground_doors_sink_and_drawn_doors_are_numbered(of):
    grind = np.zeros((70, 120))
    grind[:, :3] = 1.5
    doors = doors_of([Door("hall", ((0.0, 1000.0), (0.0, 1900.0)))], [((6000.0, 500.0), (6000.0, 1300.0))])
    made = of(proposal_of(np.zeros((70, 120)), grind), [0.0] * 4, doors=doors)
    assert [(rise.door, rise.max_mm) for rise in made.doors] == [("hall", -1.5), ("door 1", 0.0)]


def test_holes_of_tiles_are_primed_filled_and_paid_for_and_their_depth_is_told(of):
    """3 m² of fill; holes of 1 m², half of it beneath the fill: 3.5 m² are primed and filled, 17 mm at the thickest."""
    holes = np.zeros((70, 120))
    holes[30:50, 20:40] = 14.0
    priced = replace(PRODUCT, bag_price=10.0, fill_price_per_m2=4.0, lift_price_per_m2=0.0)
    way = of(proposal_of(filled(3.0)), [9.0, 9.1], product=priced, holes_mm=holes)
    assert way.max_mm == pytest.approx(3.0)
    assert way.holes_mm == pytest.approx(17.0)
    assert way.holes_m2 == pytest.approx(0.5)
    assert way.primer_kg == pytest.approx(0.15 * 3.5)
    assert dict(way.cost.parts)["filling"] == pytest.approx(4.0 * 3.5)
    assert way.layers == math.ceil(17.0 / 5.0)
    none = of(proposal_of(filled(3.0)), [9.0, 9.1], product=priced, holes_mm=np.zeros((70, 120)))
    assert (none.holes_mm, none.holes_m2, none.primed_m2) == (0.0, 0.0, pytest.approx(3.0))
