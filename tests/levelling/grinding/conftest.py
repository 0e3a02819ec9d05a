"""Small invented floors, and the cheapest grinding and filling by a linear programme over every chord there is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, hstack, vstack

CELL_MM = 50.0
WAYS = ((0, 1), (1, 0), (1, 1), (1, -1))


def _bumpy(
    shape: tuple[int, int], seed: int, *, waves_mm: float = 2.0, rough_mm: float = 0.1, shortest_cells: float = 8.0
) -> np.ndarray:
    """Six waves of at least that length along rows and columns, and roughness."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    z = rng.normal(0.0, rough_mm, shape)
    for _ in range(6):
        phase = (rng.uniform(0.0, 1.0) * x + rng.uniform(0.0, 1.0) * y) / shortest_cells
        z += rng.normal(0.0, waves_mm) * np.cos(2 * np.pi * phase + rng.uniform(0.0, 6.0))
    return z


def _chords(seen: np.ndarray, inside: np.ndarray, edge_mm: float, bridge_mm: float):
    """(first, second, middle, share) of every chord of an edge in four directions, cell by cell."""
    rows, cols = inside.shape
    for dr, dc in WAYS:
        spacing = CELL_MM * np.hypot(dr, dc)
        most = int(edge_mm / spacing + 1e-6)
        hole = int(min(bridge_mm, edge_mm / 4) / spacing + 1e-6)
        for r, c in product(range(rows), range(cols)):
            if not seen[r, c]:
                continue
            met, unseen = [], 0
            for n in range(1, most + 1):
                rr, cc = r + n * dr, c + n * dc
                if not (0 <= rr < rows and 0 <= cc < cols and inside[rr, cc]):
                    break
                unseen = 0 if seen[rr, cc] else unseen + 1
                if unseen > hole:
                    break
                if seen[rr, cc]:
                    yield from ((r * cols + c, rr * cols + cc, k, 1 - m / n) for m, k in met)
                    met.append((n, rr * cols + cc))


def _cheapest(
    z: np.ndarray,
    targets: list[tuple[float, float]],
    prices: tuple[float, float],
    *,
    inside: np.ndarray | None = None,
    most_grind: np.ndarray | float = 3.0,
    most_fill: np.ndarray | float = np.inf,
    least: np.ndarray | float = 0.0,
    bridge_mm: float = 100.0,
) -> float | None:
    """Cost of the optimum, prices per litre, by scipy's HiGHS over all chords at once; None: it cannot be done."""
    inside = np.ones(z.shape, bool) if inside is None else inside
    seen = inside & np.isfinite(z)
    blocks, limits = [], []
    flat = np.where(seen, z, 0.0).ravel()
    for edge, limit in targets:
        found = np.array(list(_chords(seen, inside, edge, bridge_mm)))
        if len(found) == 0:
            continue
        first, second, middle = found[:, :3].astype(int).T
        n = np.arange(len(found))
        values = np.concatenate([found[:, 3], 1 - found[:, 3], -np.ones(len(n))])
        matrix = coo_matrix((values, (np.tile(n, 3), np.concatenate([first, second, middle]))), (len(n), z.size))
        blocks.append(hstack([matrix, -matrix]))
        limits.append(limit - matrix @ flat)
    area = CELL_MM**2 / 1e6
    on = seen.ravel()
    least_fill, most_fill, most_grind = (np.broadcast_to(b, z.shape).ravel() for b in (least, most_fill, most_grind))
    bounds = np.concatenate(
        [
            np.stack([np.where(on, least_fill, 0.0), np.where(on, most_fill, 0.0)], axis=1),
            np.stack([np.zeros(z.size), np.where(on, most_grind, 0.0)], axis=1),
        ]
    )
    cost = np.repeat([prices[0] * area, prices[1] * area], z.size)
    if not blocks:
        return float(cost @ bounds[:, 0])
    answer = linprog(cost, A_ub=vstack(blocks), b_ub=np.concatenate(limits), bounds=bounds)
    return float(answer.fun) if answer.status == 0 else None


@pytest.fixture(scope="session")
def bumpy() -> Callable[..., np.ndarray]:
    return _bumpy


@pytest.fixture(scope="session")
def cheapest() -> Callable[..., float | None]:
    return _cheapest


@pytest.fixture(scope="session")
def every_chord() -> Callable[..., Iterator[tuple[int, int, int, float]]]:
    return _chords
