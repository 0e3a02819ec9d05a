"""What proves the lower bound: every row laid over the floor's own cells is a chord that an edge can lie on there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.filling.least_fill import EdgeRule
from flatscan.levelling.grinding.full_rows import full_rows, joined_rows
from flatscan.levelling.grinding.lattice import lattice_of
from flatscan.levelling.grinding.problem import full_problem
from flatscan.levelling.grinding.straight_lines import broken_chords

CELL_MM = 50.0
TARGETS = [(250.0, 0.1), (600.0, 0.2)]


@pytest.mark.parametrize(("step", "start"), [(1, (0, 0)), (2, (0, 0)), (3, (1, 1)), (4, (2, 2))])
def test_every_row_is_a_chord_of_the_floor(bumpy, every_chord, step, start):
    """Walls one cell thin and holes of one to three cells, wherever they lie in the blocks."""
    z = bumpy((23, 26), 5, waves_mm=4.0)
    inside = np.ones(z.shape, bool)
    inside[9, 3:20] = inside[12:22, 14] = False
    for hole in np.s_[4:7, 7:9], np.s_[15:16, 5:8], np.s_[18, 20]:
        z[hole] = np.nan
    rule = EdgeRule(cell_mm=CELL_MM, directions=4)
    problem = full_problem(
        z,
        inside,
        TARGETS,
        rule,
        fill_price_per_l=1.0,
        grind_price_per_l=2.0,
        most_fill_mm=np.full(z.shape, np.inf),
        most_grind_mm=np.ones(z.shape),
        least_mm=None,
    )
    # With every block known, the lattice hides no mistake of the rows: what is no chord, they must leave out.
    blind = lattice_of(np.nan_to_num(z), np.ones(z.shape, bool), TARGETS, rule, step=step, directions=4, start=start)
    limits = np.tile([[limit] for _, limit in TARGETS], (1, blind.height_mm.size))
    chords = broken_chords(blind.height_mm.ravel(), blind.lines, limits, more_than_mm=0.0)
    rows = full_rows(problem, blind, chords, np.ones(len(chords)))
    assert len(rows) > 100
    allowed = {}
    seen = inside & np.isfinite(z)
    for edge, limit in TARGETS:
        for first, second, middle, share in every_chord(seen, inside, edge, rule.bridge_mm):
            flat = z.ravel()
            over = share * flat[first] + (1 - share) * flat[second] - flat[middle] - limit
            allowed.setdefault((first, second, middle), []).append((share, over))
            allowed.setdefault((second, first, middle), []).append((1 - share, over))
    for cells, share, over in zip(rows.cells.tolist(), rows.share, rows.over_mm, strict=True):
        assert any(np.allclose((share, over), one, atol=1e-9) for one in allowed[tuple(cells)])
    if step == 1:
        assert set(chords.direction) == {0, 1, 2, 3}


def test_weights_are_averaged_over_lattices(bumpy):
    z = bumpy((12, 12), 6, waves_mm=4.0)
    inside = np.ones(z.shape, bool)
    rule = EdgeRule(cell_mm=CELL_MM, directions=4)
    lattice = lattice_of(z, inside, TARGETS, rule, step=1, directions=4)
    problem = full_problem(
        z,
        inside,
        TARGETS,
        rule,
        fill_price_per_l=1.0,
        grind_price_per_l=2.0,
        most_fill_mm=np.full(z.shape, np.inf),
        most_grind_mm=np.ones(z.shape),
        least_mm=None,
    )
    limits = np.tile([[limit] for _, limit in TARGETS], (1, z.size))
    chords = broken_chords(z.ravel(), lattice.lines, limits, more_than_mm=0.0)
    rows = full_rows(problem, lattice, chords, np.full(len(chords), 3.0))
    assert len(rows) == len(chords)  # blocks of one cell: each chord is its own row
    assert np.all(rows.weight == 3.0)
    both = joined_rows([rows, replace(rows, weight=np.ones(len(rows)))])
    assert both.weight.sum() == pytest.approx(2.0 * len(rows))
