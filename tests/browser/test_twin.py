"""The page's figures, run by node without a page, are those of the package."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from flatscan.measures.laid_edge import BRIDGE_MM, lay_on
from flatscan.measures.left_noise import LeftNoise
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.quantity import Quantity
from flatscan.report.page.moving import text_of
from flatscan.report.viewer.edge_doubt import doubt_of_edge, sigma_of
from flatscan.report.viewer.edge_verdict import EdgeRule, edge_verdict
from flatscan.report.viewer.layer import Layer, pack
from flatscan.surface.surface import NoiseModel, Surface

NODE = shutil.which("node")
needs_node = pytest.mark.skipif(NODE is None, reason="no node on the path")
CELL, ORIGIN = 37.0, (-80.0, 55.0)
Json = Any


def in_node(scripts: tuple[str, ...], program: str, given: Json) -> Json:
    """Run the viewer's scripts, then ``program`` (an async function of the data), and hand back its JSON."""
    source = "\n".join([*(text_of(name) for name in scripts), f"const program = {program};"])
    source += """
    program(JSON.parse(require("fs").readFileSync(0, "utf8"))).then((all) => console.log(JSON.stringify(all)));
    """
    done = subprocess.run(
        [NODE or "node", "-e", source], input=json.dumps(given), capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def floor_with_holes(rng: np.random.Generator, shape: tuple[int, int] = (41, 63)) -> Surface:
    """A rough floor with a column, single unseen cells and a larger hole; as wide as no other number here."""
    rows, cols = shape
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    height = 4 * np.sin(x / 9) * np.cos(y / 7) + rng.normal(0, 0.6, shape)
    inside = np.ones(shape, bool)
    inside[:2], inside[:, -3:], inside[15:22, 30:36] = False, False, False
    seen = inside & (rng.random(shape) > 0.04)
    seen[28:33, 10:18] = False
    values = np.where(seen, height, np.nan).astype(np.float32)
    white = np.where(seen, 0.3, np.nan).astype(np.float32)
    return Surface(
        height_mm=values,
        estimate_mm=values.copy(),
        white_mm=white,
        count=seen.astype(np.int32),
        inside=inside,
        cell_mm=CELL,
        origin_mm=ORIGIN,
        floor_from_scan=np.eye(4),
        outline=(),
        noise=NoiseModel(0.3, 0.4, 120.0, 0.5, "invented"),
        slope=None,
        kind="cloud",
    )


def realised(surface: Surface, rng: np.random.Generator) -> Surface:
    """The same floor known by drawn floors."""
    waves = rng.normal(0, 1, (5, *surface.height_mm.shape))
    floors = surface.estimate_mm + np.tensordot(rng.normal(0, 0.3, (12, 5)), waves, 1)
    estimate = floors.mean(axis=0).astype(np.float32)
    return replace(surface, estimate_mm=estimate, realisations_mm=floors.astype(np.float32))


def rows_of(values: NDArray[np.float64]) -> list[float | None]:
    return [None if np.isnan(v) else float(v) for v in values.ravel().tolist()]


def grid(values: NDArray[Any], surface: Surface) -> Json:
    rows, cols = values.shape
    return {"rows": rows, "cols": cols, "cellMm": surface.cell_mm, "originMm": surface.origin_mm,
            "values": rows_of(np.asarray(values, dtype=np.float64))}  # fmt: skip


LAY = """async ({heights, seen, sigma, modes, edge, lines}) => {
  const grid = (one) => ({...one, values: one.values.map((v) => (v === null ? NaN : v))});
  const floor = {heights: grid(heights), seen: grid(seen)};
  const doubts = {sigma: grid(sigma), modes: modes.map(grid), rest: null};
  return lines.map(({start, end, edgeMm}) => {
    const laid = layEdge(floor, start, end, edgeMm, edge.bridge_mm);
    if (laid.gapMm === null) return {gap: null};
    const {gapMm, contacts, at, spanMm, bridgesHole} = laid;
    return {gap: gapMm, contacts, at, span: spanMm, hole: bridgesHole, u: uncertaintyOf(laid, edge, doubts),
            heights: laid.heights.map((z) => (z === z ? z : null))};
  });
}"""


def random_lines(rng: np.random.Generator, count: int) -> list[Json]:
    """Over the whole grid and a little beyond; some along rows and columns, through cell centres."""
    lines = []
    for k in range(count):
        ends = rng.uniform((-100.0, 0.0), (2300.0, 1600.0), (2, 2)).tolist()
        if k % 5 == 0:
            ends[1][k % 2] = ends[0][k % 2]
        if k % 7 == 0:
            ends = [[ORIGIN[i] + (round(v / CELL) + 0.5) * CELL for i, v in enumerate(end)] for end in ends]
        lines.append({"start": ends[0], "end": ends[1], "edgeMm": (None, 250.0, 700.0, 2000.0)[k % 4]})
    return [line for line in lines if line["start"] != line["end"]]


@needs_node
@pytest.mark.parametrize("kind", ["scan", "readings", "steps"])
def test_an_edge_laid_by_the_page_is_the_packages(kind: str) -> None:
    rng = np.random.default_rng(5)
    surface = floor_with_holes(rng)
    if kind == "readings":
        surface = realised(surface, rng)
    if kind == "steps":  # whole mm: many chords are as steep, many gaps as deep
        surface = replace(surface, estimate_mm=np.round(surface.estimate_mm))
    floor = SurfaceChord.of(surface)
    edge, _ = doubt_of_edge(floor)
    modes: list[NDArray[np.float64]] = []
    if surface.realisations_mm is not None:
        deviation = surface.realisations_mm - surface.realisations_mm.mean(axis=0)
        # The draws themselves are modes: products add up to the covariance.
        modes = list(deviation / np.sqrt(len(deviation) - 1))
        edge["modes"] = {**edge["modes"], "rest": None}
    seen = np.where(surface.seen, 2.0, np.where(surface.inside, 1.0, 0.0))
    lines = random_lines(rng, 150)
    given = {
        "heights": grid(surface.estimate_mm, surface),
        "seen": grid(seen, surface),
        "sigma": grid(sigma_of(floor), surface),
        "modes": [grid(mode, surface) for mode in modes],
        "edge": {**edge, "bridge_mm": BRIDGE_MM},
        "lines": lines,
    }
    found = in_node(("edge.js", "verdict.js"), LAY, given)
    told = 0
    for line, page in zip(lines, found, strict=True):
        laid = lay_on(floor, tuple(line["start"]), tuple(line["end"]), edge_mm=line["edgeMm"])
        assert (page["gap"] is None) == (laid.gap is None)
        if laid.gap is None:
            continue
        told += laid.gap.value > 0.0
        assert page["heights"] == pytest.approx(rows_of(laid.height_mm), abs=1e-9, nan_ok=True)
        assert page["gap"] == pytest.approx(laid.gap.value, abs=1e-9)
        assert np.allclose(page["contacts"], np.asarray(laid.contacts), atol=1e-6)
        assert np.allclose(page["at"], np.asarray(laid.deepest), atol=1e-6)
        assert page["span"] == pytest.approx(laid.span_mm, abs=1e-9)
        assert page["hole"] == laid.bridges_hole
        assert page["u"] == pytest.approx(laid.gap.u, rel=1e-5)
    assert told > 80


@needs_node
def test_the_word_is_the_packages() -> None:
    rng = np.random.default_rng(8)
    rule = EdgeRule(2000.0, bias_mm=0.3, lift_mm=0.5)
    cases = [
        {"gap": float(gap), "u": float(u), "hole": bool(hole)}
        for gap, u, hole in zip(rng.uniform(0, 6, 400), rng.choice([0.0, 0.1, 0.6, 2.0], 400), rng.random(400) < 0.3,
                                strict=True)
    ]  # fmt: skip
    program = """async ({cases, guard}) => cases.map(({gap, u, hole}) =>
      edgeVerdict(gap, u, 3, {bias_mm: 0.3, lift_mm: 0.5}, guard, hole).word)"""
    found = in_node(("edge.js", "verdict.js"), program, {"cases": cases, "guard": 1.6448536269514722})
    wanted = [
        edge_verdict(Quantity(c["gap"], c["u"], "mm"), 3.0, rule, confidence=0.95, bridges_hole=c["hole"])
        for c in cases
    ]
    assert found == wanted
    assert set(wanted) == {"over", "within", "not_decided"}


@needs_node
@pytest.mark.parametrize(("scale", "bits"), [(0.5, 8), (0.002, 16), (1e-6, 32)])
def test_a_layer_comes_out_as_it_went_in(scale: float, bits: int) -> None:
    surface = floor_with_holes(np.random.default_rng(2))
    layer: Layer = pack(surface.height_mm, name="height", title="", cell_mm=CELL, scale=scale)
    assert layer.bits == bits
    program = """async (layer) => {
      const grid = await unpackLayer(layer, [0, 0]);
      return {...grid, values: [...grid.values].map((v) => (v === v ? v : null))};
    }"""
    found = in_node(("unpack.js",), program, layer.as_dict())
    assert (found["rows"], found["cols"], found["cellMm"]) == (*surface.height_mm.shape, CELL)
    values = np.array(found["values"], dtype=np.float64).reshape(surface.height_mm.shape)
    np.testing.assert_array_equal(np.isnan(values), ~surface.seen)
    # Half a step, and what float32 cannot hold.
    assert np.nanmax(np.abs(values - surface.height_mm)) <= 0.5 * scale + 1e-6


@needs_node
def test_it_is_said_why_a_gap_is_not_decided() -> None:
    """Bias 2.4 mm, lift 0.5 mm, limit 3 mm; the noise matters only where the rule alone would have said a word."""
    program = """async (cases) => cases.map(([gap, u, hole]) =>
      edgeVerdict(gap, u, 3, {bias_mm: 2.4, lift_mm: 0.5}, 1.645, hole))"""
    cases = [
        (5.0, 0.1, False),
        (6.0, 0.1, False),
        (3.1, 0.5, False),
        (2.7, 0.1, False),
        (1.0, 0.1, True),
        (1.0, 0.1, False),
    ]
    found = [(one["word"], one["why"]) for one in in_node(("edge.js", "verdict.js"), program, cases)]
    open_ = "not_decided"
    assert found == [(open_, "bias"), ("over", ""), (open_, "spread"), (open_, "lift"), (open_, "hole"), ("within", "")]


@needs_node
def test_sizes_and_limits_are_told_as_the_package_tells_them() -> None:
    from flatscan.said import edge, length, speaking

    rng = np.random.default_rng(2)
    sizes = [(float(v), float(u)) for v, u in zip(rng.uniform(0, 9, 300), rng.uniform(0.03, 7, 300), strict=True)]
    sizes += [(0.2, 0.2), (0.0, 0.9), (2.5, 0.0625), (12.5, 6.0), (13.5, 6.0), (0.125, 0.03)]
    limits = [3.0, 4.7625, 0.79375, 6.35, 0.5, 12.7, 2.345, 3.175]
    program = """async ({sizes, limits, edges}) => [false, true].map((imperial) => {
      const words = new Words(imperial);
      const plain = (text) => text.replaceAll(HELD, " ");
      return {sizes: sizes.map(([mm, u]) => plain(words.sizeText(mm, 2 * u))),
              limits: limits.map((mm) => plain(words.limit(mm))), edges: edges.map((mm) => plain(words.edge(mm)))};
    })"""
    edges = [2000.0, 3048.0, 304.8, 1000.0]
    told = in_node(("words.js",), program, {"sizes": sizes, "limits": limits, "edges": edges})
    for system, page in zip(("metric", "imperial"), told, strict=True):
        with speaking(system):  # type: ignore[arg-type]
            assert page["sizes"] == [Quantity(v, u, "mm").size_text() for v, u in sizes]
            assert page["limits"] == [length(mm) for mm in limits]
            assert page["edges"] == [edge(mm) for mm in edges]


@needs_node
def test_the_figures_of_a_key_differ() -> None:
    program = """async (highs) => [false, true].map((imperial) => {
      const words = new Words(imperial);
      return highs.map((high) => [0, 1, 2, 3, 4].map((k) => words.figure((high * k) / 4, words.decimalsOf(high / 4))));
    })"""
    metric, imperial = in_node(("words.js",), program, [0.1, 0.3, 1.5, 4.0, 8.0, 20.0])
    assert metric[0] == ["0.000", "0.025", "0.050", "0.075", "0.100"]
    assert metric[4] == ["0.0", "2.0", "4.0", "6.0", "8.0"]
    assert all(len(set(ticks)) == 5 for ticks in metric + imperial)


@needs_node
def test_what_is_out_of_view_has_no_name_at_the_border() -> None:
    program = """async (places) => {
      const view = new View([0, 0, 4000, 3000]);
      Object.assign(view, {width: 800, height: 600});
      const whole = places.map((place) => view.shows(place));
      view.zoomAt(...view.toScreen(1000, 1000), 4);
      return [whole, places.map((place) => view.shows(place))];
    }"""
    whole, near = in_node(("view.js",), program, [[1000, 1000], [3900, 2900], [1000, 2900]])
    assert whole == [True, True, True]
    assert near == [True, False, False]


@needs_node
def test_what_was_found_is_read_by_pointing_near_it() -> None:
    marks = [
        {"line": [[0, 0], [1000, 0], [1000, 500]], "words": "crack 1"},
        {"line": [[2000, 2000]], "words": "sounds hollow"},
    ]
    program = """async ({marks, places}) => places.map((at) => siteNear(marks, at, 50))"""
    places = [[500, 40], [1045, 250], [500, 60], [2030, 2030], [2040, 2040]]
    found = in_node(("site.js",), program, {"marks": marks, "places": places})
    assert found == ["crack 1", "crack 1", "", "sounds hollow", ""]


@needs_node
def test_lengths_are_told_as_the_package_tells_them() -> None:
    from flatscan.said import reach, speaking, tape

    # Half-centimetres and quarters of an inch: both round as Python does.
    lengths = [0.0, 12.0, 304.8, 609.6, 914.4, 2104.0, 3048.0, 2000.0, 200.0, 7777.0]
    lengths += [1265.0 + 10.0 * k for k in range(60)] + [125.0, 375.0, 625.0, 1625.0] + [6.35 * k for k in range(40)]
    program = """async (lengths) => [false, true].map((imperial) => {
      const words = new Words(imperial);
      return lengths.map((mm) => [words.tape(mm), words.reach(mm)].map((text) => text.replaceAll(HELD, " ")));
    })"""
    metric, imperial = in_node(("words.js",), program, lengths)
    assert metric == [[tape(mm), reach(mm)] for mm in lengths]
    with speaking("imperial"):
        assert [row[0] for row in imperial] == [tape(mm) for mm in lengths]
        assert [row[1] for row in imperial if "ft" in row[1]] == [reach(mm) for mm in lengths if mm >= 304.8]


def test_the_doubt_of_a_scan_is_not_nothing() -> None:
    """Guards the twin above: with no doubt at all both sides would agree on nothing."""
    surface = floor_with_holes(np.random.default_rng(5))
    assert np.nanmin(LeftNoise.of(surface).sigma_mm) > 0.01
