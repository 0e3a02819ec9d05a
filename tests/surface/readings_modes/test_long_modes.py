"""Which bends of room size hand readings show: facts about layouts, whatever the prior's strength."""

from __future__ import annotations

import numpy as np
import pytest

from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.field_readings import Bar, FieldReadings, LevelReading, Placement, StepLine
from flatscan.surface.readings.build import surface_from_readings
from flatscan.surface.readings.long_bends import departures_mm, long_fields, prior_amplitude_mm, with_bends
from flatscan.surface.readings.modes import bend_caveats, long_modes
from flatscan.surface.readings.nodes import lay_nodes
from flatscan.surface.readings.normal import normal
from flatscan.surface.readings.observations import observe
from flatscan.surface.readings.prior import thin_plate

BAR = Bar("2 m", 2000.0, 0.5, 0.2, 0.1)
WIDE, DEEP = 5000.0, 4000.0
OUTLINE = np.array([[0.0, 0.0], [WIDE, 0.0], [WIDE, DEEP], [0.0, DEEP]])
L_SHAPE = np.array([[0.0, 0.0], [WIDE, 0.0], [WIDE, 2000.0], [2600.0, 2000.0], [2600.0, DEEP], [0.0, DEEP]])
CORNERS = [(300.0, 300.0), (4700.0, 300.0), (4700.0, 3700.0), (300.0, 3700.0)]
CELL = 200.0


def flat(xy):
    return np.zeros(xy.shape[:-1])


def twist(xy):
    """1.5 mm for each metre both ways."""
    return 1.5e-6 * (xy[..., 0] - WIDE / 2) * (xy[..., 1] - DEEP / 2)


def bar_at(start, end, floor, number, rng=None):
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    at = np.linspace(0.0, length, 9)
    line = Placement(number, str(number), start, end, "line", at, np.zeros(9), np.zeros(9, bool), np.full(9, 0.25), BAR)
    height = floor(line.xy_mm(at))
    noise = np.zeros(9) if rng is None else rng.normal(0.0, 0.25, 9)
    gap = height.max() + 2.0 - height + noise
    return Placement(number, str(number), start, end, "line", at, gap, np.zeros(9, bool), np.full(9, 0.25), BAR)


def rows(floor, *, along_x=True, along_y=True, rng=None):
    """Rows 1 m apart, each of three placements that overlap."""
    found = []
    if along_x:
        for y in np.arange(500.0, DEEP, 1000.0):
            found += [((x, y), (x + 2000.0, y)) for x in (0.0, 1500.0, 3000.0)]
    if along_y:
        for x in np.arange(500.0, WIDE, 1000.0):
            found += [((x, y), (x, y + 2000.0)) for y in (0.0, 1000.0, 2000.0)]
    return [bar_at(a, b, floor, 1 + k, rng) for k, (a, b) in enumerate(found)]


def diagonals(floor, rng=None):
    found = []
    for a, b in (((100.0, 100.0), (4900.0, 3900.0)), ((100.0, 3900.0), (4900.0, 100.0))):
        length = np.hypot(b[0] - a[0], b[1] - a[1])
        along = np.subtract(b, a) / length
        starts = [np.add(a, s * along) for s in np.linspace(0.0, length - 2000.0, 5)]
        found += [(tuple(p), tuple(p + 2000.0 * along)) for p in starts]
    return [bar_at(a, b, floor, 100 + k, rng) for k, (a, b) in enumerate(found)]


def staff(floor, places):
    return [LevelReading(200 + k, f"s{k}", p, float(floor(np.array([p]))[0]), 0.4) for k, p in enumerate(places)]


def readings(placements=(), levels=(), outline=OUTLINE, steps=()):
    return FieldReadings((), placements=tuple(placements), levels=tuple(levels), outline=outline, steps=steps)


def modes_of(field, kappa=1e-3):
    nodes = lay_nodes(field.outline, cell_mm=CELL)
    found = long_modes(nodes, observe(field, nodes), thin_plate(nodes, field.steps), kappa=kappa)
    return {mode.name: mode for mode in found}


KAPPAS = (2.5e-5, 1e-3, 5e-2)


@pytest.mark.parametrize("kappa", KAPPAS)
def test_crossed_rows_cannot_see_twist_whatever_the_smoothness(kappa):
    # x*y is straight along every row and column: each bar takes it for its own height and rise.
    found = modes_of(readings(rows(flat)), kappa)
    assert [name for name, mode in found.items() if not mode.seen] == ["twist"]
    assert found["twist"].sd_mm > 0.8 * found["twist"].prior_sd_mm
    assert "diagonals" in found["twist"].cure or "corners" in found["twist"].cure


@pytest.mark.parametrize("kappa", KAPPAS)
def test_diagonals_or_four_corner_heights_show_twist(kappa):
    assert all(mode.seen for mode in modes_of(readings(rows(flat) + diagonals(flat)), kappa).values())
    assert all(mode.seen for mode in modes_of(readings(rows(flat), staff(flat, CORNERS)), kappa).values())


@pytest.mark.parametrize("kappa", KAPPAS)
def test_rows_in_one_direction_see_no_bend_across_them(kappa):
    found = modes_of(readings(rows(flat, along_y=False)), kappa)
    unseen = {name for name, mode in found.items() if not mode.seen}
    assert {"twist", "bow along y", "S-shaped bend along y"} <= unseen
    assert "bow along x" not in unseen
    turned = modes_of(readings(rows(flat, along_x=False)), kappa)
    assert not turned["bow along x"].seen
    assert turned["bow along y"].seen


def test_four_corner_heights_alone_see_the_twist_and_no_bow():
    found = modes_of(readings(levels=staff(flat, CORNERS)))
    assert found["twist"].seen
    assert not found["bow along x"].seen
    assert not found["bow along y"].seen


def test_rows_laid_askew_take_another_bend_for_a_plane():
    # Along both diagonals x² - y² is straight (here the room is square); x·y is not.
    square = np.array([[0.0, 0.0], [4000.0, 0.0], [4000.0, 4000.0], [0.0, 4000.0]])
    askew = []
    for shift in (-1400.0, -700.0, 0.0, 700.0, 1400.0):
        for sign in (1.0, -1.0):
            middle = np.array([2000.0, 2000.0]) + 0.5 * shift * np.array([1.0, -sign])
            along = 1000.0 / np.sqrt(2.0) * np.array([1.0, sign])
            askew.append(bar_at(tuple(middle - along), tuple(middle + along), flat, len(askew) + 1))
    found = modes_of(readings(askew, outline=square))
    assert not found["bow along x"].seen
    assert not found["bow along y"].seen


def test_the_cure_cures():
    field = readings(rows(flat))
    before = modes_of(field)["twist"]
    assert "diagonals" in before.cure
    assert modes_of(readings(rows(flat) + diagonals(flat)))["twist"].seen
    one_way = readings(rows(flat, along_y=False))
    assert "along y" in modes_of(one_way)["bow along y"].cure
    middle = [bar_at((2500.0, y), (2500.0, y + 2000.0), flat, 300 + int(y)) for y in (0.0, 1000.0, 2000.0)]
    assert modes_of(readings(rows(flat, along_y=False) + middle))["bow along y"].seen


def test_a_step_across_the_room_does_not_make_the_twist_look_seen():
    step = (StepLine(9, (2500.0, -100.0), (2500.0, DEEP + 100.0)),)
    assert not modes_of(readings(rows(flat), steps=step))["twist"].seen


@pytest.mark.parametrize("outline", [OUTLINE, L_SHAPE], ids=["rectangle", "L"])
def test_bends_are_orthonormal_and_free_of_the_plane(outline):
    nodes = lay_nodes(outline, cell_mm=CELL)
    fields = np.stack(list(long_fields(nodes).values()))
    assert len(fields) == 7
    # Sums of a few hundred products of numbers near 1.
    np.testing.assert_allclose(fields @ fields.T / nodes.count, np.eye(7), atol=1e-12)
    plane = np.column_stack([np.ones(nodes.count), nodes.xy_mm / 1000.0])
    np.testing.assert_allclose(fields @ plane / nodes.count, 0.0, atol=1e-12)


def test_a_bow_has_its_closed_form():
    # x² over [-1, 1] less its mean 1/3 has mean square 4/45: at the walls (1 - 1/3) / √(4/45) = √5. Nodes stand half a
    # cell from the walls; the midpoint rule with 20 cells is off by less than 1 %.
    nodes = lay_nodes(np.array([[0, 0], [8000.0, 0], [8000.0, 400.0], [0, 400.0]]), cell_mm=100.0)
    bow = long_fields(nodes)["bow along x"]
    x = (nodes.xy_mm[:, 0] - 4000.0) / 4000.0
    np.testing.assert_allclose(bow, (x**2 - 1 / 3) / np.sqrt(4 / 45), atol=0.01)


def test_variances_agree_with_a_dense_twin_that_knows_no_trick():
    field = readings(rows(flat)[::3], staff(flat, [(1000.0, 900.0), (4000.0, 1100.0), (2500.0, 3500.0)]))
    kappa = 2e-3
    nodes = lay_nodes(OUTLINE, cell_mm=400.0)
    observations, plate = observe(field, nodes), thin_plate(nodes)
    found = long_modes(nodes, observations, plate, kappa=kappa)
    fields = np.stack(list(long_fields(nodes).values()), axis=1)
    sd = departures_mm(long_fields(nodes), nodes)
    # Twin: covariances written out. Floor = plate (planes free) + bends, unknown lines of bars as huge variances.
    xy = nodes.xy_mm / 1000.0
    plane = np.column_stack([np.ones(nodes.count), xy - xy.mean(axis=0)])
    energy = (plate.T @ plate).toarray() / kappa**2
    floor = np.linalg.pinv(energy, rcond=1e-11, hermitian=True) + fields * sd**2 @ fields.T
    design = observations.design.toarray()
    a, t = design[:, : nodes.count], design[:, nodes.count :]
    others = np.where(np.isfinite(observations.nuisance_sigma_mm), observations.nuisance_sigma_mm, 0.0)
    loose = np.column_stack([t[:, ~np.isfinite(observations.nuisance_sigma_mm)], a @ plane])
    u, s, _ = np.linalg.svd(loose)
    blind = u[:, int(np.sum(s > 1e-9 * s[0])) :]
    read = a @ floor @ a.T + t * others**2 @ t.T + np.diag(observations.sigma_mm**2)
    rows_ = (fields / nodes.count).T
    shared = rows_ @ floor @ a.T @ blind
    after = rows_ @ floor @ rows_.T - shared @ np.linalg.solve(blind.T @ read @ blind, shared.T)
    # The package's weak anchor (1 m for each node) takes a share n·s²/1 m² of a variance: 1e-3 at most here.
    np.testing.assert_allclose([m.sd_mm for m in found], np.sqrt(np.diag(after)), rtol=5e-3)
    before = np.sqrt(np.diag(rows_ @ floor @ rows_.T))
    np.testing.assert_allclose([m.prior_sd_mm for m in found], before, rtol=5e-3)


def test_without_departures_the_plate_stands_alone():
    nodes = lay_nodes(OUTLINE, cell_mm=400.0)
    observations, plate = observe(readings(rows(flat)), nodes), thin_plate(nodes)
    same, prior = with_bends(observations, plate, nodes, departure_mm=0.0)
    assert same is observations
    assert prior is plate
    shapes = np.stack(list(long_fields(nodes).values()), axis=1)
    alone = prior_amplitude_mm(plate, shapes, kappa=1e-4, departure_mm=np.zeros(7))
    both = prior_amplitude_mm(plate, shapes, kappa=1e-4, departure_mm=np.full(7, 3.0))
    np.testing.assert_allclose(both**2 - alone**2, 9.0, rtol=1e-9)


def test_bends_among_the_unknowns_hold_a_twist_that_the_plate_alone_flattens():
    # Heights at every half metre, with a plate too stiff for the twist: what it takes off the corners is handed back.
    places = [(x, y) for x in np.arange(100.0, WIDE, 480.0) for y in np.arange(100.0, DEEP, 475.0)]
    levels = staff(twist, places)
    nodes = lay_nodes(OUTLINE, cell_mm=CELL)
    observations, plate = observe(readings(levels=levels), nodes), thin_plate(nodes)
    more, prior = with_bends(observations, plate, nodes)
    scaled = observations.value_mm / observations.sigma_mm
    truth = twist(nodes.xy_mm)
    off = [
        np.abs(normal(o, p, 1e-4).mean(scaled)[: nodes.count] - truth).max()
        for o, p in ((observations, plate), (more, prior))
    ]
    assert off[0] > 1.0
    assert off[1] < 0.1


def test_caveats_gather_bends_by_their_cure():
    found = modes_of(readings(levels=staff(flat, CORNERS)))
    rows_ = bend_caveats(tuple(found.values()))
    assert {row.name for row in rows_} == {"bend_not_seen"}
    cures = {mode.cure for mode in found.values() if not mode.seen}
    assert len(rows_) == len(cures)
    assert bend_caveats(tuple(mode for mode in found.values() if mode.seen)) == ()


def surface_of(field, seed=0):
    settings = SurfaceSettings(cell_mm=CELL, realisations=100)
    surface = surface_from_readings(field, settings, rng=np.random.default_rng(seed))
    row, col = np.nonzero(surface.inside)
    xy = (np.column_stack([col, row]) + 0.5) * surface.cell_mm + surface.origin_mm
    return surface, surface.estimate_mm[surface.inside] - twist(xy), surface.white_mm[surface.inside]


def test_a_twisted_floor_read_by_crossed_rows_warns_and_stays_in_doubt():
    surface, error, sd = surface_of(readings(rows(twist, rng=np.random.default_rng(1))))
    warned = [row for row in surface.caveats if row.name == "bend_not_seen"]
    assert len(warned) == 1
    assert "twist" in warned[0].text
    assert "diagonals" in warned[0].advice
    # The readings say nothing of it: the whole twist is the error (rms 1.5e-6 · 5000 · 4000 / 12 = 2.5 mm), and the
    # stated doubt covers it.
    assert np.sqrt(np.mean(error**2)) == pytest.approx(2.5, abs=0.2)
    assert np.mean(np.abs(error) < 1.96 * sd) > 0.95


def test_with_diagonals_the_twist_is_recovered():
    squares, stated = [], []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        surface, error, sd = surface_of(readings(rows(twist, rng=rng) + diagonals(twist, rng)))
        assert not [row for row in surface.caveats if row.name == "bend_not_seen"]
        squares.append(np.mean(error**2))
        stated.append(np.mean(sd**2))
    # One reading is good to 0.25 mm, and four floors scatter: rms over all of them.
    assert np.sqrt(np.mean(squares)) < 0.5
    assert np.sqrt(np.mean(stated)) < 0.6


def test_a_true_twist_makes_no_sound_reading_stand_out():
    # Found with the thin plate alone: its strength was learnt from rows that see no twist, and heights at the corners
    # then looked like slips of the pen.
    rng = np.random.default_rng(4)
    surface, error, _ = surface_of(readings(rows(twist, rng=rng), staff(twist, CORNERS)))
    assert not [row for row in surface.caveats if row.name == "reading_stands_out"]
    assert np.sqrt(np.mean(error**2)) < 0.5
