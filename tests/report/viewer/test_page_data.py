"""The page's data: whole, safe in a page, and enough to lay any edge as the program does."""

from __future__ import annotations

import importlib.util
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from flatscan.measures.laid_edge import lay_on
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.report.report import Report
from flatscan.report.viewer import edge_doubt
from flatscan.report.viewer.edge_doubt import floor_modes
from flatscan.report.viewer.pack import floor_data
from flatscan.report.viewer.photo import MOST_BYTES, photo_jpg, place_of_photo
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.survey import Door, Survey, Zone
from flatscan.surface.picture.floor_picture import FloorPicture
from flatscan.workflow import check

Build = Callable[..., Report]
SAMPLES = Path(__file__).parents[3] / "sample_scans"
QUICK = ("large_hall_laser/scan.laz", "living_room_levels/levels.csv", "hallway_cloud/cloud.txt")
SLOW_TO_MAKE = (
    "old_tiled_kitchen", "tiled_bathroom_photos", "bathroom_mesh/room.glb", "dining_room_straightedge/readings.csv",
    "shop_floor_levels/readings.csv", "basement_feet_inches/readings.csv",
)  # fmt: skip


def _oracle() -> ModuleType:
    path = Path(__file__).parents[2] / "oracles" / "laid_edges.py"
    spec = importlib.util.spec_from_file_location("laid_edges", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


ORACLE = _oracle()


@pytest.fixture(scope="module")
def room(build: Build) -> Report:
    return build(cell_mm=50.0)


@pytest.fixture(scope="module")
def page(room: Report) -> dict:
    return json.loads(floor_data(room).json())


def hold_against_the_program(report: Report, lines: int, u_within_mm: float) -> float:
    """Random lines by the page's arithmetic and by the program; the largest difference of a gap."""
    surface, page = report.surface, ORACLE.Page(floor_data(report).json())
    floor, rng = SurfaceChord.of(surface), np.random.default_rng(4)
    packed = SurfaceChord.of(replace(surface, estimate_mm=page.grids["height"].astype(np.float32)), left=floor.left)
    rows, cols = surface.height_mm.shape
    size = np.array([cols, rows]) * surface.cell_mm
    off, held = 0.0, 0
    for _ in range(lines):
        start, end = np.array(surface.origin_mm) + rng.uniform(-0.05, 1.05, (2, 2)) * size
        edge = (None, 200.0, 1000.0, 2000.0)[int(rng.integers(4))]
        ours, found = lay_on(floor, tuple(start), tuple(end), edge_mm=edge), page.lay(start, end, edge)
        if ours.gap is None:
            assert found is None
            continue
        assert found is not None
        off = max(off, abs(found[0] - ours.gap.value))
        if found[1] is None:
            continue
        # Of two places as deep, rounded heights may choose the other; so u is held on the page's own heights.
        same = lay_on(packed, tuple(start), tuple(end), edge_mm=edge)
        assert same.gap is not None
        assert same.deepest is not None
        if math.dist(same.deepest, found[3]) < 1e-6 * surface.cell_mm + 1e-6:
            assert found[1] == pytest.approx(same.gap.u, abs=u_within_mm)
            held += 1
    assert held > 0.5 * lines * 0.5
    return off


def test_on_an_invented_floor_the_page_lays_as_the_program_does(room: Report) -> None:
    assert hold_against_the_program(room, 60, 0.005) <= 0.0021


@pytest.mark.parametrize("sample", [*QUICK, *(pytest.param(name, marks=pytest.mark.long) for name in SLOW_TO_MAKE)])
def test_on_the_samples_the_page_lays_as_the_program_does(sample: str) -> None:
    """Heights are half of 0.002 mm off at most, and a gap is no more than two such halves."""
    assert hold_against_the_program(check(SAMPLES / sample), 40, 0.01) <= 0.0021


def test_modes_left_out_for_size_still_count_in_each_height(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    seen = np.ones((6, 9), bool)
    seen[2, 3] = False
    floors = np.cumsum(rng.normal(0.0, 0.4, (40, 6, 9)), axis=2).astype(np.float32)
    floors[:, ~seen] = np.nan
    every, nothing = floor_modes(floors, seen)
    assert nothing is None
    flat = floors[:, seen].astype(float)
    shown = np.stack([mode[seen] for mode in every])
    np.testing.assert_allclose(shown.T @ shown, np.cov(flat.T), atol=1e-6)
    monkeypatch.setattr(edge_doubt, "_MOST_NUMBERS", 5 * seen.size)
    some, rest = floor_modes(floors, seen)
    assert len(some) == 5
    assert rest is not None
    variance = sum(np.square(mode) for mode in some) + np.square(rest)
    np.testing.assert_allclose(variance[seen], flat.var(axis=0, ddof=1), rtol=1e-5)


def test_every_layer_is_there_and_says_what_the_program_knows(room: Report, page: dict) -> None:
    grids = {layer["name"]: ORACLE.unpack(layer) for layer in page["layers"]}
    surface = room.surface
    assert {"height", "sigma", "seen", "after", "gap_1000", "gap_2000"} <= set(grids)
    assert (page["rows"], page["cols"]) == surface.height_mm.shape
    np.testing.assert_allclose(grids["height"], surface.estimate_mm, atol=0.00101)
    np.testing.assert_array_equal(np.isnan(grids["height"]), ~surface.seen)
    np.testing.assert_array_equal(grids["seen"], surface.seen.astype(int) + surface.inside.astype(int))
    assert np.nanmax(grids["gap_2000"]) == pytest.approx(1.0, abs=0.01)
    assert np.nanmax(grids["gap_u_2000"]) == pytest.approx(0.2, abs=0.01)


def test_after_is_fill_less_grind(room: Report) -> None:
    fill, grind = np.zeros_like(room.surface.height_mm), np.zeros_like(room.surface.height_mm)
    fill[5, 7], grind[9, 3] = 4.25, 1.5
    planned = replace(room, plan=replace(room.plan, fill_mm=fill, grind_mm=grind))
    after = ORACLE.Page(floor_data(planned).json()).grids["after"]
    assert after[5, 7] == pytest.approx(4.25, abs=0.001)
    assert after[9, 3] == pytest.approx(-1.5, abs=0.001)
    assert np.count_nonzero(np.abs(after) > 0.001) == 2


def test_coarse_gaps_keep_the_worst(build: Build) -> None:
    """400,000 cells are shown as blocks, and the one bad cell is still the layer's largest."""
    report = build(cell_mm=5.0)
    bad = report.measurement.gap_maps[1].gap_mm.copy()
    bad[100, 200] = 7.3
    maps = (report.measurement.gap_maps[0], replace(report.measurement.gap_maps[1], gap_mm=bad))
    page = ORACLE.Page(floor_data(replace(report, measurement=replace(report.measurement, gap_maps=maps))).json())
    layer = next(layer for layer in page.data["layers"] if layer["name"] == "gap_2000")
    step = round(layer["cell_mm"] / 5.0)
    assert step > 1
    assert layer["rows"] == -(-page.data["rows"] // step)
    assert np.nanmax(page.grids["gap_2000"]) == pytest.approx(7.3, abs=0.01)
    assert page.grids["gap_2000"][100 // step, 200 // step] == pytest.approx(7.3, abs=0.01)


def test_letters_places_and_limits_are_those_of_the_map(room: Report, page: dict) -> None:
    assert [one["label"] for one in page["findings"]] == list("ABCDEFGH")[: len(page["findings"])]
    assert page["findings"][0]["verdict"] == "over"
    assert page["findings"][0]["limit_mm"] == 3.0
    assert [area["number"] for area in page["areas"]] == [1, 2]
    assert page["areas"][0]["most_mm"] == 4.1
    limit = {"edge_mm": 2000.0, "limit_mm": 3.0, "words": "3 mm under 2 m", "noise_mm": 0.9, "laid": True}
    assert page["limits"] == [limit]
    layer = next(layer for layer in page["layers"] if layer["name"] == "gap_2000")
    assert (layer["limit_mm"], layer["edge_mm"]) == (3.0, 2000.0)
    assert [rule["edge_mm"] for rule in page["edge"]["rules"]] == [1000.0, 2000.0]


def test_names_cannot_break_out_and_nothing_private_is_told(room: Report) -> None:
    bad = "</script><!--<script>alert(1)&\u2028\u2029\x1b[31m\u202e\x00'\""
    ring = np.array([(0.0, 0.0), (500.0, 0.0), (500.0, 400.0)])
    survey = Survey(
        file=InputFile(Path("secret_survey.toml"), "ab" * 32, "toml"),
        zones=(Zone("no_fill", bad, ring),),
        doors=(Door(bad, ((0.0, 0.0), (900.0, 0.0))),),
    )
    text = floor_data(replace(room, survey=survey)).json()
    for sign in ("<", ">", "&", "\u2028", "\u2029", "\x1b", "\u202e", "\x00"):
        assert sign not in text
    data = json.loads(text)
    assert data["zones"][0]["name"].startswith("</script><!--")
    assert data["doors"] == [[[0.0, 0.0], [900.0, 0.0]]]
    for private in ("secret", "kitchen", "5f5f", "toml", "laz", "seed", str(Path.home())):
        assert private not in text

    def keys(value: object) -> list[str]:
        if isinstance(value, dict):
            return [*value, *(k for v in value.values() for k in keys(v))]
        return [k for v in value for k in keys(v)] if isinstance(value, list) else []

    assert all(key.isascii() for key in keys(data))


def test_the_same_run_gives_the_same_data(room: Report) -> None:
    assert floor_data(room).json() == floor_data(room).json()


def test_nothing_seen_and_a_single_row_are_packed_too(build: Build, room: Report) -> None:
    unseen = np.full_like(room.surface.height_mm, np.nan)
    blind = replace(room.surface, height_mm=unseen, estimate_mm=unseen.copy(), white_mm=unseen.copy())
    page = ORACLE.Page(floor_data(replace(room, surface=blind)).json())
    assert np.isnan(page.grids["height"]).all()
    assert page.lay((100.0, 100.0), (900.0, 900.0), 1000.0) is None
    one = build(size=(1500.0, 100.0), notch=None, hole=None, cell_mm=100.0, spots=(((0.5, 0.5), 0.0, 500.0),))
    assert json.loads(floor_data(one).json())["rows"] == 1


def test_the_photo_lies_where_it_says() -> None:
    """A bright square at a known place of the floor, found again in the picture's own pixels."""
    from io import BytesIO

    from PIL import Image

    tone = np.zeros((3300, 4200), np.float32)
    rgb = np.zeros((*tone.shape, 3), np.uint8)
    rgb[2900:3000, 600:700] = 255
    few = (33, 42)
    picture = FloorPicture(
        kind="photos",
        tone=tone,
        rgb=rgb,
        pixel_mm=1.5,
        origin_mm=(-40.0, 25.0),
        map_cell_mm=150.0,
        source_mm=np.full(few, 1.5, np.float32),
        view_tan=np.zeros(few, np.float32),
        photo=np.zeros(few, np.int16),
    )
    place, data = place_of_photo(picture), photo_jpg(picture)
    assert len(data) <= MOST_BYTES
    image = np.asarray(Image.open(BytesIO(data)).convert("L"))
    assert image.shape == (place["height"], place["width"])
    rows, cols = np.nonzero(image > 128)
    assert place["flipped"]
    side = place["mm_per_pixel"]
    x = place["origin_mm"][0] + (cols.mean() + 0.5) * side
    y = place["origin_mm"][1] + (place["height"] - rows.mean() - 0.5) * side
    # Rounded to a pixel of the picture at either end.
    assert x == pytest.approx(-40.0 + 650 * 1.5, abs=side)
    assert y == pytest.approx(25.0 + 2950 * 1.5, abs=side)
