"""The surface plate worked out in print, as lines of unknown height and tilt through the solver for hand readings.

Source: J. C. Moody, "How to calibrate surface plates in the plant", The Tool Engineer, October 1955, with B. Allen's
corrections of 2019; see ``test_surface_plate.py``, which holds the readings and works them out by the paper's recipe.
Here each line is a placement of rule "line": its heights are known but for a height and a tilt of its own. One arc
second over one foot of the level is written as one millimetre; the equations are linear, so nothing hangs on that.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from flatscan.sources.hand.field_readings import Bar, FieldReadings, Placement
from flatscan.surface.readings.nodes import Nodes, lay_nodes
from flatscan.surface.readings.observations import observe
from flatscan.surface.readings.posterior import solve
from flatscan.surface.readings.prior import thin_plate
from flatscan.units import MM_PER

INCH = MM_PER["in"]
#: Nodes 4 in apart fall on every station of the perimeter and of the centre lines, and on the diagonals' ends and
#: crossing; between those a diagonal's stations have nodes to themselves.
OUTLINE = np.array([(2.0, 2.0), (70.0, 2.0), (70.0, 46.0), (2.0, 46.0)]) * INCH
#: So weak a prior that lines alone decide: it only fills the fields between them.
WEAK = 10.0
CENTRE = np.array([[36.0, 24.0]]) * INCH
WITHOUT_CENTRE_LINES = ("NW_SE", "NE_SW", "NE_NW", "NE_SE", "SE_SW", "NW_SW")


@pytest.fixture(scope="module")
def paper() -> ModuleType:
    path = Path(__file__).with_name("test_surface_plate.py")
    spec = importlib.util.spec_from_file_location("plate_in_print", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def ends(paper, name: str) -> tuple[np.ndarray, np.ndarray]:
    first, last = (np.array(paper.AT[end], dtype=float) * INCH for end in name.split("_"))
    return first, last


def summed(paper, name: str) -> np.ndarray:
    """Heights along a line from its first station, less its first reading at each step."""
    tilt = paper.numbers(paper.READINGS[name])
    return np.concatenate([[0.0], np.cumsum(tilt - tilt[0])])


def stations(paper, name: str) -> np.ndarray:
    first, last = ends(paper, name)
    share = np.linspace(0.0, 1.0, len(summed(paper, name)))[:, None]
    return first * (1.0 - share) + last * share


def fitted(paper, names) -> tuple[Nodes, np.ndarray]:
    nodes = lay_nodes(OUTLINE, cell_mm=4.0 * INCH)
    assert nodes.inside.shape == (11, 17)
    placements = []
    for row, name in enumerate(names, start=1):
        (first, last), height = ends(paper, name), summed(paper, name)
        length = float(np.hypot(*(last - first)))
        bar = Bar("level", length, step_mm=0.1, repeat_mm=0.05, bow_mm=0.0)
        n = len(height)
        placements.append(
            Placement(row, name, tuple(first), tuple(last), "line", np.linspace(0.0, length, n), 200.0 - height,
                      np.zeros(n, bool), np.full(n, 0.05), bar)
        )  # fmt: skip
    observed = observe(FieldReadings(inputs=(), placements=tuple(placements)), nodes)
    found = solve(observed, thin_plate(nodes), nodes, draws=1, rng=np.random.default_rng(0), kappas=(WEAK,))
    return nodes, found.mean_mm[: nodes.count]


def on_the_papers_datum(paper, nodes: Nodes, height: np.ndarray) -> np.ndarray:
    """Freed of the plane that makes the centre 0 and the ends of each diagonal equal."""
    at = {name: np.array([paper.AT[name]], dtype=float) * INCH for name in ("NW", "SE", "NE", "SW")}
    arms = [np.append(1.0, (p - CENTRE).ravel()) for p in at.values()]
    there = [float((nodes.weights(p) @ height)[0]) for p in at.values()]
    middle = float((nodes.weights(CENTRE) @ height)[0])
    rows = np.array([arms[0] - arms[1], arms[2] - arms[3], [1.0, 0.0, 0.0]])
    plane = np.linalg.solve(rows, [there[0] - there[1], there[2] - there[3], middle])
    return height - plane[0] - (nodes.xy_mm - CENTRE) @ plane[1:]


def closure(paper, nodes: Nodes, height: np.ndarray, name: str) -> float:
    """What a centre line, hung on the perimeter's surface, shows at the middle less what the surface has there."""
    edge = nodes.weights(stations(paper, name)[[0, -1]]) @ height
    line = paper.hung(summed(paper, name), *edge)
    return float(line[len(line) // 2] - (nodes.weights(CENTRE) @ height)[0])


def test_perimeter_and_diagonals_give_the_printed_heights_and_closures(paper) -> None:
    """Six lines have no redundancy: the surface is the paper's, to the weak prior's 1e-5, and so are both closures."""
    nodes, height = fitted(paper, WITHOUT_CENTRE_LINES)
    height = on_the_papers_datum(paper, nodes, height)
    by_recipe, _ = paper.closed_heights()
    lowest = by_recipe["NW_SE"][10]  # the centre, which the datum puts at 0
    for name in WITHOUT_CENTRE_LINES:
        line = nodes.weights(stations(paper, name)) @ height
        np.testing.assert_allclose(line, by_recipe[name] - lowest, atol=1e-4)
        # The paper rounds by hand to 0.1 at each step.
        np.testing.assert_allclose(line + lowest, paper.numbers(paper.PUBLISHED[name]), atol=0.11)
    assert closure(paper, nodes, height, "E_W") == pytest.approx(-0.7, abs=1e-4)
    assert closure(paper, nodes, height, "N_S") == pytest.approx(0.0, abs=1e-4)


def test_all_eight_lines_share_out_the_closure_as_least_squares_does(paper) -> None:
    """Against a dense twin in the heights of the nine crossings: 24 observations, 9 heights, 8 lines, a free plane.

    The paper takes the whole closure off one line. Least squares spreads it, so no height departs from the paper's by
    more than the closure itself, 0.7, with the paper's own rounding on the east-west line, 0.16.
    """
    names = tuple(paper.READINGS)
    nodes, height = fitted(paper, names)
    crossings = {**paper.AT, "C": (36, 24)}
    order = list(crossings)
    rows, values, line_of = [], [], []
    for number, name in enumerate(names):
        first, last = name.split("_")
        line, n = summed(paper, name), len(summed(paper, name))
        middle = {"NE_NW": "N", "NE_SE": "E", "SE_SW": "S", "NW_SW": "W"}.get(name, "C")
        for point, index in ((first, 0), (middle, n // 2), (last, n - 1)):
            row = np.zeros(len(order) + 2 * len(names))
            row[order.index(point)] = 1.0
            row[len(order) + 2 * number] = -1.0
            row[len(order) + 2 * number + 1] = -index / (n - 1)
            rows.append(row)
            values.append(line[index])
            line_of.append(number)
    twin, *_ = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)
    at = np.array([crossings[point] for point in order], dtype=float) * INCH
    mine = nodes.weights(at) @ height
    planes = np.column_stack([np.ones(len(at)), at])
    off = mine - twin[: len(order)]
    off -= planes @ np.linalg.lstsq(planes, off, rcond=None)[0]
    np.testing.assert_allclose(off, 0.0, atol=1e-4)
    height = on_the_papers_datum(paper, nodes, height)
    by_recipe, _ = paper.closed_heights()
    for name, text in paper.PUBLISHED.items():
        line = nodes.weights(stations(paper, name)) @ height + by_recipe["NW_SE"][10]
        np.testing.assert_allclose(line, paper.numbers(text), atol=0.7 + 0.16)
    spread = [closure(paper, nodes, height, name) for name in ("E_W", "N_S")]
    assert -0.7 < spread[0] < 0.0
    assert 0.0 < spread[1] < 0.7
