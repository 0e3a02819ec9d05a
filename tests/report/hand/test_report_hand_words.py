"""What the report says of a floor read by hand, and what it must never say."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from flatscan.caveats import caveat
from flatscan.judgement import judge
from flatscan.measures.lone_spots import held_alone
from flatscan.quantity import Quantity
from flatscan.report.output import write_report
from flatscan.report.page.page import page_html
from flatscan.report.report import Report
from flatscan.report.result.result import json_of, result_of, result_schema
from flatscan.report.tables.readings import BY_ITSELF, field_csv
from flatscan.report.tables.tables import findings_csv, gaps_csv
from flatscan.report.terminal.full import full_text as summary
from flatscan.report.words.caption import noise_floor_line
from flatscan.report.words.doubts import doubts_of
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.traced import from_readings, told
from flatscan.settings import JudgeSettings
from flatscan.sources.hand.field_readings import Crack, Sounding
from flatscan.sources.hand.hand_reading import HandReading

BuildHandRead = Callable[..., Report]
SCRIPT, FORMULA, ESCAPE = "<script>alert(1)</script>", '=cmd|"/c calc"!A0', "\x1b[31mred\x1b[0m"


class Words(HTMLParser):
    """The page's text and tags."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.words: list[str] = []
        self.quiet = False
        self.feed(html)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        self.tags.append(tag)
        self.quiet = tag in {"style", "script"}

    def handle_data(self, data: str) -> None:
        if not self.quiet:
            self.words.append(data)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def plain(report: Report) -> str:
    return " ".join(summary(report, colour=False, files=[Path("out/result.json")]).split())


@pytest.fixture(scope="module")
def page(hand_read: Report) -> Words:
    return Words(page_html(hand_read, b"\x89PNG"))


# Words


def test_the_line_of_what_the_floor_was_made_from(hand_read: Report) -> None:
    # U = 2 * 0.45 mm.
    assert (
        "Made from 12 straightedge placements and 9 staff readings (readings.csv) on 16.6 m² of floor; heights "
        "± 0.9 mm; waves shorter than 3.0 m can slip between them." in plain(hand_read)
    )


def test_no_text_speaks_of_scans_points_or_photos(hand_read: Report, page: Words) -> None:
    # Settings name every choice of every kind of input; they are cut off.
    for said in (plain(hand_read), page.text.split("All settings")[0]):
        found = re.findall(
            r"\b(scan\w*|photos?|captur\w*|point clouds?|per point|frames?|pixels?)\b", said, re.IGNORECASE
        )
        assert [f for f in found if f != "Capture"] == []
        assert "Capture:" not in said


def test_the_page_has_each_placement_with_what_the_surface_says(page: Words) -> None:
    at = page.text.index("Straightedge readings")
    part = page.text[at : page.text.index("What the readings could not see")]
    # 2.0 + 0.1 (i mod 7), u 0.3 against 3 mm: of 12 only number 6, 2.6, is less than 1.645 u = 0.49 below the limit.
    assert part.count("● within") == 11
    assert "6 ◆ not decided" in part
    assert "2.6 ± 0.6 mm 3 mm 2.5 ± 0.4 mm 2 m" in part


def test_the_page_says_what_the_readings_could_not_see(page: Words) -> None:
    part = page.text[page.text.index("What the readings could not see") :]
    assert "Waves shorter than 3.0 m can slip between them" in part
    assert "Not seen: twist, ± 4.8 mm over the floor" in part
    assert "What would show it: straightedge placements along both diagonals of the room" in part
    assert "Bends of the whole floor that they do show: bow along x ± 0.4 mm" in part
    assert "readings.csv, row 14: 'two' is not a number" in part


def test_soundness_is_listed_by_number(page: Words, hand_read: Report) -> None:
    assert "3 places tapped, 2 hollow or loose" in page.text
    assert "Tap T2: hollow, 3.40 m from the left wall, 2.90 m from the bottom wall (drummy)." in page.text
    assert "Crack C1: 0.95 m long, 0.4 ± 0.2 mm wide" in page.text
    assert "first settle 2 hollow or loose places and 1 crack" in page.text
    said = plain(hand_read)
    assert said.index("Take out or fix what sounds hollow or loose") < said.index("Find out whether the crack moves")
    assert "may hold asbestos" in said


def test_a_scan_corrected_by_readings_shows_before_and_after(hand_read: Report) -> None:
    fit = replace(hand_read.surface.fit, systematic_mm=(2.0, 0.4))
    surface = replace(hand_read.surface, kind="depth_frames", fit=fit, realisations_mm=None)
    corrected = replace(hand_read, surface=surface)
    line = (
        "slow bends were corrected by 12 straightedge placements and 9 staff readings: ± 4.0 mm before, ± 0.8 mm after"
    )
    assert line in plain(corrected)
    assert line in Words(page_html(corrected, b"")).text


@pytest.mark.parametrize("width", [40, 60, 80])
def test_no_line_is_wider_than_the_terminal(hand_read: Report, width: int) -> None:
    said = summary(hand_read, colour=False, width=width, files=[Path("out/result.json")])
    assert said.splitlines()[0] in hand_read.verdict.answer.text
    assert max(len(line) for line in said.splitlines()) <= width


def test_a_placement_over_is_among_the_worst_places(build_hand_read: BuildHandRead, hand_read: Report) -> None:
    figures = tuple(
        replace(one, gap=Quantity(9.0, 0.3, "mm"), surface=Quantity(8.8, 0.3, "mm")) if one.number == "5" else one
        for one in hand_read.measurement.placements
    )
    measurement = replace(hand_read.measurement, placements=figures)
    verdict = judge(measurement, hand_read.surface, hand_read.limits, JudgeSettings(), field=hand_read.field)
    said = plain(replace(hand_read, measurement=measurement, verdict=verdict))
    assert "Worst places (names as on the map)" in said
    assert "5 ▲ over: 9.0 ± 0.6 mm under 2 m, read directly, limit 3 mm" in said


# Tracing


def test_each_gap_names_the_readings_beside_its_chord(hand_read: Report) -> None:
    """Against a plain walk along the chord in steps of 1 mm, whose rounding moves a distance by less than 0.5 mm."""
    fit = hand_read.surface.fit
    assert fit is not None
    for spot in hand_read.measurement.gaps:
        a, b = np.array(spot.contacts[0]), np.array(spot.contacts[1])
        walk = a + np.linspace(0.0, 1.0, int(np.hypot(*(b - a))) + 2)[:, None] * (b - a)
        away = np.array([np.hypot(*(walk - at).T).min() for at in fit.at_mm])
        sure = {fit.number[i] for i in np.flatnonzero(away < 499.5)}
        near = {fit.number[i] for i in np.flatnonzero(away < 500.5)}
        named = from_readings(spot, hand_read.surface)
        assert sure <= set(named)
        assert set(named) <= near or (not near and len(named) == 1)
        assert len(named) == len(set(named))
        first = min(away[i] for i, n in enumerate(fit.number) if n == named[0])
        assert first == pytest.approx(away.min(), abs=0.5)


def test_where_none_is_near_the_nearest_is_named(hand_read: Report) -> None:
    (spot, *_) = hand_read.measurement.gaps
    fit = replace(hand_read.surface.fit, smallest_wave_mm=0.003)
    assert len(from_readings(spot, replace(hand_read.surface, fit=fit))) == 1
    assert from_readings(spot, replace(hand_read.surface, fit=None)) == ()


def test_the_same_numbers_on_page_table_and_result(hand_read: Report, page: Words) -> None:
    result = json.loads(json_of(result_of(hand_read)))
    for row, record in zip(rows(gaps_csv(hand_read)), result["gaps"], strict=True):
        assert row["from_readings"].split("; ") == record["from_readings"]
        if row["letter"]:
            assert told(tuple(record["from_readings"])) in page.text


def test_readings_csv_has_every_reading_and_every_placement(hand_read: Report) -> None:
    found = rows(field_csv(hand_read))
    single = [r for r in found if r["what"] != BY_ITSELF]
    # Five stations to each of 12 bars and 9 staff readings.
    assert [r["what"] for r in single].count("straightedge") == 60
    assert [r["what"] for r in single].count("staff") == 9
    # Read 0.125 mm above the surface with u 0.25.
    assert {r["left_over_u"] for r in single} == {"0.5"}
    assert [(r["number"], r["x_m"], r["y_m"], r["row"]) for r in single][-1] == ("S9", "3.833", "3.0", "208")
    bars = [r for r in found if r["what"] == BY_ITSELF]
    assert [r["number"] for r in bars] == [str(i) for i in range(1, 13)]
    assert bars[5]["read_mm"] == "2.6"
    assert bars[5]["surface_mm"] == "2.5"
    assert bars[5]["limit_mm"] == "3.0"
    assert bars[5]["limit_id"] == "bs8204-sr1/gap-2000"
    assert bars[5]["verdict"] == "not_decided"


def test_the_result_obeys_its_schema_and_holds_what_was_read(hand_read: Report) -> None:
    result = json.loads(json_of(result_of(hand_read)))
    jsonschema.Draft202012Validator(result_schema()).validate(result)
    assert result["surface"]["kind"] == "readings"
    assert len(result["placements"]) == 12
    assert len(result["fit"]["readings"]) == 69
    assert result["fit"]["modes"][0] == {
        "name": "twist", "sd_mm": 2.4, "prior_sd_mm": 2.5, "seen": False,
        "cure": "straightedge placements along both diagonals of the room",
    }  # fmt: skip
    assert [s["sounds"] for s in result["field"]["soundings"]] == ["sound", "hollow", "loose"]
    assert result["field"]["cracks"][0]["number"] == "C1"
    assert result["field"]["left_out"] == ["readings.csv, row 14: 'two' is not a number"]
    assert {f["placement"] for f in result["findings"]} >= {None, "1", "12"}


def test_a_scan_without_readings_has_none_of_it(report: Report) -> None:
    result = json.loads(json_of(result_of(report)))
    assert (result["placements"], result["fit"], result["field"]) == ([], None, None)
    assert all(gap["from_readings"] == [] for gap in result["gaps"])
    words = Words(page_html(report, b"")).text
    assert "Straightedge readings" not in words
    assert "could not see" not in words
    assert "From readings" not in words


def test_the_folder_has_readings_csv(
    hand_read: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, small_png: bytes
) -> None:
    monkeypatch.setattr("flatscan.report.picture.heatmap.heatmap_png", lambda _: small_png)
    files = write_report(hand_read, tmp_path / "result")
    assert "readings.csv" in [path.name for path in files]


def test_placements_do_not_drown_the_findings_on_the_page(hand_read: Report, page: Words) -> None:
    part = page.text[page.text.index("Held against the limits") :]
    part = part[: part.index("Where the limits come from")]
    assert len(re.findall(r"straightedge \d+,", part)) == 1
    assert len([r for r in rows(findings_csv(hand_read)) if r["placement"]]) == 12


# Typed by people


@pytest.fixture(scope="module")
def typed(hand_read: Report) -> Report:
    field, fit = hand_read.field, hand_read.surface.fit
    assert field is not None
    assert fit is not None
    numbers = {"1": SCRIPT, "2": FORMULA, "3": ESCAPE, "4": "$\\frac$"}
    placements = tuple(replace(p, number=numbers.get(p.number, p.number), note=SCRIPT) for p in field.placements)
    figures = tuple(replace(f, number=numbers.get(f.number, f.number)) for f in hand_read.measurement.placements)
    written = replace(
        field,
        placements=placements,
        soundings=(
            Sounding(300, FORMULA, (500.0, 500.0), "loose", SCRIPT),
            Sounding(301, ESCAPE, (9.0, 9.0), "hollow"),
        ),
        cracks=(Crack(303, SCRIPT, (0.0, 0.0), (900.0, 900.0), None, ESCAPE),),
        left_out=(f"row 3: {SCRIPT} {ESCAPE}",),
    )
    surface = replace(hand_read.surface, fit=replace(fit, number=tuple(numbers.get(n, n) for n in fit.number)))
    measurement = replace(hand_read.measurement, placements=figures)
    verdict = judge(measurement, surface, hand_read.limits, JudgeSettings(), field=written)
    return replace(hand_read, field=written, surface=surface, measurement=measurement, verdict=verdict)


def test_hostile_notes_and_numbers_stay_texts_on_the_page(typed: Report) -> None:
    html = page_html(typed, b"")
    words = Words(html)
    assert words.tags.count("script") == 3  # the page's own: data, looks, program
    assert "\x1b" not in html
    assert SCRIPT in words.text


def test_hostile_notes_and_numbers_are_no_escapes_on_a_terminal(typed: Report) -> None:
    said = summary(typed, colour=False)
    assert "\x1b" not in said
    assert max(len(line) for line in said.splitlines()) <= 80


@pytest.mark.parametrize("table", [field_csv, gaps_csv, findings_csv])
def test_hostile_numbers_are_no_formulas(typed: Report, table: Callable[[Report], str]) -> None:
    cells = [cell for row in csv.reader(io.StringIO(table(typed))) for cell in row]
    assert any("cmd|" in cell for cell in cells) or table is findings_csv
    for cell in cells:
        number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
        assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_a_placements_verdict_is_not_taken_for_the_surfaces_at_the_same_place(hand_read: Report) -> None:
    calm = next(f for f in hand_read.verdict.findings if f.placement is None and f.verdict == "within" and f.value)
    over = replace(calm, verdict="over", placement="5")
    there = replace(hand_read, verdict=replace(hand_read.verdict, findings=(over, *hand_read.verdict.findings)))
    assert [one.verdict for one in shown_gaps(there)] == [one.verdict for one in shown_gaps(hand_read)]


def test_a_hump_reading_shows_its_hump_and_no_gap(hand_read: Report) -> None:
    (first, *others) = hand_read.measurement.placements
    crest = replace(first, gap=Quantity(0.0, 0.2, "mm"), hump=Quantity(3.3, 0.2, "mm"), contacts=(first.at, first.at))
    crest = replace(crest, span_mm=0.0, number="H77", surface=None)
    measurement = replace(hand_read.measurement, placements=(crest, *others))
    verdict = judge(measurement, hand_read.surface, hand_read.limits, JudgeSettings(), field=hand_read.field)
    changed = replace(hand_read, measurement=measurement, verdict=verdict)
    assert "H77 no limit hump 3.3 ± 0.4 mm" in Words(page_html(changed, b"")).text
    assert "H77" not in [r["number"] for r in rows(field_csv(changed)) if r["what"] == BY_ITSELF]


def test_short_waves_are_doubted_once_and_a_usual_edge_that_is_too_short_is_not(hand_read: Report) -> None:
    below = caveat("edge_below_readings", edge_m=2.0, wave_m=3.0)
    usual, asked = (caveat("edge_too_short", edge_m=edge, cell_mm=100.0) for edge in (10.2, 0.2))
    rule = replace(hand_read.limits[0].limits[0], what="gap", edge_mm=200.0)
    report = replace(
        hand_read,
        measurement=replace(hand_read.measurement, caveats=(below, usual, asked)),
        limits=(replace(hand_read.limits[0], limits=(*hand_read.limits[0].limits, rule)),),
    )
    told = {one.text for one in doubts_of(report)}
    assert below.text in told
    assert asked.text in told
    assert usual.text not in told
    assert not any(one.name == "readings_spacing" for one in doubts_of(report))
    # Without the edge's own doubt the spacing is told; and a scan is told of every edge.
    assert any(one.name == "readings_spacing" for one in doubts_of(hand_read))
    scanned = replace(report, surface=replace(report.surface, kind="cloud"))
    assert usual.text in {one.text for one in doubts_of(scanned)}


def test_what_could_lie_between_is_not_said_to_be_in_a_gaps_doubt(hand_read: Report) -> None:
    maps = tuple(replace(one, noise_floor_mm=2.94) for one in hand_read.measurement.gap_maps)
    report = replace(hand_read, measurement=replace(hand_read.measurement, gap_maps=maps))
    said = noise_floor_line(report)
    assert said.startswith("Were all readings of a flat floor, gaps of 2.9 mm under ")
    assert said.endswith(" could lie between them; a gap's ± holds what is left open at its own place.")


def test_single_readings_are_called_by_their_number_on_the_sheet(hand_read: Report) -> None:
    width = HandReading(60, "joint_width", (1000.0, 500.0), Quantity(5.0, 0.3, "mm"), joint="J1", number="J1w")
    again = replace(width, row=2, number="N3", value=Quantity(4.4, 0.05, "mm"))
    report = replace(hand_read, measurement=replace(hand_read.measurement, hand=tuple(held_alone([width, again]))))
    said = Words(page_html(report, b"")).text
    # 1/u²: 11.1 and 400 per mm², so 4.42 mm.
    assert "J1w: joint width at J1 5.0 ± 0.6 mm" in said
    assert "With what else was read there 4.42 ± 0.10 mm is judged" in said
    assert "Read at single places: 2 (joint widths)" in plain(report)
    apart = replace(again, value=Quantity(3.0, 0.05, "mm"))
    clash = replace(report, measurement=replace(report.measurement, hand=tuple(held_alone([width, apart]))))
    assert "Another reading there contradicts it, so this place stays open" in Words(page_html(clash, b"")).text
    assert "2 of them contradict the other readings and stay open" in plain(clash)
