"""After readings by hand corrected a scan's slow bends the stated 95 % interval of a height holds the truth.

Invented floors of waves are scanned with white noise, noise that neighbours share, and a slow bend: twist and bows, in
half of the rooms with longer waves beside them. A person lays a 2 m bar a few times, some with a level as well; bars
come to lie some 20 mm off where they were meant to and have a bow, readings scatter as stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates

from flatscan.constants import Z_95_CENTRAL
from flatscan.settings import SurfaceSettings
from flatscan.sources.hand.field_readings import Bar, FieldReadings, LevelReading, Placement
from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.draws import draw_truth, posterior_of
from flatscan.surface.readings.correction import corrected_by
from flatscan.surface.surface import NoiseModel, Surface

CELL = 30.0
DRAWS = 25
WHITE, SHARED, LENGTH = 0.2, 0.3, 70.0
BAR = Bar("2 m", 2000.0, 0.5, 0.2, 0.05)
READ = 0.25
PLACE = 20.0


@dataclass(frozen=True)
class Case:
    surface: Surface
    truth: np.ndarray
    field: FieldReadings
    rng: np.random.Generator


def flat(z, inside):
    """Without its least-squares plane over the floor, NaN elsewhere."""
    row, col = np.nonzero(inside)
    terms = np.column_stack([np.ones(len(row)), col, row]).astype(float)
    out = np.full(z.shape, np.nan)
    out[inside] = z[inside] - terms @ np.linalg.lstsq(terms, z[inside], rcond=None)[0]
    return out


def slow(rng, inside, simple):
    """Mean square 1 over many draws: x², xy, y² alike; not ``simple``: a quarter of it in waves of 1 to 3 rooms."""
    rows, cols = inside.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    a, b, c = rng.standard_normal(3)
    parts = [flat(t, inside) for t in (x * x, x * y, y * y)]
    bend = sum(k * p / np.sqrt(np.nanmean(p**2)) for k, p in zip((a, b, c), parts, strict=True)) / np.sqrt(3)
    if simple:
        return np.nan_to_num(bend)
    wave = np.zeros(inside.shape)
    for _ in range(5):
        turn, k = rng.uniform(0, 2 * np.pi), np.pi / rng.uniform(1.0, 3.0)
        wave += rng.standard_normal() * np.sin(k * (np.cos(turn) * x + np.sin(turn) * y) + rng.uniform(0, 6.3))
    wave = flat(wave, inside)
    return np.nan_to_num(np.sqrt(0.75) * bend + 0.5 * wave / np.sqrt(np.nanmean(wave**2)))


def height_at(truth, xy):
    return map_coordinates(
        np.nan_to_num(truth), [xy[:, 1] / CELL - 0.5, xy[:, 0] / CELL - 0.5], order=1, mode="nearest"
    )


def person(rng, truth, bars, levels):
    size = np.array(truth.shape[::-1]) * CELL
    bow = rng.normal(0, BAR.bow_mm)
    placements = []
    while len(placements) < bars:
        turn = rng.uniform(0, np.pi)
        middle, reach = rng.uniform(0, size), 1000.0 * np.array([np.cos(turn), np.sin(turn)])
        start, end = middle - reach, middle + reach
        if np.minimum(start, end).min() < 100 or np.any(np.maximum(start, end) > size - 100):
            continue
        at = np.linspace(0, 2000.0, 9)
        true_xy = start + rng.normal(0, PLACE, 2) + at[:, None] / 2000.0 * (end - start)
        edge = bow * 4 * at * (2000.0 - at) / 2000.0**2
        gap = edge - height_at(truth, true_xy) + 20.0 + rng.normal(0, READ, 9)
        number = len(placements) + 1
        none, sigma = np.zeros(9, dtype=bool), np.full(9, READ)
        placements.append(Placement(number, str(number), tuple(start), tuple(end), "line", at, gap, none, sigma, BAR))
    places = rng.uniform(100, size - 100, (levels, 2))
    fall = 0.002 * places[:, 0] - 0.001 * places[:, 1] + 700.0
    read = height_at(truth, places + rng.normal(0, PLACE, places.shape)) + fall + rng.normal(0, 0.4, levels)
    heights = [
        LevelReading(100 + k, f"s{k}", tuple(p), float(h), 0.4)
        for k, (p, h) in enumerate(zip(places, read, strict=True))
    ]
    return FieldReadings((), placements=tuple(placements), levels=tuple(heights), gravity=True)


def case(seed):
    rng = np.random.default_rng(seed)
    shape = (int(rng.integers(100, 140)), int(rng.integers(120, 190)))
    inside = np.ones(shape, dtype=bool)
    if seed % 2:
        inside[int(0.55 * shape[0]) :, int(0.6 * shape[1]) :] = False
    y, x = np.mgrid[: shape[0], : shape[1]] * CELL
    floor = np.zeros(shape)
    for _ in range(6):
        length, turn = rng.uniform(800, 5000), rng.uniform(0, 2 * np.pi)
        phase = 2 * np.pi / length * (np.cos(turn) * x + np.sin(turn) * y) + rng.uniform(0, 6.3)
        floor += rng.standard_normal() * length / 2000.0 * np.sin(phase)
    # The noise model's own assumption of the sensor; its true size is what it says.
    size = float(rng.choice([0.3, 1.0, 2.0, 3.0]))
    width = LENGTH / CELL / np.sqrt(2)
    pad = int(5 * width) + 1
    shared = gaussian_filter(rng.standard_normal((shape[0] + 2 * pad, shape[1] + 2 * pad)), width)[pad:-pad, pad:-pad]
    shared *= np.sqrt(4 * np.pi) * width
    scan = floor + size * slow(rng, inside, seed % 4 < 2) + SHARED * shared + rng.normal(0, WHITE, shape)
    height = flat(scan, inside).astype(np.float32)
    noise = NoiseModel(WHITE, SHARED, LENGTH, size, "invented")
    white = np.where(inside, WHITE, np.nan).astype(np.float32)
    surface = Surface(
        height_mm=height,
        estimate_mm=best_estimate(height, white, inside, noise, CELL),
        white_mm=white,
        count=inside.astype(np.int32),
        inside=inside,
        cell_mm=CELL,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=noise,
        slope=None,
        kind="depth_frames",
    )
    truth = flat(floor, inside)
    field = person(rng, truth, int(rng.integers(3, 16)), int(rng.choice([0, 5, 9])))
    return Case(surface, truth, field, rng)


def covered(surface, truth, rng):
    """Share of cells whose 95 % interval holds the truth, and root mean square error."""
    known = posterior_of(surface)
    draws = np.array([draw_truth(surface, rng, known) - surface.estimate_mm for _ in range(DRAWS)])
    u = np.sqrt(np.mean(np.square(draws), axis=0))
    error = np.abs(surface.estimate_mm - truth)[surface.inside]
    return float(np.mean(error <= Z_95_CENTRAL * u[surface.inside])), float(np.sqrt(np.mean(error**2)))


def study(seeds):
    found = []
    for seed in seeds:
        one = case(seed)
        after = corrected_by(one.surface, one.field, SurfaceSettings(), rng=one.rng)
        before_share, before_rms = covered(one.surface, one.truth, one.rng)
        after_share, after_rms = covered(after, one.truth, one.rng)
        contradicted = sum(c.name == "readings_contradict_scan" for c in after.caveats)
        found.append((before_share, after_share, before_rms, after_rms, *after.fit.systematic_mm, contradicted))
    return np.array(found)


def said(f):
    rms = np.sqrt(np.mean(f[:, 2:6] ** 2, axis=0))
    return (
        f"{len(f)} scans: held {f[:, 0].mean():.4f} before, {f[:, 1].mean():.4f} after; error {rms[0]:.2f} mm before, "
        f"{rms[1]:.2f} after; systematic u {rms[2]:.2f} before, {rms[3]:.2f} after; {int(f[:, 6].sum())} contradicted"
    )


def test_intervals_hold_after_the_correction_on_8_scans():
    # The bend is one thing a floor: some floors are held whole, some hardly. Eight scatter by some 2 % about the long
    # run's mean.
    found = study(range(8))
    assert 0.89 < found[:, 1].mean() <= 1.0, said(found)
    assert np.mean(found[:, 3] ** 2) < 0.5 * np.mean(found[:, 2] ** 2), said(found)
    assert np.all(found[:, 5] <= found[:, 4])


@pytest.mark.long
def test_intervals_hold_after_the_correction_on_120_scans():
    found = study(range(1000, 1120))
    print(said(found))
    assert 0.93 < found[:, 1].mean() < 0.98, said(found)
    assert found[:, 6].sum() <= 4, said(found)


if __name__ == "__main__":
    print(said(study(range(1000, 1120))))
