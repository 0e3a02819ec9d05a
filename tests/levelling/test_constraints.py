"""What binds: zones on the grid against their true areas, lines that nothing passes, rules that contradict."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import affinity

from flatscan.errors import InputError
from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.bounds import free
from flatscan.levelling.binding.constraints import HOLLOW_TILES, bounds_of
from flatscan.levelling.binding.unmet import unmet_words
from flatscan.levelling.binding.zone_cells import cells_of_line, cells_of_zone
from flatscan.levelling.product import load_product
from flatscan.sources.scan import InputFile
from flatscan.sources.survey import Door, Survey, Zone

CELL_MM = 20.0
#: Rows and columns differ, and the grid does not begin at corner 0.
SHAPE = (97, 143)
ORIGIN_MM = (-40.0, 60.0)
WIDE_MM, DEEP_MM = SHAPE[1] * CELL_MM, SHAPE[0] * CELL_MM
PRODUCT = load_product()
ONCE = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def floor(make_surface):
    """A bare floor of 2.86 x 1.94 m, lower left corner at (-0.04, 0.06)."""
    return replace(make_surface(np.zeros(SHAPE), cell_mm=CELL_MM), origin_mm=ORIGIN_MM)


@pytest.fixture
def walled(floor):
    """The same with a strip of 60 mm along its walls that is not judged."""
    inside = np.zeros(SHAPE, dtype=bool)
    inside[3:-3, 3:-3] = True
    height = np.where(inside, floor.height_mm, np.nan)
    return replace(floor, inside=inside, height_mm=height, estimate_mm=height.copy(), strip_mm=60.0)


def basis_of(surface, **more) -> Basis:
    return Basis(surface, ((2000.0, 3.0),), ("over-old-tiles",), "level_areas", None, **more)


def survey_of(*zones: Zone, **more) -> Survey:
    return Survey(InputFile(Path("survey.toml"), "0" * 64, "survey"), zones=zones, **more)


def zone(kind: str, corners, value: float | None = None, name: str = "") -> Zone:
    return Zone(kind, name or kind, np.asarray(corners, dtype=np.float64), (), value)


def box(x1: float, y1: float, x2: float, y2: float) -> list[tuple[float, float]]:
    return [(x1, y1), (x2, y1), (x2, y2), (x1, y2)]


# Zones on the grid


@given(
    wide=st.floats(5.0, 900.0),
    deep=st.floats(5.0, 700.0),
    turn=st.floats(0.0, 180.0),
    x=st.floats(600.0, 2000.0),
    y=st.floats(650.0, 1300.0),
)
@ONCE
def test_a_turned_zone_has_its_area_within_half_a_cell_along_its_edge(floor, wide, deep, turn, x, y):
    """A cell can be wrong only where the edge passes through it: its centre is within half a diagonal of the edge."""
    region = affinity.rotate(affinity.translate(shapely.box(0.0, 0.0, wide, deep), x, y), turn)
    assume(shapely.box(ORIGIN_MM[0], ORIGIN_MM[1], ORIGIN_MM[0] + WIDE_MM, ORIGIN_MM[1] + DEEP_MM).contains(region))
    mask = cells_of_zone(floor, region)
    rows, cols = np.nonzero(mask)
    centres = shapely.points(ORIGIN_MM[0] + (cols + 0.5) * CELL_MM, ORIGIN_MM[1] + (rows + 0.5) * CELL_MM)
    assert mask.any()
    assert shapely.distance(region, centres).max() <= CELL_MM * np.sqrt(0.5) + 1e-6
    if min(wide, deep) > 1.001 * np.sqrt(2.0) * CELL_MM:
        # Wider than a cell's diagonal: the rule of centres alone.
        assert shapely.distance(region, centres).max() == 0.0
        assert abs(mask.sum() * CELL_MM**2 - region.area) <= 0.75 * region.length * CELL_MM + CELL_MM**2


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 90.0])
@pytest.mark.parametrize("wide", [3.0, 12.0, 19.9, 30.0])
def test_a_thin_threshold_is_one_unbroken_piece_and_no_thicker_than_it_must_be(floor, wide, turn):
    region = affinity.rotate(shapely.box(800.0, 900.0, 1700.0, 900.0 + wide), turn)
    mask = cells_of_zone(floor, region)
    _, pieces = ndimage.label(mask, structure=np.ones((3, 3)))
    assert pieces == 1
    rows, cols = np.nonzero(mask)
    reach = np.hypot(np.ptp(rows) + 1, np.ptp(cols) + 1) * CELL_MM
    assert reach + CELL_MM >= 900.0
    assert mask.sum() * CELL_MM**2 <= 900.0 * (wide + 2.0 * np.sqrt(2.0) * CELL_MM)


def test_an_arm_thinner_than_a_cell_is_not_lost_from_a_zone(floor):
    body, arm = shapely.box(500.0, 500.0, 900.0, 900.0), shapely.box(900.0, 701.0, 1500.0, 709.0)
    mask = cells_of_zone(floor, shapely.union(body, arm))
    assert mask.sum() == 20 * 20 + 30
    assert np.array_equal(mask, cells_of_zone(floor, body) | cells_of_zone(floor, arm))


def test_a_zone_beyond_the_grid_takes_only_what_lies_on_it(floor):
    assert cells_of_zone(floor, shapely.box(-5000.0, -5000.0, 5000.0, 5000.0)).all()
    assert not cells_of_zone(floor, shapely.box(9000.0, 0.0, 9100.0, 100.0)).any()


# Lines


@given(
    sides=st.tuples(st.floats(0.1, 0.9), st.floats(0.1, 0.9)),
    upright=st.booleans(),
    bend=st.tuples(st.floats(0.1, 0.9), st.floats(0.1, 0.9)),
    short=st.floats(0.0, 95.0),
)
@ONCE
def test_a_line_from_wall_to_wall_cuts_the_floor_in_two_cornerwise_too(floor, sides, upright, bend, short):
    """Also with a bend, and with ends that the tape put a little short of the walls."""
    low, high = np.array(ORIGIN_MM), np.add(ORIGIN_MM, (WIDE_MM, DEEP_MM))
    across = 0 if upright else 1
    ends = np.array([low, high])
    ends[:, across] = low[across] + np.array(sides) * (high - low)[across]
    middle = low + np.array(bend) * (high - low)
    for end in (0, 1):
        ends[end] += short * (middle - ends[end]) / np.hypot(*(middle - ends[end]))
    line = cells_of_line(floor, [tuple(ends[0]), tuple(middle), tuple(ends[1])])
    labels, _ = ndimage.label(~line, structure=np.ones((3, 3)))
    one, other = (labels[0], labels[-1]) if not upright else (labels[:, 0], labels[:, -1])
    assert not set(one[one > 0]) & set(other[other > 0])


def test_a_line_is_one_cell_wide_and_stops_where_its_ends_lie(floor):
    line = cells_of_line(floor, [(500.0, 1000.0), (1500.0, 1000.0)])
    rows, cols = np.nonzero(line)
    assert len(np.unique(rows)) == 1
    assert len(cols) == np.floor((1500.0 - ORIGIN_MM[0]) / CELL_MM) - np.floor((500.0 - ORIGIN_MM[0]) / CELL_MM) + 1


def test_movement_joints_are_bridged_and_dammed_dams_and_doors_only_dammed(floor):
    across = ((300.0, 60.0), (300.0, 2000.0))
    survey = survey_of(
        movement_joints_mm=(across,),
        dams_mm=(((900.0, 60.0), (900.0, 2000.0)),),
        doors=(Door("a", ((1500.0, 60.0), (1500.0, 2000.0))),),
    )
    bounds = bounds_of(survey, basis_of(floor, doors_mm=(((2100.0, 60.0), (2100.0, 2000.0)),)), PRODUCT)
    cols = (np.array([300.0, 900.0, 1500.0, 2100.0]) - ORIGIN_MM[0]) // CELL_MM
    assert set(np.nonzero(bounds.blocked)[1]) == {cols[0]}
    assert set(np.nonzero(bounds.dams)[1]) == set(cols)
    _, rooms = ndimage.label(floor.inside & ~bounds.dams)
    assert rooms == 5
    assert bounds.inside.all()
    assert np.isinf(bounds.most_fill_mm).all()


# What each rule does


def test_without_a_survey_nothing_binds_but_doors_on_the_map(floor):
    line = ((1000.0, 60.0), (1000.0, 2000.0))
    bounds = bounds_of(None, basis_of(floor, doors_mm=(line,)), PRODUCT)
    plain = free(floor, greatest_grind_mm=PRODUCT.greatest_grind_mm)
    for name in plain.__slots__:
        if name not in ("dams", "rules"):
            np.testing.assert_array_equal(getattr(bounds, name), getattr(plain, name))
    assert bounds.dams.sum() == SHAPE[0]
    assert bounds.rules == ()


def test_each_kind_binds_what_it_says_and_nothing_else(floor):
    corners = box(500.0, 500.0, 900.0, 800.0)
    here = cells_of_zone(floor, shapely.Polygon(corners))

    def with_zone(kind: str, value: float | None = None):
        return bounds_of(survey_of(zone(kind, corners, value)), basis_of(floor), PRODUCT)

    fixed = with_zone("fixed_height", 2.5)
    assert (fixed.least_fill_mm[here] == 2.5).all()
    assert (fixed.most_fill_mm[here] == 2.5).all()
    assert (fixed.most_grind_mm[here] == 0.0).all()
    assert (fixed.least_fill_mm[~here] == 0.0).all()
    assert np.isinf(fixed.most_fill_mm[~here]).all()
    assert (fixed.most_grind_mm[~here] == PRODUCT.greatest_grind_mm).all()
    dry = with_zone("no_fill")
    assert (dry.most_fill_mm[here] == 0.0).all()
    assert np.isinf(dry.most_fill_mm[~here]).all()
    assert (dry.most_grind_mm == PRODUCT.greatest_grind_mm).all()
    unground = with_zone("no_grind")
    assert np.array_equal(unground.most_grind_mm == 0.0, here)
    assert np.isinf(unground.most_fill_mm).all()
    assert np.array_equal(with_zone("greatest_build_up", 4.0).most_fill_mm == 4.0, here)
    hole = with_zone("remove_tiles", 14.0)
    assert np.array_equal(hole.void_mm, np.where(here, 14.0, 0.0))
    for bounds in (fixed, dry, unground, hole):
        assert bounds.inside.all()
        assert not (bounds.blocked | bounds.dams | bounds.keeps_slope).any()


def test_no_edge_gets_into_or_out_of_a_zone_that_keeps_its_slope(floor):
    corners = box(500.0, 500.0, 900.0, 800.0)
    bounds = bounds_of(survey_of(zone("keep_slope", corners)), basis_of(floor), PRODUCT)
    here = cells_of_zone(floor, shapely.Polygon(corners))
    assert np.array_equal(bounds.keeps_slope, here)
    assert bounds.inside[here].all()
    # A frame one cell wide round 20 x 15 cells.
    assert (~bounds.inside).sum() == 22 * 17 - 20 * 15
    labels, pieces = ndimage.label(bounds.inside, structure=np.ones((3, 3)))
    assert pieces == 2
    assert len(set(labels[here])) == 1


def test_the_least_of_several_build_ups_wins(floor):
    survey = survey_of(
        zone("greatest_build_up", box(0.0, 100.0, 1000.0, 1000.0), 5.0, "a"),
        zone("greatest_build_up", box(500.0, 100.0, 1500.0, 1000.0), 12.0, "b"),
        greatest_build_up_mm=8.0,
    )
    bounds = bounds_of(survey, basis_of(floor), PRODUCT)
    at = {x: bounds.most_fill_mm[20, int((x - ORIGIN_MM[0]) / CELL_MM)] for x in (250.0, 750.0, 1250.0, 2000.0)}
    assert at == {250.0: 5.0, 750.0: 5.0, 1250.0: 8.0, 2000.0: 8.0}
    assert [(r.name, r.value_mm) for r in bounds.rules] == [("the whole floor", 8.0), ("a", 5.0), ("b", 12.0)]


def test_a_doors_band_reaches_100_mm_of_judged_floor_across_the_strip(walled):
    door = Door("hall door", ((500.0, 60.0), (1400.0, 60.0)), 3.0)
    bounds = bounds_of(survey_of(doors=(door,)), basis_of(walled), PRODUCT)
    rows, cols = np.nonzero((bounds.most_fill_mm == 3.0) & walled.inside)
    # The door is 45 cells wide; the strip is rows 0 to 2, and 100 mm are 5 rows.
    assert set(rows) == set(range(3, 8))
    assert len(set(cols)) == 45


def test_a_threshold_in_the_strip_binds_one_line_of_the_floor_beside_it(walled):
    corners = box(500.0, 60.0, 1400.0, 90.0)
    bounds = bounds_of(survey_of(zone("fixed_height", corners, 2.0)), basis_of(walled), PRODUCT)
    rows, cols = np.nonzero((bounds.least_fill_mm == 2.0) & walled.inside)
    assert set(rows) == {3}
    # The threshold's 45 cells, and those that the widening takes at either end.
    assert 45 <= len(cols) <= 45 + 2 * 3


# Tiles


def tiles() -> tuple[np.ndarray, ...]:
    return tuple(
        np.array(box(300.0 * i, 300.0 * j, 300.0 * i + 300.0, 300.0 * j + 300.0)) for i in range(9) for j in range(6)
    )


def test_tiles_are_found_by_a_place_in_them_and_by_the_taps(floor):
    places = ((450.0, 750.0), (460.0, 720.0), (1950.0, 450.0))
    basis = basis_of(floor, tiles=tiles(), bad_taps=((1250.0, 1250.0),))
    survey = survey_of(Zone("remove_tiles", "cracked", None, places, 12.0), remove_hollow_mm=15.0)
    void = bounds_of(survey, basis, PRODUCT).void_mm
    expected = np.zeros(SHAPE, dtype=np.float32)
    for x, y, depth in ((300.0, 600.0, 12.0), (1800.0, 300.0, 12.0), (1200.0, 1200.0, 15.0)):
        expected[cells_of_zone(floor, shapely.box(x, y, x + 300.0, y + 300.0))] = depth
    np.testing.assert_array_equal(void, expected)
    assert (void > 0.0).sum() == 3 * 15 * 15
    assert bounds_of(survey_of(remove_hollow_mm=15.0), basis_of(floor), PRODUCT).void_mm.max() == 0.0


def test_tiles_that_are_not_there_are_told(floor):
    by_place = Zone("remove_tiles", "cracked", None, ((450.0, 750.0),), 12.0)
    with pytest.raises(
        InputError, match=r"survey.toml: 'cracked' are tiles, but no tiles were found on this floor\. Give"
    ):
        bounds_of(survey_of(by_place), basis_of(floor), PRODUCT)
    few = basis_of(floor, tiles=tiles()[:1], bad_taps=((1250.0, 1000.0),))
    with pytest.raises(InputError, match=r"'cracked': no tile was found 0\.45 m from the left wall, 0\.75 m from the"):
        bounds_of(survey_of(by_place), few, PRODUCT)
    with pytest.raises(InputError, match=f"'{HOLLOW_TILES}': no tile was found 1.25 m from the left wall, 1.00 m"):
        bounds_of(survey_of(remove_hollow_mm=14.0), few, PRODUCT)


# What cannot be


@pytest.mark.parametrize(
    "survey",
    [
        survey_of(zone("no_fill", box(4000.0, 0.0, 4500.0, 500.0), name="thing")),
        survey_of(doors=(Door("thing", ((500.0, -900.0), (1400.0, -900.0)), 3.0),)),
    ],
)
def test_what_lies_beside_the_floor_is_told_with_its_size(walled, survey):
    outline = np.array(box(-40.0, 60.0, -40.0 + WIDE_MM, 60.0 + DEEP_MM))
    with pytest.raises(InputError) as caught:
        bounds_of(survey, basis_of(replace(walled, outline=(outline,))), PRODUCT)
    assert str(caught.value) == (
        "survey.toml: 'thing' lies outside the judged floor; the floor is 2.9 m by 1.9 m with the 60 mm along its "
        "walls left out. Correct its places: metres from corner 0 of the map, x to the right, y up."
    )


def test_lines_beside_the_floor_are_told_by_number(floor):
    beside = ((0.0, 9000.0), (1000.0, 9000.0))
    across = ((0.0, 1000.0), (1000.0, 1000.0))
    with pytest.raises(InputError, match="'movement joint 2' lies outside"):
        bounds_of(survey_of(movement_joints_mm=(across, beside)), basis_of(floor), PRODUCT)
    with pytest.raises(InputError, match="'dam 1' lies outside"):
        bounds_of(survey_of(dams_mm=(beside,)), basis_of(floor), PRODUCT)


CORNERS = box(500.0, 500.0, 900.0, 800.0)
STEP = zone("fixed_height", CORNERS, 5.0, "step")


@pytest.mark.parametrize(
    ("survey", "says"),
    [
        (
            survey_of(STEP, zone("greatest_build_up", box(800.0, 400.0, 1500.0, 900.0), 3.0, "bay")),
            "'step' stands 5.0 mm above the old floor, but 'bay' allows 3.0 mm, and both hold 0.85 m from",
        ),
        (
            survey_of(STEP, greatest_build_up_mm=4.0),
            "'step' stands 5.0 mm above the old floor, but the whole floor may rise 4.0",
        ),
        (
            survey_of(STEP, doors=(Door("hall", ((500.0, 480.0), (900.0, 480.0)), 3.0),)),
            "'step' stands 5.0 mm above the old floor, but 'hall' allows 3.0 mm",
        ),
        (
            survey_of(STEP, zone("no_fill", CORNERS, name="drain")),
            "'step' stands 5.0 mm above the old floor, but 'drain' takes no",
        ),
        (
            survey_of(STEP, zone("fixed_height", CORNERS, 0.0, "sill")),
            "'step' stands 5.0 mm above the old floor, but 'sill' stays as high as the old floor, and both hold 0.69 m",
        ),
        (
            survey_of(zone("remove_tiles", CORNERS, 12.0, "cracked"), zone("no_fill", CORNERS, name="drain")),
            "'cracked' come out and leave a hole of 12.0 mm to fill, but 'drain' takes no compound, and both hold",
        ),
    ],
)
def test_rules_that_contradict_each_other_are_both_named_with_the_place(floor, survey, says):
    with pytest.raises(InputError) as caught:
        bounds_of(survey, basis_of(floor), PRODUCT)
    assert str(caught.value).startswith(f"survey.toml: {says}")
    assert str(caught.value).endswith(" m from the bottom wall. Change one of them, or draw them apart.")


def test_rules_that_only_lie_side_by_side_or_agree_are_kept(floor):
    # 1003 is no seam of the grid: two thin zones share the cells there, their shapes share none.
    low = zone("fixed_height", box(500.0, 1000.0, 900.0, 1003.0), 2.0, "low")
    high = zone("fixed_height", box(500.0, 1003.0, 900.0, 1006.0), 3.0, "high")
    bounds = bounds_of(survey_of(low, high), basis_of(floor), PRODUCT)
    assert set(np.unique(bounds.least_fill_mm)) == {0.0, 2.0}
    same = survey_of(STEP, replace(STEP, name="again"), greatest_build_up_mm=5.0)
    assert bounds_of(same, basis_of(floor), PRODUCT).least_fill_mm.max() == 5.0


# In words


def test_the_rule_that_is_missed_most_is_named_with_its_place(floor):
    survey = survey_of(
        zone("greatest_build_up", box(500.0, 500.0, 900.0, 800.0), 3.3, "bay"),
        zone("no_fill", box(1500.0, 500.0, 1600.0, 600.0), name="drain"),
        zone("fixed_height", box(2000.0, 500.0, 2100.0, 600.0), 1.0, "sill"),
        greatest_build_up_mm=8.0,
    )
    bounds = bounds_of(survey, basis_of(floor), PRODUCT)
    need = np.zeros(SHAPE)
    assert unmet_words(floor, bounds, need > bounds.most_fill_mm, need - bounds.most_fill_mm) == ""
    row, col = int((650.0 - ORIGIN_MM[1]) // CELL_MM), int((610.0 - ORIGIN_MM[0]) // CELL_MM)
    need[row, col] = 5.2
    need[0, 0] = np.nan

    def words() -> str:
        return unmet_words(floor, bounds, need > bounds.most_fill_mm, need - bounds.most_fill_mm)

    assert words() == "'bay' allows 3.3 mm and 5.2 mm is needed 0.61 m from the left wall, 0.65 m from the bottom wall"
    need[bounds.most_fill_mm == 0.0] = 0.5
    assert words().endswith("from the bottom wall; more than is allowed at 'drain' too")
    need[row, col] = 0.0
    assert words().startswith("'drain' takes no compound and 0.5 mm is needed 1.5")
    need[5, 5] = 9.0
    assert words().startswith("the whole floor may rise 8.0 mm and 9.0 mm is needed 0.07 m from the left wall, 0.17 m")
    need[bounds.least_fill_mm == 1.0] = 4.0
    assert words().startswith("'sill' stands 1.0 mm above the old floor and 4.0 mm is needed 2.0")


def test_a_door_beside_the_floor_is_refused_even_where_it_asks_for_nothing(walled) -> None:
    survey = survey_of(doors=(Door("far door", ((90_000.0, 0.0), (90_900.0, 0.0))),))
    with pytest.raises(InputError, match="far door"):
        bounds_of(survey, basis_of(walled), PRODUCT)
