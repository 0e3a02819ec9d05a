"""Do the stated intervals of the compound hold the true floor's need? Of every way, on invented floors.

    python tests/accuracy/test_volume_coverage.py [floors] [first seed] [of them with grinding]

prints for each way how often the true need lay in the 95 % interval, below it and above it, and how often below P10,
between P10 and P90, and above P90.

Floors are waves with and without tiles a little out of level. The capture adds white noise, noise that neighbouring
cells share (Gaussian covariance) and a slow bend; the fall against gravity is known of every other floor, with an error
of its own. The noise model is the true one here: estimating it is checked with the heights. The truth's need is worked
out the same way on the floor without noise: least fill, with the planned grinding taken off for grinding and patching,
one plane for a screed, the least layer over the highest place for a pour. Floors that the plan leaves dry are left out
of the pours, and those that it does not grind of grinding and patching.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats
from scipy.ndimage import gaussian_filter

from flatscan.levelling import load_product, plan_levelling
from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.bounds import free
from flatscan.levelling.filling.least_fill import EdgeRule, least_fill
from flatscan.levelling.pouring.flood import above_level
from flatscan.levelling.pouring.screed import screed_again
from flatscan.levelling.quantities import volume_l
from flatscan.quantity import Quantity
from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.surface import NoiseModel, Slope, Surface

CELL_MM = 20.0
#: 3 mm under 2 m.
LIMITS = ((2000.0, 3.0),)
#: Half the default's directions: the same question at half the time, for floor and truth alike.
DIRECTIONS = 6
#: However thick: a way that the product rules out is not asked about here.
PRODUCT = replace(load_product(), greatest_layer_mm=None)
NO_GRINDING = replace(PRODUCT, greatest_grind_mm=0.0)
#: Standard uncertainty of the fall against gravity, mm per m.
FALL_U = 0.2
WAYS = ("patch", "grind_and_patch", "screed", "flood")


@dataclass(frozen=True, slots=True)
class Claim:
    """What is stated of a way's litres, and what the true floor takes."""

    low: float
    p10: float
    p90: float
    high: float
    need: float
    fall_known: bool


def invented(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    y, x = (CELL_MM * (i + 0.5) for i in np.mgrid[0 : shape[0], 0 : shape[1]])
    height = np.zeros(shape)
    rough = rng.uniform(0.3e-3, 1.2e-3)
    for length in rng.uniform(700, 3000, 6):
        turn, phase = rng.uniform(0, 2 * np.pi, 2)
        # Up to 1.2 mm for each metre of wave, as rough old floors have.
        height += rng.normal(0, rough * length) * np.sin(
            2 * np.pi / length * (x * np.cos(turn) + y * np.sin(turn)) + phase
        )
    pitch, spread = rng.uniform(150, 400), rng.choice([0.0, 0.2, 0.5])
    tiles = rng.normal(0, 1, (3, 40, 40)) * np.array([spread, spread / 300, spread / 300])[:, None, None]
    row, col = (y / pitch).astype(int), (x / pitch).astype(int)
    lift, along, across = (t[row, col] for t in tiles)
    return np.asarray(height + lift + along * (x - (col + 0.5) * pitch) + across * (y - (row + 0.5) * pitch))


def shared_noise(rng: np.random.Generator, shape: tuple[int, int], length_mm: float) -> np.ndarray:
    """Unit variance, covariance exp(-d²/2 l²): white noise smoothed by l/sqrt 2."""
    width = length_mm / CELL_MM / math.sqrt(2)
    pad = math.ceil(5 * width) + 1
    field = gaussian_filter(rng.standard_normal((shape[0] + 2 * pad, shape[1] + 2 * pad)), width, mode="wrap")
    return np.asarray(field[pad:-pad, pad:-pad] * math.sqrt(4 * math.pi) * width)


def bend(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    v, u = (2 * (i + 0.5) / n - 1 for i, n in zip(np.mgrid[0 : shape[0], 0 : shape[1]], shape, strict=True))
    a, b, c = rng.standard_normal(3)
    return np.asarray(((a * (u**2 - 1 / 3) + c * (v**2 - 1 / 3)) / math.sqrt(4 / 45) + 3 * b * u * v) / math.sqrt(3))


def captured(rng: np.random.Generator, truth: np.ndarray) -> Surface:
    noise = NoiseModel(
        white_mm=rng.uniform(0.05, 0.5),
        correlated_mm=rng.uniform(0.05, 0.4),
        length_mm=rng.uniform(40, 120),
        systematic_mm=rng.uniform(0.0, 0.3),
        how="stated",
    )
    shape = truth.shape
    height = truth + noise.white_mm * rng.standard_normal(shape)
    height += noise.correlated_mm * shared_noise(rng, shape, noise.length_mm)
    height += noise.systematic_mm * bend(rng, shape)
    height = height.astype(np.float32)
    white = np.full(shape, noise.white_mm, dtype=np.float32)
    inside = np.ones(shape, dtype=bool)
    return Surface(
        height_mm=height,
        estimate_mm=best_estimate(height, white, inside, noise, CELL_MM),
        white_mm=white,
        count=np.ones(shape, dtype=np.int32),
        inside=inside,
        cell_mm=CELL_MM,
        origin_mm=(0.0, 0.0),
        floor_from_scan=np.eye(4),
        outline=(),
        noise=noise,
        slope=None,
        kind="cloud",
    )


def claims(seed: int, *, grinding: bool) -> dict[str, Claim]:
    """One floor: the claim of each way; grinding and patching only where it is asked for and grinds anything."""
    rng = np.random.default_rng(seed)
    truth = invented(rng, (int(rng.integers(80, 120)), int(rng.integers(110, 160))))
    surface = captured(rng, truth)
    fall = float(rng.uniform(0.0, 4.0))
    if seed % 2:
        read = Quantity(fall + FALL_U * rng.standard_normal(), FALL_U, "mm/m")
        surface = replace(surface, slope=Slope(read, float(rng.uniform(-np.pi, np.pi))))
    basis = Basis(surface, LIMITS, (), "level_all", None, directions=DIRECTIONS)
    product = PRODUCT if grinding else NO_GRINDING
    plan = plan_levelling(basis, product, rng=rng, asked="grind_and_patch" if grinding else None)
    rule = EdgeRule(cell_mm=CELL_MM, directions=DIRECTIONS)
    layers = {"least_layer_mm": product.least_layer_mm, "feather_mm_per_m": product.feather_mm_per_m}
    level = above_level(truth, surface, fall_mm_per_m=fall)
    methods = {method.name: method for method in plan.methods}
    needs = {
        "patch": least_fill(truth, surface.inside, LIMITS, rule, **layers).fill_mm,
        "screed": screed_again(surface, truth, free(surface), product, LIMITS),
    }
    if methods["flood"].area_m2 > 0.0:
        needs["flood"] = level.max() + product.least_layer_mm - level
    if plan.chosen == "grind_and_patch" and plan.grind_mm.any():
        needs["grind_and_patch"] = least_fill(truth - plan.grind_mm, surface.inside, LIMITS, rule, **layers).fill_mm
    found = {}
    for way, fill in needs.items():
        (low, high), (p10, _, p90) = methods[way].volume_interval_l, methods[way].volume_p_l
        found[way] = Claim(low, p10, p90, high, volume_l(fill, CELL_MM), surface.slope is not None)
    return found


def shares(of: list[Claim]) -> dict[str, float]:
    """Of the needs: in the 95 % interval, below, above it; below P10, from it to P90, above."""
    low, p10, p90, high, need = np.array([[c.low, c.p10, c.p90, c.high, c.need] for c in of]).T
    return {
        "held": float(np.mean((low <= need) & (need <= high))),
        "too high": float(np.mean(need < low)),
        "too low": float(np.mean(need > high)),
        "below P10": float(np.mean(need < p10)),
        "P10 to P90": float(np.mean((p10 <= need) & (need <= p90))),
        "above P90": float(np.mean(need > p90)),
    }


def row(name: str, of: list[Claim]) -> str:
    """One line of the table: the shares, the median need and the median half width of the interval against it."""
    needs = [c.need for c in of]
    half = [(c.high - c.low) / 2.0 / c.need for c in of if c.need > 0.0]
    figures = "  ".join(f"{value:10.3f}" for value in shares(of).values())
    return f"{name:18}{len(of):6}  {figures}  {np.median(needs):8.1f} l  {100.0 * np.median(half):5.1f} %"


def table(results: list[dict[str, Claim]]) -> str:
    """All ways; the pour also apart by whether the fall is known."""
    by_way = {way: [r[way] for r in results if way in r] for way in WAYS}
    pours = by_way["flood"]
    rows = [row(way, of) for way, of in by_way.items() if of]
    for name, known in (("flood, fall known", True), ("fall taken as 0", False)):
        some = [c for c in pours if c.fall_known is known]
        rows += [row(name, some)] if some else []
    heads = "  ".join(f"{head:>10}" for head in ("held", "too high", "too low", "below P10", "P10-P90", "above P90"))
    return "\n".join([f"{'way':18}{'floors':>6} {heads}  {'need':>10}  {'half':>7}", *rows])


def run(floors: int, first: int, grinding: int) -> list[dict[str, Claim]]:
    """Seeds from ``first``; ``grinding`` of the floors, spread evenly, are planned with it."""
    every = max(1, floors // grinding) if grinding else floors + 1
    return [claims(first + k, grinding=k % every == 0 and k // every < grinding) for k in range(floors)]


def test_volume_intervals_hold_on_12_floors():
    """With a true share of 0.95, fewer than 9 of 12 happen once in 5000 times (binomial)."""
    results = run(12, 0, grinding=4)
    assert sum("grind_and_patch" in r for r in results) >= 2
    for way, fewest in (("patch", 9), ("screed", 9), ("flood", 8)):
        of = [r[way] for r in results if way in r]
        assert len(of) >= fewest + 2
        assert shares(of)["held"] * len(of) >= fewest, table(results)


@pytest.mark.long
def test_volume_intervals_hold_on_200_floors():
    """Shares of what is stated, as far off as chance takes one in 500 of them (binomial, both sides).

    On these floors the 95 % interval held 190 of 200 patches, 148 of 154 grindings, 187 of 200 screeds and 167 of 176
    pours; on 200 others (seeds from 6000) 192, 157 of 162, 180 and 169 of 181. Screeds, and pours less so, are stated
    too high: of the 400 screeds 7 % needed less than the interval and 1 % more, 18 % less than P10 and 5 % more than
    P90. Whoever buys for P90 is left with compound, not short of it.
    """
    results = run(200, 5000, grinding=200)
    print(table(results))
    stated = {"held": 0.95, "below P10": 0.1, "P10 to P90": 0.8, "above P90": 0.1}
    for way in WAYS:
        of = [r[way] for r in results if way in r]
        assert len(of) >= 100
        found = shares(of)
        for name, share in stated.items():
            low, high = stats.binom(len(of), share).ppf([0.001, 0.999])
            assert low <= round(found[name] * len(of)) <= high, f"{way}: {name}\n{table(results)}"


def main() -> None:
    """Print the table."""
    given = [int(word) for word in sys.argv[1:]]
    floors, first, grinding = (*given, *(200, 5000, 40)[len(given) :])
    print(table(run(floors, first, grinding)))


if __name__ == "__main__":
    main()
