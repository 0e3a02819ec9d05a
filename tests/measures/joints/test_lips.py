"""Lips from height samples against floors whose lips are known exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.measures.joints.lips.measure import measure_lips
from flatscan.measures.joints.lips.noise_fit import OTHER_NOISE, PairCells, fit_noise
from flatscan.measures.joints.lips.noise_kernel import tridiagonal, weighed
from flatscan.measures.joints.lips.plane_pair import fit_pair
from flatscan.measures.joints.network import JointPiece
from flatscan.measures.joints.stations import stations_along

STATION_MM = 50.0


def measured(lip_floors, floor, scan, network, transform=None):
    surface = lip_floors.surface_of(floor, scan.kind, transform=transform)
    return measure_lips(scan, surface, network, stations_along(network, STATION_MM))


@pytest.fixture(scope="module")
def floor(lip_floors):
    """Odd on purpose: oblong room, oblong tiles in half bond, waves."""
    return lip_floors.tiled_floor(np.random.default_rng(2), (1300.0, 1000.0), size_mm=(330.0, 240.0), bond="half")


@pytest.fixture(scope="module")
def truth(lip_floors, floor):
    return lip_floors.true_network(floor)


@pytest.fixture(scope="module")
def ideal(lip_floors, floor):
    return lip_floors.ideal_scan(floor, np.random.default_rng(3))


@pytest.fixture(scope="module")
def lips(lip_floors, floor, truth, ideal):
    return measured(lip_floors, floor, ideal, truth.network)


def test_without_noise_lips_are_exact(lip_floors):
    # Faces are planes on a flat floor, so the fit is exact. Samples are float32: 1e-4 mm at 1 m. The bow's prior
    # pulls at nothing, for there is no residual.
    rng = np.random.default_rng(5)
    floor = lip_floors.tiled_floor(rng, (1300.0, 1000.0), waves=0.0, size_mm=(330.0, 240.0), bond="third")
    truth = lip_floors.true_network(floor)
    found = measured(lip_floors, floor, lip_floors.ideal_scan(floor, rng), truth.network)
    seen = np.isfinite(found.line[:, 0])
    # Tiles cut at the walls may show too little.
    assert seen.mean() > 0.9
    assert np.abs(found.line[seen, 0] - truth.lip[seen]).max() < 2e-3
    # A slope is known over some 100 mm: 2e-3 / 100.
    assert np.abs(found.line[seen, 1] - truth.slope[seen]).max() < 5e-5


def test_waves_of_the_floor_are_no_lips(lip_floors):
    # A wave of rms 1 mm and 2.5 m: curvature up to 2 · 1 mm · (2 pi / 2500)² = 1.3e-5 / mm. Bands alike cancel it. Cut
    # tiles make bands unlike: a line through 8 to 110 mm extrapolates kappa v²/2 wrong by kappa · 13 · 81 / 2 ...
    # kappa · 50 · 90 / 2, so a pair of unlike bands by less than 1.3e-5 · 4500 / 2 = 0.03 mm.
    rng = np.random.default_rng(6)
    floor = lip_floors.tiled_floor(rng, (1300.0, 1000.0), lip_sd_mm=0.0, tilt_sd_mm_per_m=0.0)
    truth = lip_floors.true_network(floor)
    found = measured(lip_floors, floor, lip_floors.ideal_scan(floor, rng), truth.network)
    assert np.nanmax(np.abs(found.line[:, 0])) < 0.03


def test_turning_a_piece_turns_the_sign(lip_floors, floor, truth, ideal, lips):
    back = measured(lip_floors, floor, ideal, lip_floors.turned_round(truth.network))
    # Cells are cut from the other end, which the noise-free planes feel by their waves only.
    np.testing.assert_allclose(back.line[:, 0], -lips.line[:, 0], atol=0.01)
    # Slope: lip per way, and both turn.
    np.testing.assert_allclose(back.line[:, 1], lips.line[:, 1], atol=2e-4)


def test_a_tilted_and_lifted_floor_has_the_same_lips(lip_floors, floor, truth, ideal, lips):
    # 20 mm per m about both axes and an offset; floor_from_scan undoes none of the tilt that is left of 4 mm per m.
    tilt = np.array([[1, 0, 0], [0, 1, 0], [-0.004, 0.003, 1.0]])
    moved = replace(ideal, points_mm=(ideal.points_mm.astype(np.float64) @ tilt.T + [0, 0, 2.0]).astype(np.float32))
    found = measured(lip_floors, floor, moved, truth.network)
    # A sheared sample moves by no more than float32 rounding; the trimming may choose otherwise.
    np.testing.assert_allclose(found.line[:, 0], lips.line[:, 0], atol=5e-3)


def test_map_coordinates_keep_their_millimetres(lip_floors, floor, truth, ideal, lips):
    far = np.array([4.1e6, -7.3e5, 2.0e5])
    back = np.eye(4)
    back[:3, 3] = -far
    found = measured(lip_floors, floor, replace(ideal, origin_mm=far), truth.network, back)
    np.testing.assert_allclose(found.line[:, 0], lips.line[:, 0], atol=1e-3)


def test_stations_lie_on_their_piece_s_line(truth, lips):
    stations = stations_along(truth.network, STATION_MM)
    length = np.array([piece.length_mm for piece in truth.network.pieces])[stations.piece]
    line = lips.line[stations.piece]
    np.testing.assert_allclose(lips.lip_mm, line[:, 0] + line[:, 1] * (stations.along_mm - length / 2.0))
    np.testing.assert_allclose(lips.u_mm**2, sum(part**2 for part in lips.budget.values()))


def test_strays_do_not_move_a_lip(lip_floors, floor, truth, ideal, lips):
    rng = np.random.default_rng(7)
    points = ideal.points_mm.copy()
    points[rng.random(len(points)) < 0.05, 2] += 12.0
    found = measured(lip_floors, floor, replace(ideal, points_mm=points), truth.network)
    assert np.nanmax(np.abs(found.line[:, 0] - lips.line[:, 0])) < 0.02


def test_a_face_not_closed_still_gives_its_lips(lip_floors, floor, truth, ideal, lips):
    # Every third face is taken for open: its ring is gone, its pieces know no face there.
    kept = [k for k in range(len(truth.network.faces)) if k % 3]
    number = {k: i for i, k in enumerate(kept)}
    pieces = tuple(
        JointPiece(p.start, p.end, (number.get(p.faces[0]), number.get(p.faces[1])), 1.0) for p in truth.network.pieces
    )
    network = replace(truth.network, pieces=pieces, faces=tuple(truth.network.faces[k] for k in kept))
    found = measured(lip_floors, floor, ideal, network)
    open_side = np.array([None in p.faces for p in pieces])
    both = np.isfinite(found.line[:, 0]) & np.isfinite(lips.line[:, 0])
    assert open_side.mean() > 0.4
    assert both[open_side].mean() > 0.9
    assert np.abs(found.line[both, 0] - lips.line[both, 0]).max() < 0.02


def test_a_piece_without_samples_on_one_side_is_refused(lip_floors, floor, truth, ideal):
    keep = ideal.points_mm[:, 0] < 600.0
    found = measured(lip_floors, floor, replace(ideal, points_mm=ideal.points_mm[keep].copy()), truth.network)
    beyond = np.array([min(p.start[0], p.end[0]) > 650.0 for p in truth.network.pieces])
    assert np.isnan(found.line[beyond]).all()
    stations = stations_along(truth.network, STATION_MM)
    assert {found.refused[k] for k in np.flatnonzero(beyond[stations.piece])} == {"too_few_heights"}


def test_where_the_floor_is_not_known_no_sample_counts(lip_floors, floor, truth, ideal):
    """Skirting strips and things on the floor are unknown floor; a wall's smeared foot made lips of 10 mm."""
    raised = ideal.points_mm.copy()
    raised[raised[:, 1] < 120.0, 2] += 15.0
    scan, stations = replace(ideal, points_mm=raised), stations_along(truth.network, STATION_MM)
    surface = lip_floors.surface_of(floor, "cloud")
    height = surface.height_mm.copy()
    height[:6] = np.nan
    known = replace(surface, height_mm=height, inside=np.isfinite(height))
    found = measure_lips(scan, known, truth.network, stations)
    seen = np.isfinite(found.line[:, 0])
    assert np.abs(found.line[seen, 0] - truth.lip[seen]).max() < 0.06


@pytest.mark.parametrize("correlated_mm", [0.0, 0.8])
def test_plane_pair_agrees_with_a_plain_generalised_least_squares(correlated_mm):
    """Against numpy's lstsq on whitened heights, the covariances written out cell by cell."""
    rng = np.random.default_rng(8)
    left, n, size, length = 23, 50, 12.0, 30.0
    cells = np.column_stack(
        [
            rng.uniform(-150, 150, n),
            np.where(np.arange(n) < left, 1, -1) * rng.uniform(10, 110, n),
            rng.normal(0, 1, n),
            rng.integers(3, 9, n).astype(float),
        ]
    )
    total = np.zeros((n, n))
    for i in range(n):
        for j in range(n):
            (ui, vi), (uj, vj) = cells[i, :2], cells[j, :2]
            wide2 = length**2 + size**2 / 6
            field = correlated_mm**2 * length**2 / wide2
            total[i, j] += field * np.exp(-((ui - uj) ** 2 + (vi - vj) ** 2) / 2 / wide2)
            bow = ui**2 * uj**2 / 4 + ui * vi * uj * vj + vi**2 * vj**2 / 4
            total[i, j] += bow * (1e-10 + (4e-10 if (i < left) == (j < left) else 0.0))
        total[i, i] += 0.5**2 / cells[i, 3] + 0.01**2
    design = np.zeros((n, 6))
    for i in range(n):
        design[i, 0 if i < left else 3] = 1
        design[i, 1 if i < left else 4] = cells[i, 0]
        design[i, 2 if i < left else 5] = cells[i, 1]
    white = np.linalg.inv(np.linalg.cholesky(total))
    planes = np.linalg.lstsq(white @ design, white @ cells[:, 2], rcond=None)[0]
    covariance = np.linalg.inv((white @ design).T @ (white @ design))
    reader = np.array([[1, 0, 0, -1, 0, 0], [0, 1, 0, 0, -1, 0]])
    row = fit_pair(cells, left, size, 0.5**2, correlated_mm**2, length, 1e-10, 4e-10)
    np.testing.assert_allclose(row[:2], reader @ planes, rtol=1e-6)
    parts = row[2:14].reshape(4, 3).sum(axis=0)
    expected = reader @ covariance @ reader.T
    np.testing.assert_allclose(parts, [expected[0, 0], expected[0, 1], expected[1, 1]], rtol=1e-6)


def test_one_phone_frame_at_a_metre_cannot_tell_a_millimetre(lip_floors):
    # SENSORS of the sensor model: typical phone, 1 m, one frame: u = 2.2 mm.
    rng = np.random.default_rng(9)
    floor = lip_floors.tiled_floor(rng, (1300.0, 1000.0))
    truth = lip_floors.true_network(floor)
    scan = lip_floors.captured("phone, one frame at 1 m", floor, rng)
    found = measured(lip_floors, floor, scan, truth.network)
    u = np.sqrt(found.line_cov[np.isfinite(found.line[:, 0]), 0, 0])
    assert len(u) > 5
    assert 1.0 < np.median(u) < 4.0


def test_a_phone_held_still_is_one_view(lip_floors):
    rng = np.random.default_rng(10)
    floor = lip_floors.tiled_floor(rng, (900.0, 700.0))
    truth = lip_floors.true_network(floor)
    one = lip_floors.captured("phone, one frame at 1 m", floor, rng)
    count = 6
    still = replace(
        one,
        points_mm=np.tile(one.points_mm, (count, 1)),
        view_of_point=np.repeat(np.arange(count, dtype=np.uint16), len(one.points_mm)),
        viewpoints_mm=np.tile(one.viewpoints_mm, (count, 1)),
        frames=one.frames * count,
    )
    single = measured(lip_floors, floor, one, truth.network)
    many = measured(lip_floors, floor, still, truth.network)
    assert many.views.max() == 1
    # The white part may fall, the shared part may not.
    assert np.nanmedian(many.u_mm / single.u_mm) > 0.7


def test_weighed_contrasts_agree_with_dense_algebra():
    """Restricted likelihood's two sums against numpy on the null space of the design."""
    rng = np.random.default_rng(15)
    n, p, ratio = 31, 7, 0.7
    design = rng.normal(size=(n, p))
    half = rng.normal(size=(n, n))
    field, height = half @ half.T / n, rng.normal(size=n)
    free = np.linalg.qr(design, mode="complete")[0][:, p:]
    dense = np.eye(n - p) + ratio * free.T @ field @ free
    seen = free.T @ height
    log, square = weighed(tridiagonal(design.copy(), field.copy(), height.copy()), ratio)
    assert log == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9)
    assert square == pytest.approx(seen @ np.linalg.solve(dense, seen), rel=1e-9)


def test_noise_of_a_sample_is_read_back():
    """Cells simulated with known noise: white 0.6 of 4 samples each, correlated 0.5 over 35 mm."""
    rng = np.random.default_rng(16)
    pairs = []
    u, v = np.meshgrid(np.arange(-140.0, 141.0, 20.0), np.arange(15.0, 110.0, 20.0))
    for _ in range(24):
        place = np.column_stack([np.tile(u.ravel(), 2), np.concatenate([v.ravel(), -v.ravel()])])
        apart = np.linalg.norm(place[:, None] - place[None, :], axis=2)
        field = 0.25 * np.exp(-0.5 * (apart / 35.0) ** 2) + 1e-9 * np.eye(len(place))
        noise = np.linalg.cholesky(field) @ rng.normal(size=len(place)) + 0.3 * rng.normal(size=len(place))
        cells = np.column_stack([place, 0.01 * place[:, 0] + noise, np.full(len(place), 4.0)])
        pairs.append(PairCells(cells, u.size, 1.0, 1.0))
    found = fit_noise(pairs, OTHER_NOISE)
    # 24 pieces of 150 cells: the white part to 2 %; some 10 patches of slow noise each beyond plane and bow: 5 %,
    # and the next of the ranges and ratios tried lie a factor 1.7 away.
    assert found.white_mm == pytest.approx(0.6, rel=0.06)
    assert found.correlated_mm == pytest.approx(0.5, rel=0.2)
    assert found.length_px == pytest.approx(35.0, rel=0.2)
