"""The least fill equals a linear programme's over all chords, cell by cell (HiGHS, by way of scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.sparse import coo_matrix

from flatscan.levelling.filling.least_fill import AIM_BELOW_MM, EdgeRule, least_fill

CELL_MM, BRIDGE_MM = 50.0, 100.0
#: Sweeps end when none lifts by more than a hundredth of AIM_BELOW_MM; what is missing then is a few times that.
SETTLED_MM = 5e-4


def chords(z: np.ndarray, inside: np.ndarray, edge_mm: float):
    """All (i, k, j, share of i) in four directions: contacts i, j no further apart than the edge, k between.

    Contacts and k are seen. A chord ends at a wall and at more unseen cells in a row than are bridged.
    """
    rows, cols = z.shape
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        spacing = CELL_MM * np.hypot(dr, dc)
        most = int(edge_mm / spacing + 1e-6)
        hole = int(min(BRIDGE_MM, edge_mm / 4.0) / spacing + 1e-6)
        for r, c in np.ndindex(rows, cols):
            line, unseen = [], 0
            for n in range(most + 1):
                rr, cc = r + n * dr, c + n * dc
                if not (0 <= rr < rows and 0 <= cc < cols and inside[rr, cc]):
                    break
                seen = bool(np.isfinite(z[rr, cc]))
                unseen = 0 if seen else unseen + 1
                if unseen > hole or not (n or seen):
                    break
                if seen:
                    line.append((n, rr * cols + cc))
            for at, (n, j) in enumerate(line):
                for m, k in line[1:at]:
                    yield line[0][1], k, j, 1 - m / n


def programme(z, inside, targets, least=0.0) -> np.ndarray:
    """Least total fill with every chord's gap within its limit; NaN where nothing was seen."""
    data, row, col, limits = [], [], [], []
    for edge_mm, limit_mm in targets:
        for i, k, j, share in chords(z, inside, edge_mm):
            data += [share, 1 - share, -1.0]
            row += [len(limits)] * 3
            col += [i, j, k]
            limits.append(limit_mm)
    matrix = coo_matrix((data, (row, col)), shape=(len(limits), z.size))
    lowest = np.nan_to_num(z + least).ravel()
    answer = linprog(np.ones(z.size), A_ub=matrix, b_ub=limits, bounds=[(v, None) for v in lowest])
    assert answer.status == 0
    return answer.x.reshape(z.shape) - z


def bumpy(rows: int, cols: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols]
    waves = rng.normal(0, 0.3, (rows, cols))
    for _ in range(6):
        phase = rng.uniform(0, 0.12) * x + rng.uniform(0, 0.12) * y
        waves += rng.normal(0, 2.0) * np.cos(2 * np.pi * phase + rng.uniform(0, 6))
    return np.asarray(waves)


@pytest.mark.parametrize("least", [False, True], ids=["free", "with what must be there"])
@pytest.mark.parametrize(
    ("shape", "seed", "targets"),
    [
        ((7, 12), 1, [(500.0, 1.5)]),
        ((13, 9), 2, [(500.0, 1.0), (200.0, 0.3)]),
        ((12, 17), 3, [(250.0, 0.8), (500.0, 2.0), (700.0, 2.2)]),
        ((11, 14), 4, [(450.0, 1.2), (250.0, 0.6)]),
    ],
)
def test_equals_the_linear_programme_cell_by_cell(shape, seed, targets, least):
    rng = np.random.default_rng(seed)
    z = bumpy(*shape, seed)
    inside = np.ones(shape, dtype=bool)
    if seed == 3:
        inside[:5, 9:] = False  # an L-shaped room
    if seed == 4:
        inside[4, 3:9] = False  # a wall in the middle, unseen cells beside it and elsewhere, some too many to bridge
        z[6:8, 2:5] = z[1, 10:13] = z[9, 6] = np.nan
    z[~inside] = np.nan
    bound = np.where(rng.random(shape) < 0.1, rng.uniform(0.0, 3.0, shape), 0.0) if least else None
    rule = EdgeRule(cell_mm=CELL_MM, directions=4, bridge_mm=BRIDGE_MM)
    fill = least_fill(z, inside, targets, rule, least_mm=bound).fill_mm
    aims = [(edge, limit - AIM_BELOW_MM) for edge, limit in targets]
    best = programme(z, inside, aims, 0.0 if bound is None else bound)
    assert np.nanmax(best) > 0.5  # there was something to fill
    np.testing.assert_array_equal(np.isnan(fill), np.isnan(z))
    np.testing.assert_allclose(fill, best, atol=SETTLED_MM)
