"""The sparse solver against plain dense ones, written apart.

Normal equations by loops, the evidence as a density of the readings, bounded least squares by scipy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from flatscan.quantity import Quantity
from flatscan.sources.hand.field_readings import Bar, HumpReading
from flatscan.surface.readings import bounds as bounds_module
from flatscan.surface.readings import normal as normal_module
from flatscan.surface.readings.evidence import log_evidence
from flatscan.surface.readings.flat import without_plane
from flatscan.surface.readings.floor_prior import ANY_MM, FloorPrior, likely_floors
from flatscan.surface.readings.nodes import lay_nodes
from flatscan.surface.readings.observations import CONTACT_MM, observe
from flatscan.surface.readings.posterior import predicted_sd_mm, solve
from flatscan.surface.readings.prior import thin_plate

H = 100.0
BOWED = Bar("bowed", 600.0, step_mm=0.5, repeat_mm=0.2, bow_mm=0.3, feet_mm=8.0)
#: One twin's anchor, 1/mm²: far weaker than any reading, for the plane that bars do not tell.
FREE = 1e-7


def bumpy(x, y):
    return 1.5 * np.sin(x / 190.0 + 0.3) * np.cos(y / 230.0) + 0.002 * x


def read(hand, rng, l_room):
    """Bars along x, along y, askew, turned and on feet, a crest, and two set-ups of a level that drifts and tilts."""
    ends = [((50, 110), (650, 130)), ((60, 330), (660, 340)), ((130, 40), (170, 640)), ((520, 30), (560, 630)),
            ((90, 90), (510, 520)), ((640, 60), (1150, 370))]  # fmt: skip
    placements = []
    for k, (start, end) in enumerate(ends):
        length = float(np.hypot(*np.subtract(end, start)))
        at = np.linspace(0.0, length, 7)
        gap = np.abs(rng.normal(0.0, 0.8, 7))
        gap[[1, 2, 5]] = 0.0
        rule = ("resting", "feet", "line")[k % 3]
        flat = hand.laid(hand.flat, start, end, row=10 - k, bar=BOWED, stations=7)
        placements.append(
            type(flat)(
                10 - k,
                f"P{k}",
                start,
                end,
                rule,
                at,
                gap + 8.0 * (rule == "feet"),
                (gap == 0) & (rule == "resting"),
                rng.uniform(0.1, 0.4, 7),
                BOWED,
                turned=k == 2,
            )
        )
    levels = hand.levels(
        bumpy, [(60, 60), (650, 70), (640, 640), (80, 610), (1120, 120)], row=20, shift=1400.0, u_mm=0.3
    )
    levels += hand.levels(bumpy, [(70, 350), (440, 280), (1140, 340)], row=30, set_up="B", shift=1650.0, u_mm=0.3)
    hump = HumpReading(40, "H", (100.0, 200.0), (700.0, 250.0), Quantity(0.7, 0.2, "mm"), BOWED)
    level = type(hand.field(levels=levels).level)(1.0, 0.3, 0.4, 0.6)
    return hand.field(placements, levels, l_room, humps=(hump,), level=level)


class Twin:
    """Dense matrices made by loops over readings and cells. Unknowns in the same order as the package's."""

    def __init__(self, field, nodes, kappa):
        self.rows, self.cols = nodes.inside.shape
        self.at = {(r, c): int(nodes.index[r, c]) for r, c in zip(*np.nonzero(nodes.inside), strict=True)}
        self.n, self.origin, self.h = nodes.count, nodes.origin_mm, nodes.spacing_mm
        self.k = (
            2
            + 2 * (len(field.placements) + len(field.humps))
            + sum(4 for _ in {reading.set_up for reading in field.levels})
        )
        self.a, self.value, self.sigma, self.low = [], [], [], []
        self.own = np.full(self.k, np.inf)
        # The package gives out: first placement's height and tilt after the bar's bow and skew are asked for.
        self.bow, self.skew = self.n, self.n + 1
        self.own[:2] = BOWED.bow_mm
        used = self.n + 2
        for p in field.placements:
            for s, g, u in zip(p.at_mm, p.gap_mm, p.u_mm, strict=True):
                self.add(self.edge(p, s, used) - self.floor(p.xy_mm(s)), g, u)
            if p.rule == "feet":
                for s in (0.0, p.length_mm):
                    self.add(self.edge(p, s, used) - self.floor(p.xy_mm(s)), p.bar.feet_mm, CONTACT_MM)
            if p.rule != "line":
                for s in np.linspace(0.0, p.length_mm, round(p.length_mm / self.h) + 1):
                    self.low.append(self.edge(p, s, used) - self.floor(p.xy_mm(s)))
            used += 2
        for hump in field.humps:
            start, end = np.array(hump.start), np.array(hump.end)
            # Eliminated by hand: the crest stands that much above the chord of the ends, less what the bar's bow adds.
            row = self.floor((start + end) / 2) - 0.5 * self.floor(start) - 0.5 * self.floor(end)
            row[self.bow] = -1.0
            self.add(row, hump.height.value, np.sqrt(hump.height.u**2 + CONTACT_MM**2 * (1.0 + 0.25)))
            used += 2
        names = list(dict.fromkeys(reading.set_up for reading in field.levels))
        for name in names:
            some = [reading for reading in field.levels if reading.set_up == name]
            middle = np.mean([reading.at for reading in some], axis=0)
            for reading in some:
                row = self.floor(np.array(reading.at))
                row[used] = 1.0
                row[used + 1 : used + 3] = (np.array(reading.at) - middle) / 1000.0
                row[used + 3] = reading.order / (len(some) - 1)
                self.add(row, reading.height_mm, reading.u_mm)
            self.own[used - self.n + 1 : used - self.n + 3] = field.level.tilt_mm_per_m
            self.own[used - self.n + 3] = field.level.drift_mm
            used += 4
        self.prior = np.array(list(self.bends())) / kappa

    def add(self, row, value, sigma):
        self.a.append(row / sigma)
        self.value.append(value / sigma)

    def edge(self, p, s, used):
        row = np.zeros(self.n + self.k)
        t = s / p.length_mm
        row[used], row[used + 1] = 1.0, t - 0.5
        row[self.bow] = 4.0 * t * (1.0 - t)
        row[self.skew] = np.sin(2.0 * np.pi * t) * (-1.0 if p.turned else 1.0)
        return row

    def floor(self, xy):
        """Bilinear in the square of nodes around, or the nearest one whole: tried one after the other."""
        best = None
        for r in range(self.rows - 1):
            for c in range(self.cols - 1):
                corners = [(r, c), (r, c + 1), (r + 1, c), (r + 1, c + 1)]
                if all(corner in self.at for corner in corners):
                    right = (xy[0] - self.origin[0]) / self.h - 0.5 - c
                    up = (xy[1] - self.origin[1]) / self.h - 0.5 - r
                    away = max(abs(right - 0.5), abs(up - 0.5))
                    if best is None or away < best[0] - 1e-12:
                        best = (away, corners, right, up)
        row = np.zeros(self.n + self.k)
        _, corners, right, up = best
        for corner, share in zip(
            corners, ((1 - right) * (1 - up), right * (1 - up), (1 - right) * up, right * up), strict=True
        ):
            row[self.at[corner]] += share
        return row

    def bends(self):
        for (r, c), i in self.at.items():
            for (dr, dc), scale in (((0, 1), 1.0), ((1, 0), 1.0)):
                before, after = self.at.get((r - dr, c - dc)), self.at.get((r + dr, c + dc))
                if before is not None and after is not None:
                    row = np.zeros(self.n + self.k)
                    row[[before, i, after]] = np.array([1.0, -2.0, 1.0]) * scale / self.h
                    yield row
            three = [self.at.get(cell) for cell in ((r, c + 1), (r + 1, c), (r + 1, c + 1))]
            if None not in three:
                row = np.zeros(self.n + self.k)
                row[[i, *three]] = np.sqrt(2.0) * np.array([1.0, -1.0, -1.0, 1.0]) / self.h
                yield row

    @property
    def equations(self):
        """Rows and right side of one least-squares problem."""
        own = np.diag(1.0 / self.own)
        own = np.hstack([np.zeros((self.k, self.n)), np.where(np.isfinite(own), own, 0.0)])[np.isfinite(self.own)]
        rows = np.vstack([np.array(self.a), self.prior, own, np.sqrt(FREE) * np.eye(self.n + self.k)])
        right = np.zeros(len(rows))
        right[: len(self.value)] = self.value
        return rows, right


@pytest.fixture(scope="module")
def floor(hand, l_room):
    field = read(hand, np.random.default_rng(5), l_room)
    nodes = lay_nodes(l_room, cell_mm=H)
    assert nodes.inside.shape == (7, 12)
    return field, nodes, observe(field, nodes)


KAPPA = 3e-3


def heights(x, nodes):
    return without_plane(x[: nodes.count], nodes)


def test_mean_and_sd_are_those_of_dense_normal_equations(floor):
    field, nodes, observations = floor
    twin = Twin(field, nodes, KAPPA)
    rows, right = twin.equations
    root = np.linalg.cholesky(rows.T @ rows)
    mean = np.linalg.solve(root.T, np.linalg.solve(root, rows.T @ right))
    free = type(observations)(
        **{n: getattr(observations, n) for n in observations.__slots__} | {"bounds": observations.bounds[:0]}
    )
    found = solve(free, thin_plate(nodes), nodes, draws=4000, rng=np.random.default_rng(0), kappas=(KAPPA,))
    # Readings of 1400 and 1650 mm meet an anchor of 1/FREE = 3 m of standard deviation in the twin: it pulls the tilt
    # by its own variance (0.4 mm/m over 1 m)² times FREE of what it pulls at, 1e-5 mm.
    np.testing.assert_allclose(heights(found.mean_mm, nodes), heights(mean, nodes), atol=1e-3)
    whole = np.linalg.inv(rows.T @ rows)[: nodes.count, : nodes.count]
    basis = np.linalg.qr(np.column_stack([np.ones(nodes.count), nodes.xy_mm]))[0]
    clear = np.eye(nodes.count) - basis @ basis.T
    sd = np.sqrt(np.diag(clear @ whole @ clear))
    exact = predicted_sd_mm(observations, thin_plate(nodes), nodes, kappa=KAPPA)
    np.testing.assert_allclose(exact, sd, rtol=1e-3)
    # A standard deviation from 4000 draws is known to 1/√8000 = 1.1 %; the worst of 70 nodes to four times that.
    np.testing.assert_allclose(found.sd_mm, exact, rtol=0.045)


def test_draws_have_the_dense_covariance_between_places_too(floor):
    field, nodes, observations = floor
    rows, _ = Twin(field, nodes, KAPPA).equations
    free = type(observations)(
        **{n: getattr(observations, n) for n in observations.__slots__} | {"bounds": observations.bounds[:0]}
    )
    found = solve(free, thin_plate(nodes), nodes, draws=6000, rng=np.random.default_rng(1), kappas=(KAPPA,))
    whole = np.linalg.inv(rows.T @ rows)[: nodes.count, : nodes.count]
    ask = np.random.default_rng(2).standard_normal((5, nodes.count))
    ask = without_plane(ask, nodes)
    drawn = np.cov(ask @ found.draws_mm.T)
    exact = ask @ whole @ ask.T
    # A covariance of n draws is known to √((1 + r²)/n) of the product of both sds: 1.8 % at most, four of them.
    scale = np.sqrt(np.outer(exact.diagonal(), exact.diagonal()))
    np.testing.assert_allclose(drawn / scale, exact / scale, atol=0.075)


@pytest.mark.parametrize("give_mm", [0.0, 0.05])
def test_bounded_mean_is_that_of_bounded_least_squares(floor, give_mm, monkeypatch):
    monkeypatch.setattr(bounds_module, "GIVE_MM", give_mm)
    field, nodes, observations = floor
    twin = Twin(field, nodes, KAPPA)
    rows, right = twin.equations
    low = np.array(twin.low)
    plain = np.linalg.lstsq(rows, right, rcond=None)[0]
    assert (low @ plain).min() < -give_mm - 0.05, "no bound is felt, so nothing would be tested"
    # Slack unknowns t = G x >= -give, tied to x ten thousand times as tightly as any reading.
    tie = 1e4
    big = np.block([[rows, np.zeros((len(rows), len(low)))], [tie * low, -tie * np.eye(len(low))]])
    lower = np.concatenate([np.full(rows.shape[1], -np.inf), np.full(len(low), -give_mm)])
    answer = lsq_linear(
        big, np.concatenate([right, np.zeros(len(low))]), bounds=(lower, np.inf), method="bvls", tol=1e-14
    )
    found = solve(observations, thin_plate(nodes), nodes, draws=50, rng=np.random.default_rng(0), kappas=(KAPPA,))
    np.testing.assert_allclose(heights(found.mean_mm, nodes), heights(answer.x, nodes), atol=2e-3)
    assert np.abs(heights(found.mean_mm, nodes) - heights(plain, nodes)).max() > 0.02
    assert (observations.bounds @ found.mean_mm).min() > -give_mm - 1e-5


def density(field, observations, prior: FloorPrior, kappa: float, nodes) -> float:
    """Log density of the readings' own contrasts, as a REML textbook writes it. Free: bars' lines, set-ups, planes.

    Takes the design from the package (it is tested above) but neither its normal equations nor its determinants.
    """
    n = nodes.count
    design, sigma = observations.design.toarray(), observations.nuisance_sigma_mm
    rows = prior.rows.toarray()
    others = len(sigma)
    wide = np.hstack([rows, np.zeros((len(rows), n + others - rows.shape[1]))])
    trend = -np.linalg.lstsq(wide[:, :n], wide[:, n:], rcond=None)[0]  # u = T b + v, whatever the readings feel of b
    felt = design[:, n:] + design[:, :n] @ trend
    rough = np.linalg.pinv(wide[:, :n].T @ wide[:, :n], rcond=1e-13, hermitian=True) * kappa**2
    known = np.isfinite(sigma) & (sigma < ANY_MM)
    cover = np.diag(observations.sigma_mm**2) + design[:, :n] @ rough @ design[:, :n].T
    cover += (felt[:, known] * sigma[known] ** 2) @ felt[:, known].T
    free = felt[:, ~known]
    if np.isinf(prior.range_mm):
        free = np.column_stack([free, design[:, :n] @ np.column_stack([np.ones(n), nodes.xy_mm])])
    own, size, _ = np.linalg.svd(free, full_matrices=False)
    free = own[:, size > 1e-9 * size.max()]
    inverse = np.linalg.inv(cover)
    middle = free.T @ inverse @ free
    value = observations.value_mm
    left = inverse @ value - inverse @ free @ np.linalg.solve(middle, free.T @ inverse @ value)
    return -0.5 * (np.linalg.slogdet(cover)[1] + np.linalg.slogdet(middle)[1] + float(value @ left))


def test_evidence_of_a_thin_plate_is_the_density_of_the_readings(floor):
    field, nodes, observations = floor
    plate = FloorPrior.of_plate(thin_plate(nodes))
    kappas = (3e-4, 1e-3, 3e-3, 1e-2)
    mine = np.array([log_evidence(observations, plate, kappa) for kappa in kappas])
    twin = np.array([density(field, observations, plate, kappa, nodes) for kappa in kappas])
    np.testing.assert_allclose(mine - mine[0], twin - twin[0], atol=2e-3)
    assert np.ptp(twin) > 3.0


def test_evidence_compares_floors_of_different_range(floor):
    field, nodes, plain = floor
    observations, priors = likely_floors(plain, nodes)
    tried = [(prior, kappa) for prior in priors for kappa in (1e-3, 8e-3)]
    mine = np.array([log_evidence(observations, prior, kappa) for prior, kappa in tried])
    twin = np.array([density(field, observations, prior, kappa, nodes) for prior, kappa in tried])
    np.testing.assert_allclose(mine - mine[0], twin - twin[0], atol=5e-3)


def test_the_anchor_does_not_matter(floor, monkeypatch):
    _, nodes, observations = floor
    found = []
    for anchor_mm in (300.0, 1000.0, 4000.0):
        monkeypatch.setattr(normal_module, "ANCHOR_MM", anchor_mm)
        found.append(
            solve(observations, thin_plate(nodes), nodes, draws=20, rng=np.random.default_rng(3), kappas=(KAPPA,))
        )
    for other in found[1:]:
        # What is told is pulled by (its sd / anchor)², 1e-6 of some tenths of a millimetre.
        np.testing.assert_allclose(heights(other.mean_mm, nodes), heights(found[0].mean_mm, nodes), atol=1e-5)
        np.testing.assert_allclose(
            without_plane(other.draws_mm, nodes), without_plane(found[0].draws_mm, nodes), atol=2e-5
        )
