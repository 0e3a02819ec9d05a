"""Pages of three floors in a real browser: the system's Chromium, never one that is fetched."""

from __future__ import annotations

import datetime as dt
import importlib.util
import io
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np
import pytest

from flatscan.judgement.limits import Limit
from flatscan.report.page.page import page_html
from flatscan.report.picture.heatmap import heatmap_png
from flatscan.report.report import Report
from flatscan.settings import LevelSettings, Settings
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, Note, Photo, SeenCrack, Sound, Tapped, Visit
from flatscan.sources.survey.survey import Door, Survey, Zone
from flatscan.workflow import check

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

TESTS = Path(__file__).parents[1]
SAMPLES = TESTS.parent / "sample_scans"
HOSTILE = "</script><script>window.broken = 1</script><img src=x onerror=window.broken=1>"
CRACK = ((300.0, 300.0), (700.0, 400.0), (900.0, 350.0))
#: Warnings are left out: the tests' own look at the canvas makes one.
COMPLAINTS = {"error", "assert"}


def by_path(name: str) -> ModuleType:
    """Another folder's conftest, which no import finds."""
    path = TESTS / "report" / name / "conftest.py"
    spec = importlib.util.spec_from_file_location(f"browser_{name or 'report'}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def hostile_survey(folder: Path) -> Survey:
    """Everything a person may name, named so as to break out of the page."""
    from PIL import Image

    buffer = io.BytesIO()
    Image.new("RGB", (60, 40), (200, 120, 40)).save(buffer, format="JPEG")
    file = InputFile(folder / "survey.toml", "0a" * 32, "toml")
    visit = Visit(place=HOSTILE, address=HOSTILE, client=HOSTILE, date=dt.date(2025, 3, 4), notes=HOSTILE)
    photo = Photo(InputFile(folder / "photo.jpg", "0b" * 32, "jpg"), HOSTILE, (900.0, 800.0), buffer.getvalue())
    ring = np.array([[3300.0, 200.0], [4200.0, 200.0], [4200.0, 900.0], [3300.0, 900.0]])
    return Survey(
        file=file,
        zones=(Zone("no_fill", HOSTILE, ring),),
        doors=(Door(HOSTILE, ((1000.0, 0.0), (1900.0, 0.0))),),
        site=replace(
            NO_SITE,
            visit=visit,
            notes=(Note(HOSTILE, (500.0, 500.0)),),
            photos=(photo,),
            sound=Sound(
                tapped=Tapped(40, 1, 0, hollow_at_mm=((900.0, 800.0),)), cracks=(SeenCrack(CRACK, name=HOSTILE),)
            ),
            outline_mm=np.array([[0.0, 0.0], [4900.0, 0.0], [4900.0, 3100.0], [0.0, 3100.0]]),
        ),
    )


def drawn_floors(report: Report) -> Report:
    """The same floor as if made from readings: heights known by floors that could be."""
    surface, rng = report.surface, np.random.default_rng(3)
    rows, cols = surface.height_mm.shape
    y, x = np.mgrid[0.0 : 1.0 : rows * 1j, 0.0 : 1.0 : cols * 1j]
    waves = [np.sin(np.pi * (a * x + b * y + p)) for a, b, p in rng.uniform(0.5, 4.0, (6, 3))]
    by_draw = rng.normal(0.0, 0.3, (24, len(waves)))
    floors = surface.estimate_mm + np.tensordot(by_draw, np.array(waves), 1).astype(np.float32)
    estimate = floors.mean(axis=0).astype(np.float32)
    estimate[~surface.seen] = np.nan
    floors[:, ~surface.seen] = np.nan
    made = replace(surface, estimate_mm=estimate, realisations_mm=floors.astype(np.float32), kind="readings")
    # A limit under an edge that is too short to be laid, as of levels read far apart.
    short = Limit(what="gap", limit_mm=1.0, edge_mm=200.0)
    limits = (replace(report.limits[0], limits=(*report.limits[0].limits, short)), *report.limits[1:])
    return replace(report, surface=made, limits=limits)


@pytest.fixture(scope="session")
def floors(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Report]:
    """``hallway``: an invented capture run through everything; ``tiled``: joints, lips, a plan, hostile names."""
    base, joints, levelling = by_path(""), by_path("joints"), by_path("levelling")
    settings = Settings(level=LevelSettings(product_file=str(SAMPLES / "old_tiled_kitchen" / "product.toml")))
    hallway = check(SAMPLES / "hallway_cloud", settings=settings)
    plain = base.make_report(surface=base.make_surface(cell_mm=20.0))
    limits = (base.GAP_LIMITS, *joints.LIMITS) if isinstance(joints.LIMITS, tuple) else (base.GAP_LIMITS, joints.LIMITS)
    tiled = joints.judged(plain, joints.make_joints(), limits)
    tiled = replace(
        tiled,
        plan=levelling.make_plan(plain.surface),
        picture=joints.make_picture(),
        survey=hostile_survey(tmp_path_factory.mktemp("survey")),
    )
    return {"hallway": hallway, "tiled": tiled, "readings": drawn_floors(plain)}


@pytest.fixture(scope="session")
def files(floors: dict[str, Report], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The pages as files."""
    folder = tmp_path_factory.mktemp("pages")
    found = {}
    for name, report in floors.items():
        found[name] = folder / f"{name}.html"
        found[name].write_text(page_html(report, heatmap_png(report)), encoding="utf-8", newline="\n")
    return found


@dataclass
class Opened:
    """A page that was opened, with all it complained of and all it asked the network for."""

    page: Page
    complaints: list[str]
    requests: list[str]


Open = Callable[..., Opened]


@pytest.fixture
def opened(browser: Browser, files: dict[str, Path]) -> Iterator[Open]:
    """Open one of the pages; ``context`` as playwright names it."""
    contexts = []

    def made(name: str, *, wait: bool = True, **context: object) -> Opened:
        shape = {"viewport": {"width": 1100, "height": 900}, "reduced_motion": "reduce", **context}
        contexts.append(browser.new_context(**shape))  # type: ignore[arg-type]
        page = contexts[-1].new_page()
        one = Opened(page, [], [])
        page.on("console", lambda said: one.complaints.append(said.text) if said.type in COMPLAINTS else None)
        page.on("pageerror", lambda error: one.complaints.append(str(error)))
        page.on("request", lambda asked: one.requests.append(asked.url[:60]))
        page.goto(files[name].as_uri())
        if wait:
            page.wait_for_selector("#viewer[data-prepared]")
        return one

    yield made
    for context in contexts:
        context.close()
