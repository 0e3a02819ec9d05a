"""From what is not decided to the sheet, to filled-in values, to a decision."""

from __future__ import annotations

import csv
import io
import math

import pytest

from flatscan.judgement import judge, load_limits
from flatscan.judgement.readings import MOST_READINGS
from flatscan.judgement.verdict import Answer, Reading, Verdict
from flatscan.measures.hand import take_in
from flatscan.report.tables.next_readings import HEADER, readings_csv
from flatscan.settings import JointSettings, JudgeSettings
from flatscan.sources.hand.read_readings import read_hand_readings

DEFAULT = load_limits(["over-old-tiles"])[0]
RULE, JOINTS = JudgeSettings(), JointSettings()


def fill(text: str, values: dict[str, str]) -> str:
    """The sheet with a value for each kind written in every row of that kind."""
    rows = list(csv.DictReader(io.StringIO(text)))
    for row in rows:
        row["value_mm"] = values.get(row["what"], "")
    out = io.StringIO()
    writer = csv.DictWriter(out, HEADER)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


@pytest.fixture
def again(tmp_path, make_surface):
    """Judge, write the sheet, fill it in, read it, take it in, judge again."""

    def run(measurement, values):
        surface = make_surface()
        first = judge(measurement, surface, [DEFAULT], RULE)
        path = tmp_path / "next_readings.csv"
        path.write_text(fill(readings_csv(first), values), encoding="utf-8")
        readings = read_hand_readings(path)
        taken = take_in(measurement, readings, JOINTS, surface=surface)
        return first, taken, judge(taken, surface, [DEFAULT], RULE)

    return run


def doubtful(n, k):
    """Three joints with lips of 0.4 ± 2 mm, as one phone frame gives."""
    return {"lip": 0.4, "u_lip": 2.0} if n in (3, 20, 30) else {}


@pytest.mark.parametrize(("read", "code"), [("0.3", "lay_as_is"), ("1.6", "fill_joints_and_lips")])
def test_lips_that_a_frame_cannot_tell_are_decided_by_one_reading_each(
    again, make_measurement, make_spot, make_joints, read, code
):
    """Tiles of 0.5 x 0.5 m: 0.3 ± 0.1 and, 0.25 m off, ± 0.27 is within 1 mm; 1.6 is over it where it was read."""
    joints = make_joints(pitch=(500.0, 500.0), change=doubtful)
    first, taken, second = again(make_measurement([make_spot(2.0)], joints=joints), {"lip": read})
    assert first.answer.code == "not_decided"
    assert sorted(r.joint for r in first.next_readings) == ["J21", "J31", "J4"]
    assert {(r.kind, r.instrument) for r in first.next_readings} == {("lip", "short straightedge and feeler gauges")}
    assert len(taken.hand) == 3
    assert second.answer.code == code


def test_gap_lip_width_and_depth_all_at_once(again, make_measurement, make_spot, make_joints):
    def change(n, k):
        return {4: {"lip": 0.9, "u_lip": 0.8}, 9: {"depth": 1.6, "u_depth": 0.7}}.get(n, {})

    joints = make_joints(pitch=(500.0, 500.0), width=4.4, u_width=0.6, change=change)
    spots = [make_spot(2.7, u=0.5, at=(2000.0, 2000.0)), make_spot(1.0, at=(4000.0, 1000.0))]
    values = {"gap": "1.9", "lip": "0.2", "joint_depth": "0.6", "joint_width": "3.6"}
    first, taken, second = again(make_measurement(spots, joints=joints), values)
    assert first.answer.code == "not_decided"
    assert {r.kind for r in first.next_readings} == set(values)
    assert not any(h.conflict for h in taken.hand)
    assert second.answer.code == "lay_as_is"
    assert second.next_readings == ()


def test_one_width_is_asked_first_where_it_tells_all(make_surface, make_measurement, make_spot, make_joints):
    """All 49 widths are doubtful by their definition alone: the best measured joint's reading comes first."""
    joints = make_joints(
        width=4.6, u_width=0.6, change=lambda n, _: {"u_wall": 0.05, "u_width": 0.55} if n == 17 else {}
    )
    verdict = judge(make_measurement([make_spot(2.8)], joints=joints), make_surface(), [DEFAULT], RULE)
    assert (verdict.next_readings[0].joint, verdict.next_readings[0].kind) == ("J18", "joint_width")
    assert len(verdict.next_readings) == MOST_READINGS
    assert verdict.more_readings == 49 + 1 - MOST_READINGS
    assert [r.number for r in verdict.next_readings] == list(range(1, 13))


def test_a_contradiction_is_shown_and_not_hidden_by_its_neighbours(again, make_measurement, make_spot, make_joints):
    """The scan says 0.95 ± 0.1, the hand 2.5: the joint is not decided whatever the rest of it says."""
    joints = make_joints(change=lambda n, _: {"lip": 0.95, "u_lip": 0.1} if n == 3 else {})
    _, taken, second = again(make_measurement([make_spot(2.0)], joints=joints), {"lip": "2.5"})
    assert [h.conflict for h in taken.hand] == [True]
    assert second.answer.code == "not_decided"
    (found,) = [f for f in second.findings if f.what == "lip"]
    assert (found.verdict, found.conflict, found.joint) == ("not_decided", True, "J4")
    assert "hand reading and map disagree: read again" in found.where
    assert any("disagree at 1 place" in reason for reason in second.answer.reasons)
    assert "read it again" in second.next_readings[0].what
    assert math.dist(second.next_readings[0].at, taken.hand[0].reading.at) < 1.0


def test_a_contradicted_width_leaves_what_is_over_elsewhere_on_its_joint(
    tmp_path, make_surface, make_measurement, make_spot, make_joints
):
    joints = make_joints(change=lambda n, k: {"width": 7.0} if (n, k) == (3, 0) else {})
    path = tmp_path / "own.csv"
    path.write_text("what,x_m,y_m,joint,value_mm,u_mm\njoint_width,3.525,0.7,J4,6.5,0.3\n")
    taken = take_in(make_measurement([make_spot(2.0)], joints=joints), read_hand_readings(path), JOINTS)
    found = [f for f in judge(taken, make_surface(), [DEFAULT], RULE).findings if f.what == "joint_width"]
    assert [(f.verdict, f.conflict) for f in found] == [("over", False), ("not_decided", True)]


def test_a_gap_in_contradiction_is_not_decided(again, make_measurement, make_spot, make_joints):
    _, _, second = again(
        make_measurement([make_spot(3.2), make_spot(1.0, at=(4000.0, 1000.0))], joints=make_joints()), {"gap": "0.5"}
    )
    gap = next(f for f in second.findings if f.what == "gap")
    assert (gap.verdict, gap.conflict) == ("not_decided", True)
    assert second.answer.code == "not_decided"


def test_a_deep_joint_nobody_scanned_is_over_by_its_reading(again, make_measurement, make_spot, make_joints):
    joints = make_joints(depth=math.nan, refused=(("depth", "too_few_heights"),))
    _, _, second = again(make_measurement([make_spot(2.0)], joints=joints), {"joint_depth": "4"})
    assert second.answer.code == "fill_joints_and_lips"
    assert second.joint_tally.fill_m > 0.0


def test_a_lone_gap_that_is_over_makes_the_floor_over(tmp_path, make_surface, make_measurement, make_spot, make_joints):
    path = tmp_path / "own.csv"
    path.write_text("what,x_m,y_m,edge_m,value_mm\ngap,5,3,2,6\n")
    taken = take_in(make_measurement([make_spot(2.0)], joints=make_joints()), read_hand_readings(path), JOINTS)
    verdict = judge(taken, make_surface(), [DEFAULT], RULE)
    assert verdict.answer.code == "level_areas"
    assert verdict.findings[0].where.endswith("; read by hand")


def test_the_sheet_is_safe_to_open_and_says_what_it_must():
    nasty = Reading((-1.0, 250.0), '=HYPERLINK("x")', "+feeler", "-0.1 mm", number=1, kind="lip", joint="@J1")
    job = Reading((0.0, 0.0), "clear it", "", "", number=2)
    text = readings_csv(Verdict(Answer("not_decided", "", ()), (), (nasty, job), ()))
    rows = list(csv.reader(io.StringIO(text)))
    assert tuple(rows[0]) == HEADER
    assert rows[1] == [
        "N1", "lip", "-0.001", "0.250", "'@J1", "", "'=HYPERLINK(\"x\")", "'+feeler", "'-0.1 mm", "", "", "",
    ]  # fmt: skip
    assert len(rows) == 2
