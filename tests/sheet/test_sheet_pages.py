"""The printed pages, read back with pypdf: size, fonts, what stands on them and that nothing is cut off."""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Callable
from typing import Any

import pytest
from pypdf import PageObject, PdfReader

from flatscan.sheet.layout import lay_out
from flatscan.sheet.pdf import as_pdf
from flatscan.sheet.plan import plan, scale_text
from flatscan.sheet.predicted import Outlook
from flatscan.sheet.request import SheetRequest

Ask = Callable[..., SheetRequest]
PT_PER_MM = 72.0 / 25.4
L_SHAPE = "0,0 5,0 5,4 3,4 3,2.5 0,2.5"
HOSTILE = '#panic("x") $1/0$ *a* `b` [c] \\u{41} <d> "e" @f'
SHEETS: list[dict[str, Any]] = [
    {"room": "5.0 x 4.0 m"},
    {"outline": L_SHAPE, "tools": "straightedge", "title": HOSTILE},
    {"room": "12 x 8"},
    {"room": "16' 5\" x 13'", "units": "imperial", "paper": "letter"},
    {"room": "7 x 5", "tools": "staff", "joints": 0, "lips": 0},
    {"room": "6 x 1.2", "tools": "straightedge", "stations": 25, "paper": "letter"},
    {"room": "2.5 x 2.2", "joints": 45, "lips": 60},
]


@pytest.fixture(scope="module", params=SHEETS, ids=lambda said: str(said.get("room", "L")))
def printed(request: pytest.FixtureRequest, ask: Ask, some_outlook: Outlook) -> tuple[SheetRequest, PdfReader]:
    asked = ask(**request.param)
    return asked, PdfReader(io.BytesIO(as_pdf(asked, lay_out(asked), some_outlook)))


def placed_text(page: PageObject) -> list[tuple[float, float, str]]:
    """Every piece of text with where it starts, points from the page's lower left corner."""
    found: list[tuple[float, float, str]] = []

    def note(text: str, cm: list[float], tm: list[float], _font: object, _size: float) -> None:
        x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
        y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
        if text.strip():
            found.append((float(x), float(y), text.strip()))

    page.extract_text(visitor_text=note)
    return found


def test_pages_have_exactly_the_size_of_the_paper(printed: tuple[SheetRequest, PdfReader]) -> None:
    asked, pdf = printed
    # ISO 216: A4 is 210 x 297 mm. ANSI Y14.1: letter is 8.5 x 11 in. A point is 1/72 in.
    wanted = (210 * PT_PER_MM, 297 * PT_PER_MM) if asked.paper == "a4" else (612.0, 792.0)
    for page in pdf.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.01)


def test_every_font_is_embedded(printed: tuple[SheetRequest, PdfReader]) -> None:
    fonts = 0
    for page in printed[1].pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            (inner,) = font.get_object()["/DescendantFonts"]
            descriptor = inner.get_object()["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)
            fonts += 1
    assert fonts >= len(printed[1].pages)


def test_no_text_starts_outside_the_margins(printed: tuple[SheetRequest, PdfReader]) -> None:
    for page in printed[1].pages:
        for x, y, text in placed_text(page):
            assert 10 * PT_PER_MM <= x <= float(page.mediabox.width) - 14 * PT_PER_MM, text
            assert 5 * PT_PER_MM <= y <= float(page.mediabox.height) - 12 * PT_PER_MM, text


def test_every_line_to_fill_in_is_there_and_pages_are_few(printed: tuple[SheetRequest, PdfReader]) -> None:
    asked, pdf = printed
    layout = lay_out(asked)
    texts = [page.extract_text() for page in pdf.pages]
    words = set(" ".join(texts).replace("\n", " ").split())
    wanted = {str(p.number) for p in layout.placements} | {f"S{p.number}" for p in layout.staff}
    wanted |= {f"J{k}" for k in range(1, asked.joints + 1)} | {f"L{k}" for k in range(1, asked.lips + 1)}
    assert wanted <= words
    # A page holds some 25 lines of boxes; four more for the plan, the advice, what is found, and what is left over;
    # a big layout has two plans more.
    boxes = -(-len(layout.stations_mm) // 13) * len(layout.placements) + (asked.joints + asked.lips) / 2
    assert len(pdf.pages) <= 6 + math.ceil((boxes + len(layout.staff) / 2) / 22)
    assert f"Page 1 of {len(pdf.pages)}" in texts[0]
    assert all(len(text.split()) > 12 for text in texts)  # no page but holds something


def test_the_first_page_says_where_0_is_and_what_the_sheet_will_give(printed: tuple[SheetRequest, PdfReader]) -> None:
    first = " ".join(printed[1].pages[0].extract_text().split())
    for words in ("Place, room", "Read by", "Date", "stand in it with your back to it", "u is one standard uncertainty",
                  "printed at 100 %", "three spacings", "Half the spacing"):  # fmt: skip
        assert words in first
    advice = " ".join(" ".join(page.extract_text() for page in printed[1].pages).split())
    assert "Asbestos" in advice
    assert ("Reversal check" in advice) == (printed[0].tools != "staff")


def test_boxes_are_high_enough_for_handwriting(ask: Ask, some_outlook: Outlook) -> None:
    asked = ask(room="5.0 x 4.0 m")
    pdf = PdfReader(io.BytesIO(as_pdf(asked, lay_out(asked), some_outlook)))
    page = next(page for page in pdf.pages if "metres from the dot" in page.extract_text())
    left = [(y, text) for x, y, text in placed_text(page) if x < 24 * PT_PER_MM and text.isdigit()]
    rows = sorted((int(text), y) for y, text in left)[:16]
    assert [number for number, _ in rows] == list(range(1, 17))
    steps = [(before - after) / PT_PER_MM for (_, before), (_, after) in itertools.pairwise(rows)]
    assert min(steps) >= 8.0


def test_what_a_person_typed_is_printed_and_never_run(ask: Ask, some_outlook: Outlook) -> None:
    asked = ask(room="5 x 4", title=HOSTILE)
    pdf = PdfReader(io.BytesIO(as_pdf(asked, lay_out(asked), some_outlook)))
    assert HOSTILE.replace(" ", "") in pdf.pages[0].extract_text().replace(" ", "").replace("\n", "")


def test_an_imperial_sheet_speaks_of_inches_and_a_metric_one_does_not(ask: Ask, some_outlook: Outlook) -> None:
    for units, has, has_not in (("imperial", "inches", " mm"), ("metric", " mm", "inches")):
        asked = ask(room="16 ft x 13 ft", units=units)
        pdf = PdfReader(io.BytesIO(as_pdf(asked, lay_out(asked), some_outlook)))
        text = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
        assert has in text
        assert has_not not in text


def test_two_runs_print_the_same_bytes(ask: Ask, some_outlook: Outlook) -> None:
    asked = ask(room="3 x 3")
    assert as_pdf(asked, lay_out(asked), some_outlook) == as_pdf(asked, lay_out(asked), some_outlook)


@pytest.mark.parametrize("said", SHEETS)
def test_the_plan_is_true_to_its_scale_and_fits(ask: Ask, said: dict[str, Any]) -> None:
    asked = ask(**said)
    layout = lay_out(asked)
    drawn = plan(asked, layout.placements, layout.staff, room_mm=(167.0, 142.0))
    scale = int(drawn["scale"].rpartition(":")[2].rstrip(")"))
    assert drawn["width"] * scale == pytest.approx(asked.room.extent_mm[0], abs=0.6)  # kept to 0.001 mm of paper
    assert drawn["width"] <= 167.0
    assert drawn["height"] <= 142.0
    for bar, placement in zip(drawn["bars"], layout.placements, strict=True):
        assert math.dist(bar["start"], bar["end"]) * scale == pytest.approx(asked.edge_mm, abs=1.0)
        # No further from its true place than its lane.
        true = ((placement.start[0] - 0.0) / scale, drawn["height"] - placement.start[1] / scale)
        assert math.dist(bar["start"], true) <= 1.7 + 0.01
    labels = [bar["label"] for bar in drawn["bars"]]
    apart = [math.dist(a, b) for k, a in enumerate(labels) for b in labels[:k]]
    assert min(apart, default=9.0) > 2.5  # a figure is 1.7 mm high: none hides another


def test_imperial_scales_are_those_of_a_drawing_scale() -> None:
    assert scale_text(48, "imperial") == "1/4 in = 1 ft (1:48)"
    assert scale_text(32, "imperial") == "3/8 in = 1 ft (1:32)"
    assert scale_text(50, "metric") == "1:50"
