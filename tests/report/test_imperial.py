"""Inches and feet wherever people read: no metric figure is left over, and what is printed is what was measured."""

from __future__ import annotations

import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from flatscan import said
from flatscan.quantity import Quantity
from flatscan.report.marking.data import marking_data
from flatscan.report.marking.pdf import marking_pdf
from flatscan.report.page.page import page_html
from flatscan.report.result.result import json_of, result_of
from flatscan.report.tables.tables import gaps_csv
from flatscan.report.terminal.full import full_text
from flatscan.report.terminal.screen import summary
from flatscan.report.words.cautions import cautions_for
from flatscan.settings import LevelSettings, Settings
from flatscan.workflow import check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.report.report import Report

SAMPLES = Path(__file__).parents[2] / "sample_scans"
#: What may be metric: a document's own figure in square brackets, bags as they are sold, what must be typed into a
#: file as it stands, a source's quoted figure, and what a file's unit was inferred from.
ALLOWED = (
    r"\[[^\]]*\]",
    r"\d+ kg \(\d+ lb\)",
    r"°F \([\d.]+ °C\)",
    r"\([\d.]+ in\)",
    r"assumed: [^(]*\(common practice",
    r"such as # [^.]*\d+\.?\d* mm",
    r"it would be [\d.]+ m across",
    r"[\d,]+ points per m²",
    r"\S+: [\d.,]+ m² of mesh",
    r"half a metre",
    r"not 300 mm or 12 in",
    r"every 300 mm or 12 in",
)
METRIC = re.compile(
    r"(?<![\w/])[\d.]+ ?(?:mm|cm|m|m²|mm/m|l|litres?|kg|°C)(?![\w°])|\b(?:milli)?metres?\b|\blitres?\b", re.I
)


class _Text(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.parts: list[str] = []
        self._silent = 0
        self.feed(html)

    def handle_starttag(self, tag: str, _attrs: object) -> None:
        self._silent += tag in {"script", "style"}

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in {"script", "style"}

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.parts.append(data)


def metric_left(text: str) -> list[str]:
    """Metric figures in the text with what stands beside them."""
    flat = " ".join(text.split())
    for allowed in ALLOWED:
        flat = re.sub(allowed, " ", flat)
    return [flat[max(0, m.start() - 60) : m.end() + 20] for m in METRIC.finditer(flat)]


def run(name: str) -> Report:
    product = LevelSettings(product_file=str(SAMPLES / "old_tiled_kitchen" / "product.toml"))
    return check(SAMPLES / name, settings=Settings(units="imperial", level=product))


@pytest.fixture(
    scope="module",
    params=[
        "basement_feet_inches/readings.csv",
        "hallway_cloud/cloud.txt",
        pytest.param("old_tiled_kitchen", marks=pytest.mark.long),
        pytest.param("tiled_bathroom_photos", marks=pytest.mark.long),
        pytest.param("large_hall_laser/scan.laz", marks=pytest.mark.long),
        pytest.param("bathroom_mesh/room.glb", marks=pytest.mark.long),
        pytest.param("living_room_levels/levels.csv", marks=pytest.mark.long),
    ],
)
def imperial(request: pytest.FixtureRequest) -> Report:
    return run(request.param)


@pytest.fixture(autouse=True)
def _inches() -> Iterator[None]:
    with said.speaking("imperial"):
        yield


def test_the_terminal_has_no_metric_figure_left(imperial: Report) -> None:
    for words in (summary, full_text):
        text = words(imperial, colour=False, width=200, files=[Path("out/report.html")])
        assert metric_left(text) == []
        assert re.search(r"\d in\b", text)


def test_the_page_has_no_metric_figure_left(imperial: Report) -> None:
    assert metric_left(" ".join(_Text(page_html(imperial, b"", b"", b"")).parts)) == []


def test_the_marking_sheet_has_no_metric_figure_left(imperial: Report) -> None:
    data = marking_data(imperial.plan, imperial.surface)
    pages = PdfReader(io.BytesIO(marking_pdf(data, "letter", cautions_for(imperial)))).pages
    text = " ".join(page.extract_text() for page in pages)
    assert metric_left(text) == []
    assert "feet and inches" in text or "4 in long on paper" in text or data.nothing


def test_what_is_looked_for_would_be_found() -> None:
    for text in ("a gap of 3.1 ± 0.8 mm", "at 2.10 m from", "0.64 m²", "1.2 litres", "metres from", "Primer: 0.1 kg"):
        assert metric_left(text), text
    for text in ("limit 0.118 in [3 mm]", "1 bag of 25 kg (55 lb)", "6 ft 11 in", "7.1 ft²", "1.7 US gal"):
        assert not metric_left(text), text


@given(st.floats(0.0, 100.0), st.floats(0.005, 8.0))
def test_inches_lead_back_to_the_millimetres_within_their_rounding(value: float, u: float) -> None:
    with said.speaking("imperial"):
        shown = Quantity(value, u, "mm").text()
    found = re.fullmatch(r"([\d.]+) ± ([\d.]+) in", shown)
    assert found is not None
    for text, true in zip(found.groups(), (value, 2.0 * u), strict=True):
        step = 10.0 ** -len(text.partition(".")[2])
        assert abs(float(text) - true / 25.4) <= 0.5 * step * (1.0 + 1e-9)
    # U is told with one figure at least.
    assert step <= max(2.0 * u / 25.4, 1e-4) * (1.0 + 1e-9)


@given(st.floats(0.0, 20_000.0))
def test_feet_and_inches_lead_back_to_the_place(length_mm: float) -> None:
    with said.speaking("imperial"):
        for text, step_in in ((said.tape(length_mm), 0.5), (said.tape(length_mm, fine=True), 0.125)):
            assert abs(inches(text) * 25.4 - length_mm) <= 0.5 * step_in * 25.4 + 1e-6
        assert inches(said.marks(length_mm).replace("'", " ft").replace('"', " in")) == inches(
            said.tape(length_mm, fine=True)
        )


def inches(text: str) -> float:
    """``6 ft 10 7/8 in`` as inches."""
    found = re.fullmatch(r"(?:(\d+) ft)? ?(?:(\d+)?(?: ?(\d+)/(\d+))? in)?", text)
    assert found is not None, text
    feet, whole, top, bottom = (None if part is None else int(part) for part in found.groups())
    return 12.0 * (feet or 0) + (whole or 0) + ((top or 0) / bottom if bottom else 0.0)


@pytest.mark.parametrize("mm", [0.5, 0.8, 1.0, 2.0, 3.0, 3.175, 4.7625, 5.0, 6.0, 6.35, 10.0])
def test_a_limit_keeps_the_figure_that_its_document_states(mm: float) -> None:
    text = said.length(mm)
    told = float(text.partition(" in")[0])
    assert told == pytest.approx(mm / 25.4, abs=0.0005)
    stated = re.search(r"\[([^\]]+)\]", text)
    if stated is None:
        assert told * 25.4 == pytest.approx(mm, rel=1e-9)
    elif stated[1].endswith("mm"):
        assert float(stated[1].removesuffix(" mm")) == mm
    else:
        assert inches(stated[1]) * 25.4 == pytest.approx(mm)


def test_metric_is_what_is_spoken_where_nothing_was_asked_for() -> None:
    with said.speaking("metric"):
        assert said.length(3.0) == "3 mm"
        assert Quantity(3.14, 0.42, "mm").text() == "3.1 ± 0.8 mm"
        assert said.tape(2104.0) == "2.10 m"


def test_an_inner_block_ends_with_what_was_spoken_before() -> None:
    with said.speaking("metric"):
        pass
    assert said.imperial()


def test_files_for_programs_stay_metric(imperial: Report) -> None:
    with said.speaking("metric"):
        metric = gaps_csv(imperial), result_of(imperial)
    assert gaps_csv(imperial) == metric[0]
    found = result_of(imperial)
    assert numbers(found) == numbers(metric[1])


def numbers(result: object) -> object:
    """Every number of the result, in order."""
    text = json.dumps(json.loads(json_of(result)), separators=(",", ":"))  # type: ignore[arg-type]
    return re.findall(r"(?<=[:\[,])-?\d+\.?\d*(?:e-?\d+)?(?=[,}\]])", text)
