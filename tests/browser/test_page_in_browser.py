"""The page as a person meets it: it runs alone, shows what is asked for, and is there without scripts and on paper."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

from flatscan.report.report import Report

PHONE = {"viewport": {"width": 390, "height": 800}, "has_touch": True, "is_mobile": True}


def colour_at(page: object, x_mm: float, y_mm: float) -> list[int]:
    """The map's colour at a place of the floor."""
    return page.evaluate(
        """([x, y]) => {
          const canvas = document.querySelector("#map canvas");
          const [x0, y0, scale] = canvas.dataset.view.split(" ").map(Number);
          const dots = canvas.width / canvas.clientWidth;
          return [...canvas.getContext("2d").getImageData((x0 + scale * x) * dots, (y0 - scale * y) * dots, 1, 1).data];
        }""",
        [x_mm, y_mm],
    )


def text_of(page: object, at: str) -> str:
    """With plain spaces where figures are held to their units."""
    return page.inner_text(at).replace("\u00a0", " ")


def choose(page: object, name: str, value: str) -> None:
    page.locator(f"input[name={name}][value='{value}']").check()


def bare(page: object) -> None:
    """Nothing drawn over the colours."""
    page.evaluate("document.querySelectorAll('input[name=mark]:checked').forEach(one => one.click())")


def set_wipe(page: object, value: int) -> None:
    page.evaluate(
        "v => { const s = document.getElementById('wipe'); s.value = v; s.dispatchEvent(new Event('input')); }", value
    )
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


@pytest.mark.parametrize("name", ["hallway", "tiled", "readings"])
def test_it_runs_alone_and_complains_of_nothing(name: str, opened: Callable) -> None:
    one = opened(name)
    assert one.page.is_visible("#viewer")
    assert not one.page.is_visible(".still")
    assert one.complaints == []
    assert [asked for asked in one.requests if not asked.startswith(("file:", "data:", "blob:"))] == []
    assert (
        one.page.evaluate("performance.getEntriesByType('resource').filter(e => !e.name.startsWith('data:')).length")
        == 0
    )


def test_every_layer_shows_and_says_its_unit(opened: Callable) -> None:
    one = opened("tiled")
    page = one.page
    place = (1380.0, 1054.0)
    # What is drawn over the colours would hide them.
    bare(page)
    seen = []
    for layer in page.locator("input[name=layer]").evaluate_all("all => all.map(one => one.value)"):
        choose(page, "layer", layer)
        name = {"gaps": "gap_2000"}.get(layer, layer)
        page.wait_for_selector(f"#viewer[data-layer='{name}']")
        page.wait_for_timeout(60)
        seen.append(tuple(colour_at(page, place[0] - 150, place[1] + 130)))
        key = text_of(page, "#key")
        assert layer == "photo" or "mm" in key
    assert len(set(seen)) == len(seen) == 5
    choose(page, "layer", "gaps")
    gaps = page.locator("#gap-choice .chip").all_inner_texts()
    assert [said.replace("\u00a0", " ") for said in gaps] == ["all, as a share of the limit", "under 1 m", "under 2 m"]
    page.wait_for_selector("#viewer[data-layer='gap_2000']")
    assert "over" in text_of(page, "#key")
    assert "limit 3 mm" in text_of(page, "#edge-choice")
    assert one.complaints == []


def test_over_is_hatched_and_not_only_coloured(opened: Callable) -> None:
    page = opened("tiled").page
    bare(page)
    choose(page, "layer", "gaps")
    choose(page, "gap", "share_before")
    page.wait_for_selector("#viewer[data-layer='share_before']")
    page.wait_for_timeout(60)
    looks = json.loads(page.text_content("#floor-looks"))
    over = [share["colour"] for share in looks["shares"] if share["over"]]
    colours = [[int(colour[k : k + 2], 16) for k in (1, 3, 5)] for colour in over]
    spots = [colour_at(page, 1200.0 + 7 * i, 1130.0 + 7 * j)[:3] for i in range(8) for j in range(8)]
    plain = sum(spot in colours for spot in spots)
    # The colour is seen between the lines, and the lines on it.
    assert 20 <= plain <= 60


def test_a_place_is_read_with_its_uncertainty_and_two_tapes(opened: Callable, floors: dict[str, Report]) -> None:
    page = opened("hallway").page
    page.focus("#map")
    page.keyboard.press("ArrowRight")
    said = text_of(page, "#reading")
    assert re.search(r"\d\.\d\d m from the left wall, \d\.\d\d m from the bottom wall", said)
    assert re.search(r"height [+−]?\d+\.\d ± \d+\.\d mm", said)
    assert re.search(r"largest gap here under 2 m: (\d+\.\d ± \d+\.\d|0 to \d+\.\d) mm against", said)
    page.wait_for_selector("#said:not(:empty)", state="attached")
    assert text_of(page, "#said") == said
    surface = floors["hallway"].surface
    x, y = (float(v) * 1000 for v in re.findall(r"(\d\.\d\d) m from", said))
    row, col = int((y - surface.origin_mm[1]) // surface.cell_mm), int((x - surface.origin_mm[0]) // surface.cell_mm)
    height = float(re.search(r"height ([+−]?\d+\.\d)", said)[1].replace("−", "-"))  # type: ignore[index]
    near = surface.estimate_mm[max(0, row - 1) : row + 2, max(0, col - 1) : col + 2]
    assert near.min() - 0.06 <= height <= near.max() + 0.06


def test_the_slider_shows_the_floor_as_planned_left_of_its_line(opened: Callable) -> None:
    page = opened("tiled").page
    bare(page)
    filled, untouched = (1250.0, 1180.0), (3900.0, 1500.0)
    before = colour_at(page, *filled), colour_at(page, *untouched)
    set_wipe(page, 20)
    assert colour_at(page, *filled) == before[0]
    set_wipe(page, 60)
    assert colour_at(page, *filled) != before[0]
    assert colour_at(page, *untouched) == before[1]
    assert page.locator("#section .planned").count() > 0


def test_a_finding_is_shown_on_the_map_with_its_edge(opened: Callable, floors: dict[str, Report]) -> None:
    page = opened("tiled").page
    choose(page, "edge", "free")
    page.locator("section[aria-labelledby=gaps] button.show").first.click()
    said = page.evaluate("({...document.getElementById('edge-result').dataset})")
    assert said["edgeMm"] == "2000"
    worst = floors["tiled"].measurement.gaps[0]
    middle = [(float(a) + float(b)) / 2 for a, b in zip(said["startMm"].split(), said["endMm"].split(), strict=True)]
    wanted = [(a + b) / 2 for a, b in zip(*worst.contacts, strict=True)]
    assert middle == pytest.approx(wanted, abs=0.2)
    assert page.evaluate("document.activeElement.id") == "map"
    assert abs(page.evaluate("document.querySelector('.frame').getBoundingClientRect().top")) < 2
    joints = page.locator("section[aria-labelledby=joints] button.show")
    assert joints.count() > 3
    joints.first.click()
    assert "from the left wall" in text_of(page, "#reading")


def test_inches_and_feet(opened: Callable) -> None:
    page = opened("tiled").page
    page.focus("#map")
    page.keyboard.press("ArrowRight")
    metric = float(page.evaluate("document.getElementById('edge-result').dataset.gapMm"))
    choose(page, "units", "imperial")
    assert re.search(r"height [+−]?\d+\.\d\d ± \d+\.\d\d in", text_of(page, "#reading"))
    assert re.search(r"\d+ (ft|in).* from the left wall", text_of(page, "#reading"))
    said = text_of(page, "#edge-result .main")
    inches = re.search(r"gap (\d+\.\d\d) ± \d+\.\d\d in under 6\.56 ft, limit 0\.118 in \[3 mm\]", said)
    assert inches is not None, said
    assert float(inches[1]) * 25.4 == pytest.approx(metric, abs=0.13)
    assert "mm" not in text_of(page, "#key")


@pytest.mark.parametrize("name", ["hallway", "tiled"])
def test_a_phone_does_not_scroll_sideways(name: str, opened: Callable) -> None:
    page = opened(name, **PHONE).page
    wide = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1] == 390
    small = page.evaluate(
        """() => [...document.querySelectorAll("#viewer button, #viewer .chip, button.show, #wipe, #viewer summary")]
          .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44)
          .map(one => one.outerHTML.slice(0, 80))"""
    )
    assert small == []


def test_on_paper_the_still_map_and_the_words(opened: Callable) -> None:
    page = opened("tiled").page
    page.emulate_media(media="print")
    assert page.is_visible(".still img")
    assert not page.is_visible("#viewer")
    assert page.locator("button.show:visible").count() == 0
    assert page.is_visible("#findings")


def printed(page: object) -> str:
    """The words of the page on paper, as a reader of the PDF file has them."""
    whole = "\n".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(page.pdf(format="A4"))).pages)
    return " ".join(whole.replace("\u00a0", " ").split())


def test_what_is_folded_is_printed_open(opened: Callable) -> None:
    page = opened("tiled").page
    assert not page.is_visible("details >> text=judge.confidence")
    words = printed(page)
    assert "judge.confidence" in words
    assert "Straightedge as laid" not in words
    # Where no script may run, the style alone opens them.
    assert "judge.confidence" in printed(opened("tiled", wait=False, java_script_enabled=False).page)


def test_a_straightedge_that_was_laid_is_printed(opened: Callable) -> None:
    page = opened("tiled").page
    choose(page, "edge", "free")
    page.focus("#grip-both")
    page.keyboard.press("ArrowUp")
    words = printed(page)
    assert "Straightedge as laid on the page" in words
    assert text_of(page, "#edge-result .main").replace("\n", " ") in words
    assert re.search(r"P lies \d\.\d\d m from the left wall, \d\.\d\d m from the bottom wall\. Q lies", words)
    assert "times as tall" in words  # the section
    assert "Type the places" not in words


def test_a_place_tells_the_limits_own_edge_again_after_other_gaps(opened: Callable) -> None:
    page = opened("tiled").page
    page.focus("#map")
    page.keyboard.press("ArrowRight")
    assert "under 2 m" in text_of(page, "#reading")
    choose(page, "layer", "gaps")
    choose(page, "gap", "gap_1000")
    page.wait_for_selector("#viewer[data-layer='gap_1000']")
    page.wait_for_function("document.getElementById('reading').textContent.includes('under 1\u00a0m')")
    choose(page, "layer", "height")
    page.wait_for_function("document.getElementById('reading').textContent.includes('under 2\u00a0m')")


def test_what_was_found_on_site_is_drawn_and_read(opened: Callable) -> None:
    page = opened("tiled").page
    assert page.is_checked("input[name=mark][value=site]")
    key = text_of(page, "#key")
    for told in ("sounds hollow (H)", "crack", "door", "note (N)", "photograph (P)", "room by tape"):
        assert told in key
    page.locator("section[aria-labelledby=site] button.show").first.click()
    assert "Found on site: sounds hollow; photo 1: </script>" in text_of(page, "#reading")
    on_crack = 500.0, 350.0
    with_crack = colour_at(page, *on_crack)
    page.locator("input[name=mark][value=site]").evaluate("one => one.click()")
    page.wait_for_timeout(80)
    assert "crack" not in text_of(page, "#key")
    assert sum(with_crack[:3]) < 200 < sum(colour_at(page, *on_crack)[:3])


def test_without_scripts_it_reads_the_same(opened: Callable) -> None:
    one = opened("tiled", wait=False, java_script_enabled=False)
    assert one.page.is_visible(".still img")
    assert not one.page.is_visible("#viewer")
    assert one.page.locator("button.show:visible").count() == 0
    assert one.page.is_visible("#gaps")


@pytest.mark.parametrize("name", ["hallway", "tiled"])
@pytest.mark.parametrize("shape", [{}, PHONE], ids=["wide", "phone"])
def test_nothing_stands_in_the_way_of_people(name: str, shape: dict, opened: Callable) -> None:
    page = opened(name, **shape).page
    choose(page, "layer", "gaps")
    page.click("#viewer summary")
    levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]
    found = Axe().run(page, options={"runOnly": levels, "resultTypes": ["violations"]})
    assert found.violations_count == 0, found.generate_report()


def test_hostile_names_stay_texts(opened: Callable) -> None:
    one = opened("tiled")
    page = one.page
    choose(page, "mark", "zones")
    page.wait_for_timeout(100)
    assert page.evaluate("window.broken") is None
    assert page.locator("img[src=x]").count() == 0
    assert "<script>window.broken = 1</script>" in text_of(page, "section[aria-labelledby=site]")
    assert one.complaints == []


def test_still_hands_are_respected(opened: Callable) -> None:
    for wish, behaviour in (("reduce", "auto"), ("no-preference", "smooth")):
        page = opened("hallway", reduced_motion=wish, color_scheme="dark").page
        assert page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == behaviour
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
