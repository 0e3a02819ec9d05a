"""Which parts of a floor a pour fills by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.levelling.binding.bounds import free
from flatscan.levelling.pouring.regions import LEAST_REGION_MM2, OWN, regions_of

CELL_MM = 20.0


@pytest.fixture
def room(make_surface):
    """A surface whose floor is where ``inside`` says."""

    def made(inside: np.ndarray, cell_mm: float = CELL_MM):
        height = np.where(inside, 0.0, np.nan).astype(np.float32)
        return replace(
            make_surface(np.zeros(inside.shape), cell_mm=cell_mm), inside=inside, height_mm=height, estimate_mm=height
        )

    return made


def two_rooms(door_mm: float, *, wall_mm: float = 200.0, cell_mm: float = CELL_MM) -> np.ndarray:
    """Rooms of 3.6 x 4 m and 5 x 4 m, a wall between them with a door from 1 m up."""
    inside = np.zeros((round(4000 / cell_mm), round((8600 + wall_mm) / cell_mm)), dtype=bool)
    left, right = round(3600 / cell_mm), round((3600 + wall_mm) / cell_mm)
    inside[:, :left] = inside[:, right:] = True
    inside[round(1000 / cell_mm) : round((1000 + door_mm) / cell_mm)] = True
    return inside


@pytest.mark.parametrize("cell_mm", [5.0, 20.0, 50.0])
@pytest.mark.parametrize("door_mm", [700.0, 1100.0])
def test_a_doorway_parts_two_rooms(room, door_mm, cell_mm):
    """The parts share the floor to within the doorway itself, whatever the grid."""
    inside = two_rooms(door_mm, cell_mm=cell_mm)
    regions = regions_of(room(inside, cell_mm), free(room(inside, cell_mm)))
    assert regions.count == 2
    assert regions.whole.tolist() == [0, 1, 1]
    assert regions.necks == ((1, 2),)
    np.testing.assert_array_equal(regions.label > 0, inside)
    areas_m2 = np.bincount(regions.label.ravel(), minlength=3)[1:] * cell_mm**2 / 1e6
    assert areas_m2[0] == pytest.approx(3.6 * 4.0 + 0.1 * door_mm / 1000, abs=0.11 * door_mm / 1000)
    # The line between them is straight across: no cell of a room on the other side of the wall.
    assert (regions.label[:, : round(3600 / cell_mm) - 1] == 1).all()
    assert (regions.label[:, -round(4900 / cell_mm) :] == 2).all()


def turned(inside_at, turn: float, cell_mm: float = CELL_MM) -> np.ndarray:
    """A plan given as a function of (x, y) mm, turned about the middle of a 10 x 10 m grid."""
    n = round(10_000 / cell_mm)
    y, x = (np.indices((n, n)) + 0.5) * cell_mm - 5000.0
    return inside_at(x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn))


@pytest.mark.parametrize("turn", [0.0, 0.3, 0.785])
def test_a_doorway_is_found_in_a_turned_room(room, turn):
    inside = turned(lambda u, v: (abs(u) < 3500) & (abs(v) < 2000) & ((abs(u - 300) > 60) | (abs(v - 500) < 420)), turn)
    regions = regions_of(room(inside), free(room(inside)))
    areas_m2 = np.sort(np.bincount(regions.label.ravel())[1:]) * CELL_MM**2 / 1e6
    # 3.8 m and 3.2 m by 4 m, less the wall; the doorway may fall to either, and a slanting cut takes a little more.
    assert areas_m2 == pytest.approx([(3.2 - 0.06) * 4.0, (3.8 - 0.06) * 4.0], abs=0.15)


@pytest.mark.parametrize("turn", [0.0, 0.5])
@pytest.mark.parametrize(
    "plan",
    [
        lambda u, v: (abs(u) < 3500) & (abs(v) < 2000),
        # a pillar, with 1 m to the nearest wall
        lambda u, v: (abs(u) < 3500) & (abs(v) < 2000) & ((abs(u) > 200) | (abs(v - 800) > 200)),
        # an L
        lambda u, v: (abs(u) < 3500) & (abs(v) < 3500) & ((u < -1000) | (v < -1000)),
        # a passage 1 m wide that opens into a room as wide as itself goes in: nothing is narrower than the passage
        lambda u, v: (abs(v) < 500) & (abs(u) < 4000) | ((u > 1000) & (abs(u) < 4000) & (abs(v) < 2500)),
        # an opening of 1.5 m
        lambda u, v: (abs(u) < 3500) & (abs(v) < 2000) & ((abs(u) > 60) | (abs(v) < 750)),
        # a niche too small to be dammed off
        lambda u, v: (
            (abs(u) < 2000) & (abs(v) < 2000)
            | ((abs(u - 2700) < 400) & (v > 500) & (v < 1300))
            | ((abs(u - 2200) < 300) & (abs(v - 900) < 250))
        ),
    ],
    ids=["plain", "pillar", "L", "passage", "wide opening", "niche"],
)
def test_what_is_not_a_doorway_parts_nothing(room, plan, turn):
    inside = turned(plan, turn)
    assert regions_of(room(inside), free(room(inside))).count == 1


def test_rooms_off_a_corridor_are_parts(room):
    """Three rooms along a corridor of 1.25 m, doors of 0.8 m: four parts, three necks, all with the corridor."""
    inside = np.zeros((190, 450), dtype=bool)
    inside[:120, :145] = inside[:120, 150:295] = inside[:120, 300:] = inside[127:, :] = True
    for col in (50, 200, 350):
        inside[115:130, col : col + 40] = True
    regions = regions_of(room(inside), free(room(inside)))
    corridor = int(regions.label[160, 225])
    assert regions.count == 4
    assert len(regions.necks) == 3
    assert all(corridor in pair for pair in regions.necks)


def test_a_dam_parts_and_its_own_cells_go_to_the_nearest_side(room):
    inside = np.ones((90, 130), dtype=bool)
    dams = np.zeros_like(inside)
    dams[:, 50:53] = True
    bounds = replace(free(room(inside)), dams=dams)
    regions = regions_of(room(inside), bounds)
    assert regions.count == 2
    assert regions.whole.tolist() == [0, 1, 2]
    assert regions.necks == ()
    assert (regions.label[:, :51] == 1).all()
    assert (regions.label[:, 52:] == 2).all()
    assert (regions.label > 0).all()


def test_a_dam_in_a_movement_joint_keeps_its_cells_empty(room):
    inside = np.ones((90, 130), dtype=bool)
    joint = np.zeros_like(inside)
    joint[40:42, :] = True
    regions = regions_of(room(inside), replace(free(room(inside)), dams=joint, blocked=joint.copy()))
    np.testing.assert_array_equal(regions.label == 0, joint)
    assert regions.count == 2


def test_zones_of_their_own_height_are_no_part(room):
    inside = np.ones((90, 130), dtype=bool)
    zones = [np.zeros_like(inside) for _ in range(3)]
    zones[0][10:20, 10:20] = zones[1][40:50, 60:80] = zones[2][70:80, 100:110] = True
    plain = free(room(inside))
    least, most = plain.least_fill_mm.copy(), plain.most_fill_mm.copy()
    most[zones[0]] = 0.0  # nothing may be filled
    least[zones[1]] = most[zones[1]] = 4.0  # fixed
    bounds = replace(plain, least_fill_mm=least, most_fill_mm=most, keeps_slope=zones[2])
    regions = regions_of(room(inside), bounds)
    np.testing.assert_array_equal(regions.label == OWN, zones[0] | zones[1] | zones[2])
    assert regions.count == 1


def test_slivers_beside_a_slanting_dam_go_with_their_neighbour_and_a_lone_nook_stays(room):
    inside = np.ones((90, 130), dtype=bool)
    inside[:, 100:] = False
    inside[3:6, 110:113] = True  # 6 cm square, behind a wall
    dams = np.zeros_like(inside)
    dams[20, :] = dams[20:, 30] = True
    dams[22:26, 31:35] = True
    dams[23:25, 32:34] = False  # four cells walled in by dams
    regions = regions_of(room(inside), replace(free(room(inside)), dams=dams))
    assert regions.count == 4
    nook = regions.label[4, 111]
    assert (regions.label == nook).sum() == 9
    assert 9 * CELL_MM**2 < LEAST_REGION_MM2
    assert regions.label[23, 32] == regions.label[60, 60]


@given(seed=st.integers(0, 2**32 - 1), walls=st.integers(0, 6), dams=st.integers(0, 4))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_cell_of_floor_is_in_one_part_that_is_connected_without_dams(room, seed, walls, dams):
    """Random walls and dams: nothing is lost, and no part crosses a wall."""
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    inside, dam = np.ones((110, 160), dtype=bool), np.zeros((110, 160), dtype=bool)
    for mask, value, count in ((inside, False, walls), (dam, True, dams)):
        for _ in range(count):
            row, col = rng.integers(0, 110), rng.integers(0, 160)
            if rng.random() < 0.5:
                mask[row : row + 3, col : col + rng.integers(20, 160)] = value
            else:
                mask[row : row + rng.integers(20, 110), col : col + 3] = value
    regions = regions_of(room(inside), replace(free(room(inside)), dams=dam))
    assert not (regions.label[~inside]).any()
    connected, _ = ndimage.label(inside)
    # A bit of floor that is dam all over touches no part and takes none; all other floor does.
    for piece in np.unique(connected[inside]):
        here = connected == piece
        assert (regions.label[here] > 0).all() or (dam[here].all() and (regions.label[here] == 0).all())
    for part in range(1, regions.count + 1):
        assert len(np.unique(connected[regions.label == part])) == 1
    assert set(np.unique(regions.label[regions.label > 0])) == set(range(1, regions.count + 1))
