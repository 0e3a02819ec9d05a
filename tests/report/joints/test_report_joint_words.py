"""Joints and lips in the terminal, on the page and in the folder."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from flatscan.judgement.verdict import AnswerCode, JointShares, JointTally
from flatscan.levelling.basis import Basis
from flatscan.levelling.joints.joint_work import JointFill, JointWork
from flatscan.measures.joints.joints import Joints, MeasuredFace
from flatscan.quantity import Quantity
from flatscan.report.output import FILE_NAMES, write_report
from flatscan.report.page.page import page_html
from flatscan.report.report import Report
from flatscan.report.terminal.full import full_text as summary
from flatscan.report.words import joint_story, joint_wording
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.story import next_steps
from flatscan.report.words.worst import worst_of_all
from flatscan.surface.picture.floor_picture import FloorPicture

TileOf = Callable[..., Report]
FILES = [Path("out/result.json")]


def with_answer(report: Report, code: AnswerCode, tally: JointTally | None) -> Report:
    answer = replace(report.verdict.answer, code=code)
    return replace(report, verdict=replace(report.verdict, answer=answer, joint_tally=tally))


def a_tally(*, fill_m: float = 4.1, lips: int = 3) -> JointTally:
    third = JointShares(0.25, 0.25, 0.5, 0.0)
    unseen = JointShares(0.0, 0.0, 0.0, 1.0)
    return JointTally(60.0, third, unseen, third, fill_m, 0.0, lips, 1.2, 0, 0.0)


# Terminal


@pytest.mark.parametrize("width", [50, 80])
@pytest.mark.parametrize("ascii_text", [False, True])
def test_no_line_is_wider_than_the_terminal(tiled: Report, width: int, ascii_text: bool) -> None:
    said = summary(tiled, colour=False, width=width, ascii_text=ascii_text, files=FILES)
    assert max(len(line) for line in said.splitlines()) <= width
    assert not ascii_text or said.isascii()


def test_no_name_of_a_variable_and_no_sentence_twice(tiled: Report) -> None:
    said = summary(tiled, colour=False, files=FILES)
    words = said[: said.index("\nWritten")]
    assert not re.findall(r"\w+_\w+", words)
    section, told = "", []
    for line in words.splitlines():
        section = line if line and not line.startswith(" ") else section
        if line.startswith("  - ") or re.match(r"  \d+\. ", line):
            told.append(line)
    assert len(told) == len(set(told))


def test_the_worst_places_hold_each_kind_and_are_worst_first(tiled: Report) -> None:
    found = worst_of_all(tiled, 5)
    assert len(found) == 5
    assert {"gap", "lip", "joint_width"} <= {one.kind for one in found}
    assert [one.rank for one in found] == sorted(one.rank for one in found)
    assert all(one.word == "over" for one in found)
    said = summary(tiled, colour=False, files=FILES)
    for one in found:
        assert re.search(rf"^  {one.label} +▲ over: ", said, re.MULTILINE)


def test_a_place_of_a_lip_says_which_side_is_low(tiled: Report) -> None:
    lips = [one for one in worst_of_all(tiled, 5) if one.kind == "lip"]
    assert lips
    assert all(re.search(r"lower side: (left|right|top|bottom)$", one.where) for one in lips)


def test_without_joints_only_gaps_are_listed(report: Report) -> None:
    assert {one.kind for one in worst_of_all(report, 5)} == {"gap"}
    said = summary(report, colour=False, files=FILES)
    assert "Worst places (letters as on the map)" in said
    assert "oints" not in said[said.index("\nMeasured") : said.index("\nDoubts")].replace("Limit set", "")


def test_the_tally_adds_up_to_the_length(tiled: Report) -> None:
    tally = tiled.verdict.joint_tally
    assert tally is not None
    (line,) = [one for one in joint_story.joint_lines(tiled) if one.startswith("Joint width, limit 5 mm")]
    told = [float(v) for v in re.findall(r"([\d.]+) m ", line)]
    assert sum(told) == pytest.approx(tally.length_m, abs=0.05 * len(told))
    assert f"Joints: {tally.length_m:.1f} m found" in joint_story.joint_lines(tiled)[0]


def test_what_was_measured_nowhere_is_said_in_two_words(tiled: Report) -> None:
    lines = joint_story.joint_lines(with_answer(tiled, "not_decided", a_tally()))
    assert "Joint depth, limit 2 mm: not measured" in lines


def test_floors_without_any_joint_say_so(tile: TileOf, joints: Callable[..., Joints]) -> None:
    base = joints()
    none = Joints(replace(base.network, pieces=(), format=None), ())
    report = tile(none)
    assert joint_story.joint_lines(report) == [report.measurement.joints.network.how]
    page_html(report, b"")


# What to do


def test_the_work_is_told_in_metres_and_lips(tiled: Report) -> None:
    steps = next_steps(with_answer(tiled, "fill_joints_and_lips", a_tally()))
    assert steps[0].startswith("Asbestos first: ")  # nobody said that the old floor was tested
    assert "Take down 3 lips, then fill 4.1 m of joint. Places: joints.csv. Then measure again" in steps
    assert not any(step.startswith("Fill the joints and take down") for step in steps)
    one = next_steps(with_answer(tiled, "fill_joints_and_lips", a_tally(fill_m=0.0, lips=1)))
    assert any(step.startswith("Take down 1 lip. ") for step in one)


def test_hand_readings_are_told_with_their_sheet_and_their_place_once(tiled: Report) -> None:
    (reading,) = tiled.verdict.next_readings
    lip = replace(
        reading, kind="lip", joint="J7", what="lip of joint J7, third joint from the left wall (1.35 m from it)"
    )
    asked = replace(tiled, verdict=replace(tiled.verdict, next_readings=(lip,), more_readings=9))
    steps = next_steps(asked)
    sheet = next(number for number, step in enumerate(steps) if "next_readings.csv" in step)
    assert "(9 more places would help too)" in steps[sheet]
    assert steps[sheet].endswith("--readings next_readings.csv")
    assert steps[sheet + 1].startswith(
        "Read by hand: lip of joint J7, third joint from the left wall (1.35 m from it). "
    )


def test_lips_come_down_before_areas_are_levelled(tiled: Report) -> None:
    steps = next_steps(with_answer(tiled, "level_areas", a_tally()))
    assert steps[0].startswith("Asbestos first: ")
    lips, areas = (
        next(number for number, step in enumerate(steps) if step.startswith(words))
        for words in ("Take down 3 lips", "Mark the numbered areas")
    )
    # Lips are read before they come down, and come down before compound hides them.
    readings = [number for number, step in enumerate(steps) if step.startswith("Read by hand")]
    assert readings
    assert max(readings) < lips < areas
    assert sum("easure again" in step for step in steps) == 1


@pytest.mark.parametrize("code", ["fill_joints_and_lips", "level_areas", "not_decided"])
def test_grinding_lips_calls_for_dust_and_asbestos(tiled: Report, code: AnswerCode) -> None:
    bare = replace(tiled, plan=replace(tiled.plan, methods=(), areas=()))
    names = [caution.name for caution in cautions_for(with_answer(bare, code, a_tally()))]
    assert names == ["asbestos", "silica", "heated_floor", "slips", "limits"]


def test_filling_joints_alone_makes_no_dust(tiled: Report) -> None:
    bare = replace(tiled, plan=replace(tiled.plan, methods=(), areas=()))
    filled = with_answer(bare, "fill_joints_and_lips", a_tally(lips=0))
    assert "silica" not in [caution.name for caution in cautions_for(filled)]


# Hand readings


def test_a_contradiction_is_shown_and_not_averaged(tiled: Report) -> None:
    agreed, against = (joint_wording.hand_line(held) for held in tiled.measurement.hand)
    assert "lip at J7 1.4 ± 0.2 mm" in agreed
    assert agreed.endswith("judged is 1.4 ± 0.2 mm")
    assert "contradict each other" in against
    assert "stays open" in against
    assert joint_story.hand_line(tiled).endswith("1 of them contradicts the capture and stays open")


def test_a_lip_read_by_hand_has_no_sign(tiled: Report) -> None:
    held = tiled.measurement.hand[0]
    signed = replace(held, scan=Quantity(-1.2, 0.1, "mm"), taken=Quantity(-1.3, 0.1, "mm"))
    assert "1.2 ± 0.2 mm" in joint_wording.hand_line(signed)
    assert "−" not in joint_wording.hand_line(signed)
    assert "-" not in joint_wording.hand_line(signed)


# Page


class Words(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.said: list[str] = []
        self.feed(html)
        self.text = " ".join(" ".join(self.said).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def test_the_page_tells_joints_refusals_and_hand_readings(tiled: Report) -> None:
    page = Words(page_html(tiled, b"", b"JPEG"))
    for text in (
        "Joints and lips",
        "tiles 450.0 ± 0.6 mm each way with one joint, each row shifted by half of the tile",
        "a shadow lies in the joint",
        "Take it again without sun",
        "Hand readings taken in",
        "contradict each other",
        "Widths were read from 41 photos",
        "lower side: ",
        "Listed are the worst 20 of ",
        "Of joints and lips the worst for each limit; ",
    ):
        assert text in page.text, text
    assert page.text.count("joint width of ") == 1


def test_hostile_joints_stay_text(tile: TileOf, joints: Callable[..., Joints]) -> None:
    base, script = joints(), "<script>alert(1)</script>\x1b[31m"
    first = next(joint for joint in base.joints if joint.stations[0].lip is not None)
    high = replace(first.stations[0], lip=Quantity(9.0, 0.1, "mm"))
    bad = replace(first, id=script, stations=(high, *first.stations[1:]))
    spoilt = Joints(
        replace(base.network, how=script),
        tuple(bad if joint is first else joint for joint in base.joints),
        notes=(script,),
    )
    report = tile(spoilt)
    hand = report.measurement.hand[0]
    hand = replace(hand, reading=replace(hand.reading, joint=script))
    report = replace(report, measurement=replace(report.measurement, hand=(hand,)))
    html = page_html(report, b"")
    page = Words(html)
    assert html.count("<script") == 3  # the page's own: data, looks, program
    assert "<script>alert(1)</script>" in page.text
    assert "\x1b" not in html
    said = summary(report, colour=False, files=FILES)
    assert "\x1b" not in said
    assert max(len(line) for line in said.splitlines()) <= 80


def test_no_joints_no_section(report: Report) -> None:
    assert "Joints and lips" not in Words(page_html(report, b"")).text


# Folder


def test_every_file_is_written_where_there_is_something_to_write(
    tiled: Report, picture: FloorPicture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, small_png: bytes
) -> None:
    monkeypatch.setattr("flatscan.report.picture.heatmap.heatmap_png", lambda _: small_png)
    (reading,) = tiled.verdict.next_readings
    asked = replace(reading, number=1, kind="lip", joint="J7")
    line = ((400.0, 300.0), (400.0, 1500.0))
    fill = JointFill("J7", line, 900.0, "over", None, None, Quantity(0.2, 0.05, "l"))
    work = JointWork((fill,), (), Quantity(1.0, 0.2, "l"), 6.0, 0.0)
    whole = replace(
        tiled,
        picture=picture,
        verdict=replace(tiled.verdict, next_readings=(asked,)),
        plan=replace(tiled.plan, joint_work=work, chosen="patch"),
        basis=Basis(tiled.surface, ((2000.0, 3.0),), ("over-old-tiles",), "level_areas", work),
    )
    files = write_report(whole, tmp_path / "result")
    # No straightedge was laid, and no way was judged again.
    wanted = [name for name in FILE_NAMES if name not in ("readings.csv", "after.png")]
    assert [path.name for path in files] == wanted
    assert sorted(path.name for path in (tmp_path / "result").iterdir()) == sorted(wanted)
    assert "J7" in (tmp_path / "result" / "next_readings.csv").read_text(encoding="utf-8")


# Tiles by themselves


def test_tiles_are_told_by_the_surest_not_by_the_largest(tiled: Report) -> None:
    faces = (
        MeasuredFace(0, Quantity(9.0, 8.0, "mm/m"), Quantity(0.1, 0.3, "mm")),  # large, and hardly known
        MeasuredFace(1, Quantity(4.0, 0.5, "mm/m"), Quantity(-0.7, 0.1, "mm")),
        MeasuredFace(2, None, None),
    )
    joints = replace(tiled.measurement.joints, faces=faces)
    report = replace(tiled, measurement=replace(tiled.measurement, joints=joints))
    said = joint_story.faces_line(report)
    shape = "steepest 4.0 ± 1.0 mm/m, most bowed -0.7 ± 0.2 mm"
    assert said == f"Tiles by themselves, lips apart: {shape} (3 tiles looked at)"
    assert said in joint_story.joint_lines(report)
    doubtful = replace(joints, faces=faces[:1])
    assert joint_story.faces_line(replace(tiled, measurement=replace(tiled.measurement, joints=doubtful))) == ""


def test_the_worst_of_many_flat_tiles_is_not_told_as_steep(tiled: Report) -> None:
    def said(tiles: int) -> str:
        # 3.4 u: of one flat tile 3 in 1000 look so steep (exp(-3.4²/2)), of 135 about every third floor has one.
        flat = [MeasuredFace(n, Quantity(0.0, 6.0, "mm/m"), None) for n in range(1, tiles)]
        steep = MeasuredFace(0, Quantity(20.4, 6.0, "mm/m"), None)
        assert tiled.measurement.joints is not None
        joints = replace(tiled.measurement.joints, faces=(steep, *flat))
        return joint_story.faces_line(replace(tiled, measurement=replace(tiled.measurement, joints=joints)))

    assert "steepest 20 ± 12 mm/m" in said(1)
    assert said(135) == ""


def test_the_edges_rounding_is_asked_for_where_widths_hang_on_it(tiled: Report) -> None:
    shares = JointShares(over=0.1, not_decided=0.5, within=0.4, not_seen=0.0)
    tally = replace(tiled.verdict.joint_tally, length_m=20.0, width=shares)
    report = replace(tiled, verdict=replace(tiled.verdict, joint_tally=tally))
    (said,) = joint_story.edge_step(report)
    assert "--tile-edge" in said
    assert "10.0 m" in said
    known = replace(report.settings, joints=replace(report.settings.joints, tile_edge_mm=0.5))
    assert joint_story.edge_step(replace(report, settings=known)) == []
    little = replace(tally, length_m=1.0)
    assert joint_story.edge_step(replace(report, verdict=replace(report.verdict, joint_tally=little))) == []
