"""The straightedge on the page, dragged and moved by keys, shows the numbers of the package."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest

from flatscan.measures.laid_edge import LaidEdge, lay_edge
from flatscan.report.report import Report
from flatscan.report.viewer.edge_verdict import EdgeRule, edge_verdict

#: Heights are packed in steps of 0.002 mm: a gap of three of them is not 0.01 mm off.
NEAR_MM = 0.01
Place = tuple[float, float]


def number(text: str | None) -> float | None:
    return None if text in {None, "null", "NaN"} else float(text or "nan")


class Edge:
    """What the page says of the edge, and a hand to move it."""

    def __init__(self, page: object, report: Report) -> None:
        self.page, self.report = page, report
        self.data = json.loads(page.text_content("#floor-data"))
        self.scale = float(page.get_attribute("#map canvas", "data-view").split()[2])
        page.evaluate("document.querySelector('.frame').scrollIntoView({block: 'start', behavior: 'instant'})")

    def said(self) -> dict[str, str]:
        return self.page.evaluate("({...document.getElementById('edge-result').dataset})")

    def ends(self, said: dict[str, str] | None = None) -> tuple[Place, Place]:
        said = said or self.said()
        p, q = ([float(v) for v in said[name].split()] for name in ("startMm", "endMm"))
        return (p[0], p[1]), (q[0], q[1])

    def choose(self, value: str) -> None:
        self.page.locator(f"input[name=edge][value='{value}']").evaluate("one => one.click()")

    def drag(self, grip: str, to: Place) -> None:
        """By mouse, so that the end comes to lie at ``to`` where the length is free."""
        which = 0 if grip == "grip-p" else 1
        at = self.ends()[which]
        box = self.page.locator(f"#{grip}").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        mouse = self.page.mouse
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + (to[0] - at[0]) * self.scale, y - (to[1] - at[1]) * self.scale)
        mouse.up()

    def held_against_the_package(self) -> LaidEdge:
        """The page's number, contacts, doubt and word are those of the package for the same line."""
        said = self.said()
        p, q = self.ends(said)
        edge = number(said["edgeMm"])
        laid = lay_edge(self.report.surface, p, q, edge_mm=edge)
        gap = number(said["gapMm"])
        assert (gap is None) == (laid.gap is None)
        if laid.gap is None or gap is None:
            return laid
        assert gap == pytest.approx(laid.gap.value, abs=NEAR_MM)
        contacts = [float(v) for v in said["contactsMm"].split()]
        if contacts and np.allclose(contacts, np.ravel(laid.contacts), atol=1e-3):
            # Heights a thousandth apart may rest elsewhere; where they rest the same, they are known as well.
            assert number(said["uMm"]) == pytest.approx(laid.gap.u, abs=NEAR_MM)
        assert said["verdict"] in self.words(laid, edge)
        return laid

    def words(self, laid: LaidEdge, edge: float | None) -> set[str]:
        """The package's word; two where the gap's last hundredth decides."""
        limits = [one["limit_mm"] for one in self.data["limits"] if one["edge_mm"] == edge and one["laid"]]
        if not limits or laid.gap is None:
            return {""}
        rule = EdgeRule(**next(one for one in self.data["edge"]["rules"] if one["edge_mm"] == edge))
        return {
            edge_verdict(
                type(laid.gap)(max(0.0, laid.gap.value + off), max(0.0, laid.gap.u + way), laid.gap.unit),
                min(limits),
                rule,
                confidence=self.report.settings.judge.confidence,
                bridges_hole=laid.bridges_hole,
            )
            for off in (-NEAR_MM, 0.0, NEAR_MM)
            for way in (-NEAR_MM, 0.0, NEAR_MM)
        }


def random_place(report: Report, rng: np.random.Generator) -> Place:
    rows, cols = np.nonzero(report.surface.inside)
    k = int(rng.integers(len(rows)))
    x, y = report.surface.xy_mm(float(rows[k]), float(cols[k]))
    return x + rng.uniform(-8, 8), y + rng.uniform(-8, 8)


@pytest.mark.parametrize("name", ["hallway", "tiled", "readings"])
def test_dragged_to_twenty_lines_it_shows_the_packages_numbers(
    name: str, opened: Callable, floors: dict[str, Report]
) -> None:
    one = opened(name)
    edge, rng = Edge(one.page, floors[name]), np.random.default_rng(11)
    lengths = [str(rule["edge_mm"]).removesuffix(".0") for rule in edge.data["edge"]["rules"]]
    gaps = []
    for k in range(20):
        edge.choose("free" if k % 2 else lengths[k // 2 % len(lengths)])
        before = edge.ends()
        edge.drag("grip-p", random_place(floors[name], rng))
        edge.drag("grip-q", random_place(floors[name], rng))
        said = edge.said()
        assert edge.ends(said) != before
        length = math.dist(*edge.ends(said))
        assert said["edgeMm"] == "null" if k % 2 else length == pytest.approx(float(said["edgeMm"]), abs=1e-6)
        laid = edge.held_against_the_package()
        gaps.append(-1.0 if laid.gap is None else laid.gap.value)
    assert sum(gap > 0.1 for gap in gaps) >= 8  # the lines do say something
    assert one.complaints == []


def test_an_end_goes_where_it_is_dragged(opened: Callable, floors: dict[str, Report]) -> None:
    edge = Edge(opened("tiled").page, floors["tiled"])
    edge.choose("free")
    edge.drag("grip-p", (700.0, 2300.0))
    edge.drag("grip-q", (2600.0, 900.0))
    one_pixel = 1.01 / edge.scale
    assert math.dist(edge.ends()[0], (700.0, 2300.0)) < one_pixel
    assert math.dist(edge.ends()[1], (2600.0, 900.0)) < one_pixel


def test_the_keyboard_lays_it_too(opened: Callable, floors: dict[str, Report]) -> None:
    page = opened("hallway").page
    edge = Edge(page, floors["hallway"])
    edge.choose("free")
    (px, py), q = edge.ends()
    page.focus("#grip-p")
    for key in ("ArrowRight", "ArrowRight", "ArrowUp", "Shift+ArrowRight"):
        page.keyboard.press(key)
    assert np.allclose(edge.ends(), [(px + 120.0, py + 10.0), q], atol=1e-6)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "grip-q"
    page.keyboard.press("ArrowDown")
    assert np.allclose(edge.ends()[1], (q[0], q[1] - 10.0), atol=1e-6)
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowLeft")
    assert np.allclose(edge.ends(), [(px + 110.0, py + 10.0), (q[0] - 10.0, q[1] - 10.0)], atol=1e-6)
    edge.held_against_the_package()


def test_typed_places_lay_it_exactly(opened: Callable, floors: dict[str, Report]) -> None:
    page = opened("hallway").page
    edge = Edge(page, floors["hallway"])
    edge.choose("free")
    page.click("#viewer summary")
    for field, value in (("px", "0.4"), ("py", "0.3"), ("qx", "2.345"), ("qy", "1")):
        page.fill(f"#typed-{field}", value)
        page.keyboard.press("Tab")
    assert edge.ends() == ((400.0, 300.0), (2345.0, 1000.0))
    edge.held_against_the_package()
    edge.choose("2000")
    assert math.dist(*edge.ends()) == pytest.approx(2000.0, abs=1e-6)
    edge.held_against_the_package()


def type_in(page: object, field: str, value: str) -> None:
    page.fill(f"#typed-{field}", value)
    page.keyboard.press("Tab")


def test_typing_one_end_leaves_the_other_where_it_is(opened: Callable, floors: dict[str, Report]) -> None:
    """Also with a fixed length, which is then no more, and that is said."""
    page = opened("hallway").page
    edge = Edge(page, floors["hallway"])
    edge.choose("2000")
    page.click("#viewer summary")
    before = edge.ends()
    x = round(before[1][0] / 1000.0, 3) - 0.4
    type_in(page, "qx", f"{x:.3f}")
    after = edge.ends()
    assert after[0] == before[0]
    assert after[1] == pytest.approx((x * 1000.0, before[1][1]), abs=0.01)
    assert edge.said()["edgeMm"] == "null"
    said = page.inner_text("#typed-said").replace("\u00a0", " ")
    assert said.startswith("P stays where it is, so the edge is now ")
    assert "Choose 2 m above" in said
    edge.choose("2000")
    assert page.inner_text("#typed-said") == ""


def test_places_outside_the_room_are_refused_aloud(opened: Callable, floors: dict[str, Report]) -> None:
    page = opened("tiled").page
    edge = Edge(page, floors["tiled"])
    page.click("#viewer summary")
    before = edge.ends()
    for value, told in (("40", "40.00 m from the left wall lies outside the room"), ("", "type a number, metres")):
        type_in(page, "px", value)
        assert told in page.inner_text("#typed-said").replace("\u00a0", " ")
        assert page.get_attribute("#typed-px", "aria-invalid") == "true"
        assert edge.ends() == before
    assert page.get_attribute("#typed-said", "aria-live") == "polite"
    type_in(page, "px", "0.5")
    assert page.get_attribute("#typed-px", "aria-invalid") is None
    assert edge.ends()[0][0] == pytest.approx(500.0)


def test_where_the_program_laid_its_edge_its_own_word_stands_beside(
    opened: Callable, floors: dict[str, Report]
) -> None:
    page = opened("tiled").page
    page.locator("section[aria-labelledby=gaps] button.show").first.click()
    worst = floors["tiled"].measurement.gaps[0]
    own = page.inner_text("#edge-result .own").replace("\u00a0", " ")
    assert own == f"As judged: ▲ over, {worst.gap.size_text()}, every line looked at"
    # The place pointed at is the finding's own: the very figures of the table.
    assert f"under 2 m: {worst.gap.size_text()}" in page.inner_text("#reading").replace("\u00a0", " ")
    page.focus("#grip-both")
    page.keyboard.press("Shift+ArrowUp")
    assert page.locator("#edge-result .own").count() == 0


def test_an_edge_that_the_program_could_not_lay_has_no_word(opened: Callable) -> None:
    page = opened("readings").page
    page.locator("input[name=edge][value='200']").evaluate("one => one.click()")
    said = page.inner_text("#edge-result")
    assert "No verdict: cannot be judged here: readings lie too far apart." in said
    assert page.evaluate("document.getElementById('edge-result').dataset.verdict") == ""


def test_a_finger_drags_it_on_a_phone(opened: Callable, floors: dict[str, Report]) -> None:
    one = opened("tiled", viewport={"width": 390, "height": 800}, has_touch=True, is_mobile=True)
    edge = Edge(one.page, floors["tiled"])
    edge.choose("free")
    before = edge.ends()
    box = one.page.locator("#grip-q").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) > 43.9
    x, y = box["x"] + 22, box["y"] + 22
    touch = one.page.context.new_cdp_session(one.page)
    for kind, points in (
        ("touchStart", [{"x": x, "y": y}]),
        ("touchMove", [{"x": x - 15, "y": y - 12}]),
        ("touchMove", [{"x": x - 30, "y": y - 24}]),
        ("touchEnd", []),
    ):
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    after = edge.ends()
    assert after[0] == before[0]
    assert math.dist(after[1], before[1]) == pytest.approx(math.hypot(30, 24) / edge.scale, rel=0.15)
    edge.held_against_the_package()
