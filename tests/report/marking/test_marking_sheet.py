"""The marking-out sheet, read back with pypdf: true to scale, the right figures, few pages, nothing cut off."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pypdf import PageObject, PdfReader

from flatscan.report.marking import MarkingData, marking_data, marking_pdf
from flatscan.report.marking.clusters import MOST_DRAWINGS, SCALES, clusters_of
from flatscan.report.marking.page_data import page_data
from flatscan.report.words.cautions import ASBESTOS, LIMITS, SILICA
from flatscan.report.words.wording import METHOD_TEXT
from flatscan.said import speaking
from flatscan.settings import Paper
from flatscan.surface.surface import Surface

from .conftest import joint_work, plan_of

PT_PER_MM = 72.0 / 25.4
PAPERS: tuple[Paper, ...] = ("a4", "letter")
_READ: dict[int, tuple[PageObject, list[np.ndarray]]] = {}
Pages = Callable[[str, Paper], PdfReader]


@pytest.fixture(scope="module")
def pages(data: MarkingData, crowded: MarkingData, empty: MarkingData) -> Pages:
    known: dict[tuple[str, Paper], PdfReader] = {}
    every = {"data": data, "crowded": crowded, "empty": empty}

    def read(name: str, paper: Paper) -> PdfReader:
        if (name, paper) not in known:
            pdf = marking_pdf(every[name], paper, (SILICA, ASBESTOS, LIMITS))
            known[name, paper] = PdfReader(io.BytesIO(pdf))
        return known[name, paper]

    return read


def drawn_paths(page: PageObject) -> list[np.ndarray]:
    """The points of every path, in mm from the page's lower left corner; read once."""
    key = id(page)
    if key not in _READ:
        _READ[key] = (page, _paths(page))  # the page is kept, so that no other gets its number
    return _READ[key][1]


def _paths(page: PageObject) -> list[np.ndarray]:
    paths: list[list[tuple[float, float]]] = [[]]

    def note(operator: bytes, operands: Any, cm: list[float], _tm: list[float]) -> None:
        def at(x: float, y: float) -> tuple[float, float]:
            return (
                (float(x) * cm[0] + float(y) * cm[2] + cm[4]) / PT_PER_MM,
                (float(x) * cm[1] + float(y) * cm[3] + cm[5]) / PT_PER_MM,
            )

        if operator in {b"m", b"l"}:
            paths[-1].append(at(*operands))
        elif operator == b"re":
            x, y, wide, high = (float(v) for v in operands)
            paths[-1] += [at(x, y), at(x + wide, y + high)]
        elif operator in {b"f", b"F", b"f*", b"S", b"s", b"B", b"B*", b"b", b"n"}:
            paths.append([])

    page.extract_text(visitor_operand_before=note)
    return [np.array(path) for path in paths if path]


def text_of(pdf: PdfReader) -> str:
    return " ".join(re.sub(r"\s+", " ", page.extract_text()) for page in pdf.pages)


def scale_on(page: PageObject) -> int | None:
    found = re.search(r"true to scale 1:(\d+)", re.sub(r"\s+", " ", page.extract_text()))
    return int(found.group(1)) if found else None


@pytest.mark.parametrize("paper", PAPERS)
def test_the_check_bar_is_100_mm_long(pages: Pages, paper: Paper) -> None:
    """Ten filled boxes side by side: 100 mm from the first one's edge to the last one's, within 0.2 mm."""
    checked = 0
    for page in pages("data", paper).pages:
        if scale_on(page) is None:
            continue
        low = [path.min(axis=0) for path in drawn_paths(page)]
        size = [np.ptp(path, axis=0) for path in drawn_paths(page)]
        boxes = [at for at, (w, h) in zip(low, size, strict=True) if abs(w - 10.0) < 0.02 and abs(h - 2.0) < 0.02]
        assert len(boxes) == 10
        across = np.array(boxes)[:, 0]
        assert across.max() + 10.0 - across.min() == pytest.approx(100.0, abs=0.2)
        checked += 1
    assert checked >= 2


def test_for_inches_the_check_bar_is_4_in_long(data: MarkingData) -> None:
    """Eight filled boxes of half an inch side by side, within 0.2 mm of 101.6 mm."""
    with speaking("imperial"):
        pdf = PdfReader(io.BytesIO(marking_pdf(data, "letter", (LIMITS,))))
    (page, *_) = (page for page in pdf.pages if scale_on(page) is not None)
    half_in = 12.7
    ends = [(path.min(axis=0), np.ptp(path, axis=0)) for path in drawn_paths(page)]
    left = [at[0] for at, (w, h) in ends if abs(w - half_in) < 0.02 and abs(h - 2.0) < 0.02]
    assert len(left) == 8
    assert max(left) + half_in - min(left) == pytest.approx(4 * 25.4, abs=0.2)
    assert "This bar is 4 in long on paper." in text_of(pdf)


@pytest.mark.parametrize("paper", PAPERS)
def test_areas_are_drawn_true_to_scale(pages: Pages, data: MarkingData, paper: Paper) -> None:
    """Each area's marking outline is on a page, its corners apart as on the floor divided by the scale stated there."""
    found = set()
    for page in pages("data", paper).pages:
        scale = scale_on(page)
        if scale is None:
            continue
        paths = drawn_paths(page)
        for marked in data.areas:
            wanted = np.ptp(marked.rings[0], axis=0) / scale
            same = [
                p
                for p in paths
                if len(p) >= len(marked.rings[0]) - 1 and np.allclose(np.ptp(p, axis=0), wanted, atol=0.15)
            ]
            if same:
                found.add(marked.area.number)
    assert found == {marked.area.number for marked in data.areas}


@pytest.mark.parametrize("name", ["data", "crowded", "empty"])
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_cut_off(pages: Pages, name: str, paper: Paper) -> None:
    # ISO 216: A4 is 210 x 297 mm. ANSI Y14.1: letter is 8.5 x 11 in.
    wanted = (210.0, 297.0) if paper == "a4" else (215.9, 279.4)
    pdf = pages(name, paper)
    for page in pdf.pages:
        size = (float(page.mediabox.width) / PT_PER_MM, float(page.mediabox.height) / PT_PER_MM)
        assert size == pytest.approx(wanted, abs=0.01)
        every = np.concatenate(drawn_paths(page))
        # Margins are 14 mm; what stands outside a wall may use 8 mm of them.
        assert every.min() > 6.0
        assert np.all(every.max(axis=0) < np.array(wanted) - 6.0)


def test_every_corner_is_in_its_table_with_its_two_distances(pages: Pages, data: MarkingData) -> None:
    text = text_of(pages("data", "a4"))
    for marked in data.areas:
        assert marked.marked is not None
        one, other = marked.marked.walls
        heads = rf"W{one.number}, m W{other.number}, m"
        pieces = re.findall(
            rf"Area {marked.area.number}(?: \(to {marked.area.action}\)|, more) {heads} "
            r"((?:[a-z]+ -?[\d.]+ -?[\d.]+ ?)+)",
            text,
        )
        rows = re.findall(r"([a-z]+) (-?\d+\.\d\d) (-?\d+\.\d\d)", " ".join(pieces))
        assert [row[0] for row in rows] == marked.letters
        told = np.array([(float(a), float(b)) for _, a, b in rows])
        np.testing.assert_allclose(told, np.concatenate(marked.marked.from_mm) / 1000.0, atol=0.00501)


def test_the_sheet_says_what_it_is_and_what_comes_first(pages: Pages) -> None:
    text = text_of(pages("data", "letter"))
    for said in (
        "As planned from the measured floor: measure again after the work.",
        METHOD_TEXT["grind_and_patch"],
        "This bar is 100 mm long on paper.",
        SILICA.text,
        ASBESTOS.text,
        LIMITS.text,
        "Lips to take down",
        "movement joint: carry it through",
        "hall door",
        "floor drain",
    ):
        assert said in text, said


def test_names_from_files_are_text_and_not_run(pages: Pages) -> None:
    text = text_of(pages("data", "a4"))
    assert '#panic("x")' in text
    assert "\x1b" not in text


def test_the_sum_of_the_joints_is_told(pages: Pages, data: MarkingData) -> None:
    assert data.joint_work is not None
    work, text = data.joint_work, text_of(pages("data", "a4"))
    over, may_be = (sum(f.length_mm for f in work.fills if f.word == word) / 1000.0 for word in ("over", "not_decided"))
    assert f"Joints to fill: {over:.1f} m in all" in text
    # Of nine lips the fourth is not decided.
    assert "8 lips to take down. " in text
    assert f"{may_be:.1f} m more of joint and 1 more lip are not decided: read them by hand first" in text


def test_the_headline_is_the_terminal_s(pages: Pages) -> None:
    text = text_of(pages("data", "a4"))
    assert "11.9 litres (9.8 to 14.2, eight floors of ten) of " in text
    assert "Buy 3 bags of 25 kg, keep 1 sealed." in text
    assert "To grind off: 0.04 litres of floor, on 0.90 m²." in text


def test_only_what_is_over_is_drawn_and_listed(data: MarkingData) -> None:
    page = page_data(data, "a4", ())
    numbers = [f"L{k}" for k in range(1, 9)]
    assert [row[0] for row in page["lips"]["rows"]] == numbers
    assert [row[1] for row in page["lips"]["rows"]] == ["V0", "V1", "V2", "V4", "V5", "V6", "V7", "V8"]
    assert [lip["text"] for lip in page["overview"]["lips"]] == numbers
    assert data.joint_work is not None
    over = sum(fill.word == "over" for fill in data.joint_work.fills)
    assert len(page["joints"]["rows"]) == len(page["overview"]["joints"]) == over


def test_what_is_not_decided_alone_is_nothing_to_mark_out(empty: MarkingData, data: MarkingData) -> None:
    assert data.joint_work is not None
    work = data.joint_work
    fills, lips = ([one for one in found if one.word == "not_decided"] for found in (work.fills, work.lips))
    undecided = replace(empty, joint_work=replace(work, fills=tuple(fills), lips=tuple(lips)))
    assert undecided.nothing
    assert "not decided: read them by hand first" in " ".join(page_data(undecided, "a4", ())["way"])
    assert not replace(undecided, joint_work=replace(work, fills=())).nothing


def test_where_tiles_come_up_no_joint_and_no_lip_is_marked(surface: Surface) -> None:
    plan = plan_of(surface, joint_work(14, 9))
    lift = replace(plan.methods[0], name="lift_tiles", ground_l=0.0, ground_m2=0.0)
    bare = replace(plan, methods=(lift,), chosen="lift_tiles", areas=(), grind_mm=None, dams=(), bounds=None)
    data = marking_data(bare, surface)
    assert data.nothing
    assert page_data(data, "a4", ())["way"] == [f"The way drawn here: {METHOD_TEXT['lift_tiles']}."]


@pytest.mark.parametrize("paper", PAPERS)
def test_many_areas_and_joints_take_few_pages(pages: Pages, crowded: MarkingData, paper: Paper) -> None:
    assert len(crowded.areas) >= 35
    pdf = pages("crowded", paper)
    assert sum(scale_on(page) is not None for page in pdf.pages) <= MOST_DRAWINGS
    assert len(pdf.pages) <= 20
    text = text_of(pdf)
    assert "all of them are in joint_work.csv" in text
    assert len(re.findall(r"\bL\d+ V\d+\b", text)) == 60
    assert "10 more are in joint_work.csv" in text


def test_nothing_to_do_is_one_page_that_says_so(pages: Pages, empty: MarkingData) -> None:
    assert empty.nothing
    pdf = pages("empty", "a4")
    assert len(pdf.pages) == 1
    assert "There is nothing to mark out." in text_of(pdf)


def test_two_runs_agree(data: MarkingData) -> None:
    assert marking_pdf(data) == marking_pdf(data)


def test_near_areas_share_a_drawing_and_each_is_as_large_as_fits() -> None:
    space = (150.0, 120.0)
    rng = np.random.default_rng(2)
    for count in (1, 3, 12, 40):
        low = rng.uniform(0.0, (9000.0, 6000.0), (count, 2))
        boxes = [(at, at + rng.uniform(150.0, 900.0, 2)) for at in low]
        found = clusters_of(boxes, space)
        assert sorted(k for cluster in found for k in cluster.members) == list(range(count))
        assert len(found) <= MOST_DRAWINGS
        for cluster in found:
            size = np.max([boxes[k][1] for k in cluster.members], axis=0) - np.min(
                [boxes[k][0] for k in cluster.members], axis=0
            )
            assert np.all(size / cluster.scale <= space)
            larger = [scale for scale in SCALES if scale < cluster.scale]
            assert not larger or np.any(size / larger[-1] > space)
    assert clusters_of([], space) == ()
