"""What is said of a plan: in the terminal, on the page, as a table, and with which cautions."""

from __future__ import annotations

import csv
import doctest
import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from flatscan.judgement.verdict import AnswerCode
from flatscan.levelling.plan import METHOD_NAMES, DoorRise, GapAfter, LevellingPlan, MethodName, Proof
from flatscan.report.page.levelling import levelling_page
from flatscan.report.page.page import page_html
from flatscan.report.report import Report
from flatscan.report.tables.tables import areas_csv, methods_csv
from flatscan.report.terminal.full import full_text as summary
from flatscan.report.terminal.levelling import levelling_lines
from flatscan.report.words import levelling_places, levelling_words, proof_words, wording
from flatscan.report.words.cautions import cautions_for, cautions_of
from flatscan.report.words.story import next_steps

FILES = [Path("out") / name for name in ("levelling.json", "marking_out.pdf", "plan.dxf")]


def flat(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def with_first(plan: LevellingPlan, **changes: object) -> LevellingPlan:
    first = replace(plan.methods[0], **changes)  # type: ignore[arg-type]
    return replace(plan, methods=(first, *plan.methods[1:]))


def proof_of(plan: LevellingPlan) -> Proof:
    proof = plan.methods[0].proof
    assert proof is not None
    return proof


def test_the_examples_in_the_docstrings_hold() -> None:
    failed, tried = doctest.testmod(levelling_words)
    assert tried > 0
    assert failed == 0


def test_a_door_where_the_floor_sinks_says_so() -> None:
    assert (
        levelling_words.door_line(DoorRise("hall", -9.0, -6.0, 10.0))
        == "Door hall: the floor sinks by 9.0 mm on average"
    )
    assert levelling_words.door_line(DoorRise("hall", 4.0, 12.0, 10.0)).endswith("(10 mm allowed: too much)")


def test_every_way_has_a_name_and_says_what_it_is() -> None:
    assert set(levelling_words.NAME) == set(METHOD_NAMES)
    assert all(levelling_words.NAME[name] and levelling_words.WHAT[name] for name in METHOD_NAMES)


# Terminal


@pytest.mark.parametrize("chosen", ["patch", "grind_and_patch", "flood"])
@pytest.mark.parametrize("width", [40, 60, 80])
@pytest.mark.parametrize("ascii_text", [False, True])
def test_no_line_is_wider_than_the_terminal(
    report: Report, build_plan: Callable[..., LevellingPlan], chosen: MethodName, width: int, ascii_text: bool
) -> None:
    lines = levelling_lines(
        build_plan(report.surface, chosen=chosen), "level_areas", width=width, ascii_text=ascii_text, files=FILES
    )
    assert max(map(len, lines)) <= width
    assert not ascii_text or "".join(lines).isascii()


def test_the_ways_that_can_be_done_stand_side_by_side_at_80_columns(plan: LevellingPlan) -> None:
    lines = levelling_lines(plan, "level_areas")
    heading = next(line for line in lines if line.lstrip().startswith("Way"))
    rows = lines[lines.index(heading) + 1 :][:4]
    assert [row[2:17].strip() for row in rows] == ["patch", "grind and patch", "screed", "lift tiles"]
    assert [row[0] for row in rows] == ["*", " ", " ", " "]
    # 2.1 l less and more 1.3 of 10 %; one bag of 25 kg holds 14.7 l; 1.10 m2, 4.1 mm, a door up by 1.6 mm; 60 EUR.
    assert rows[0].split() == ["*", "patch", "2.1", "(1.8", "to", "2.4)", "1", "1.10", "-", "4.1", "+1.6", "60"]
    # 84 l times 1.7 and 1.08 are 154 kg; nine floors of ten need 174 kg: seven bags for both.
    assert rows[2].split()[:6] == ["screed", "84", "(73", "to", "95)", "7"]
    assert rows[1].split()[7:11] == ["1", "0.60", "0.70", "4.1"]
    # What lies beneath the tiles is not known; 12.5 m2 of them come up.
    assert rows[3].split() == ["lift", "tiles", "not", "known", "-", "12.5", "-", "-", "285+"]


def test_without_prices_there_is_no_cost_and_without_doors_no_rise(
    report: Report, build_plan: Callable[..., LevellingPlan]
) -> None:
    plan = build_plan(report.surface, priced=False)
    bare = replace(plan, methods=tuple(replace(method, doors=()) for method in plan.methods))
    said = "\n".join(levelling_lines(bare, "level_areas"))
    assert "Cost" not in said
    assert "Doors" not in said
    assert "Doors" in "\n".join(levelling_lines(plan, "level_areas"))


def test_bags_to_keep_sealed_are_told_beside_those_to_buy(plan: LevellingPlan) -> None:
    more = with_first(plan, buy=5, keep_sealed=2)
    row = next(line for line in levelling_lines(more, "level_areas") if line.startswith("* patch"))
    assert "5 (2)" in row
    assert "5 bags of 25 kg, keep 2 sealed" in flat(levelling_lines(more, "level_areas", width=40))


def test_what_is_not_possible_is_named_with_its_reason_and_not_in_the_table(plan: LevellingPlan) -> None:
    lines = levelling_lines(plan, "level_areas")
    for method in plan.methods:
        if not method.possible:
            assert f"{method.name}: {method.why_not}" in flat(lines)
            assert not any(line.startswith(f"  {method.name} ") for line in lines)


def test_where_no_way_is_possible_all_reasons_are_told(plan: LevellingPlan) -> None:
    none = replace(plan, methods=tuple(replace(m, why_not=f"no {m.name}") for m in plan.methods), chosen=None, areas=())
    said = flat(levelling_lines(none, "level_all"))
    assert "None is possible here" in said
    assert all(f"{levelling_words.NAME[name]}: no {name}" in said for name in METHOD_NAMES)


def test_reasons_that_the_recommendation_told_are_not_told_again(planned: Report, plan: LevellingPlan) -> None:
    reasons = "; ".join(method.why_not for method in plan.methods if method.why_not)
    told = replace(plan, recommendation=("Patch it", f"Ruled out are {reasons}", "What would change that: a price"))
    assert "Not possible here" not in flat(levelling_lines(told, "level_areas"))
    page = levelling_page(told, "level_areas")
    assert page["refused"] == []
    assert page["would_change"] == ["A price"]
    part = replace(plan, recommendation=("Patch it", f"Ruled out are {plan.methods[2].why_not}"))
    assert all(why in flat(levelling_lines(part, "level_areas")) for why in reasons.split("; "))
    # Where no way is left the page still says why.
    none = replace(told, methods=tuple(m for m in plan.methods if not m.possible), chosen=None, areas=())
    assert plan.methods[2].why_not in page_html(replace(planned, plan=none), b"")


def test_where_tiles_come_up_nothing_is_told_of_what_comes_after(
    planned: Report, report: Report, build_plan: Callable[..., LevellingPlan]
) -> None:
    plan = replace(build_plan(report.surface, chosen="lift_tiles"), areas=())
    said = flat(levelling_lines(plan, "level_all"))
    after = said[said.index("The way planned: lift tiles") :]
    assert "Take up 12.5 m² of old tiles" in after
    page = levelling_page(plan, "level_all")
    for text in ("stays as high", "of joint", "lip", "to mark out"):
        assert text not in after, text
        assert not any(text in line for line in page["asks"]), text
    assert page["joints"] == page["lips"] == []
    bare = with_first(plan, area_m2=0.0, volume_p_l=(0.0, 0.0, 0.0))
    assert "Take up 12.5 m² of old tiles" in flat(levelling_lines(bare, "level_all"))


def test_what_is_ground_and_primed_is_told_as_it_is(plan: LevellingPlan) -> None:
    ground = replace(plan.methods[1], ground_l=0.04, primer_kg=0.04)
    said = "\n".join(levelling_words.work_lines(ground, plan.product))
    assert "0.04 litres of floor come off" in said
    assert "Primer" not in said
    assert "bags 36.00 EUR" in said
    assert "Primer: 0.2 kg" in "\n".join(levelling_words.work_lines(plan.methods[0], plan.product))


def test_the_page_lists_only_lips_that_are_over_and_says_once_what_is_not_decided(plan: LevellingPlan) -> None:
    page = levelling_page(plan, "level_areas")
    assert len(page["lips"]) == 2
    assert not any("not decided" in line for line in [*page["lips"], *page["proof"]])
    unknown = levelling_page(replace(plan, joint_work=None), "level_areas")
    assert unknown["proof"][-1] == "1.5 m of joint is not decided and not counted as filled"


def test_the_recommendation_comes_before_the_table_and_the_rest_after_it(plan: LevellingPlan) -> None:
    said = flat(levelling_lines(plan, "level_areas", files=FILES))
    parts = [*plan.recommendation, "Way ", "Not possible here", "The way planned: patch", "marking_out.pdf (to print)"]
    assert sorted(said.index(part) for part in parts) == [said.index(part) for part in parts]


def test_a_file_that_was_not_written_is_not_promised(plan: LevellingPlan) -> None:
    assert "marking_out.pdf" not in "\n".join(levelling_lines(plan, "level_areas"))


def test_where_nothing_is_to_be_levelled_there_is_no_table(plan: LevellingPlan) -> None:
    flat_floor = with_first(plan, area_m2=0.0, volume_p_l=(0.0, 0.0, 0.04))
    said = "\n".join(levelling_lines(flat_floor, "lay_as_is"))
    assert "Nothing is to be levelled where the floor was measured" in said
    assert "every edge" not in said
    assert "Litres" not in said
    doubtful = with_first(plan, area_m2=0.0, volume_p_l=(0.0, 0.0, 0.4))
    row = next(line for line in levelling_lines(doubtful, "not_decided") if line.startswith("* patch"))
    assert "0 to 0.4" in row


def test_a_plan_without_ways_says_nothing(plan: LevellingPlan) -> None:
    assert levelling_lines(replace(plan, methods=(), caveats=()), "lay_as_is") == []


def test_the_whole_summary_holds_the_same_part(planned: Report, plan: LevellingPlan) -> None:
    whole = summary(planned, colour=False).splitlines()
    part = levelling_lines(replace(plan, caveats=()), "level_areas")
    start = whole.index(part[0])
    assert whole[start : start + len(part)] == part


def test_hostile_texts_cannot_repaint_the_terminal(plan: LevellingPlan) -> None:
    bad = "\x1b[31mred\x1b[0m\r" + "x" * 200
    spoilt = replace(
        with_first(plan, why_not=bad, notes=(bad,)),
        recommendation=(bad,),
        product=replace(plan.product, name=bad, source=bad, currency=bad),
    )
    lines = levelling_lines(spoilt, "level_areas")
    assert "\x1b" not in "".join(lines)
    assert "\r" not in "".join(lines)
    assert max(map(len, lines)) <= 80


# Sentences


def test_the_proof_tells_each_edge_with_its_limit_and_what_it_is_now(plan: LevellingPlan) -> None:
    assert proof_words.proof_line(proof_of(plan), plan.before) == (
        "As planned, measured again on the same grid: largest gap 0.62 mm under 0.2 m (limit 1 mm, now 0.71 mm, "
        "noise not taken off), 2.99 mm under 2 m (limit 3 mm, now 5.10 mm)"
    )


def test_of_many_edges_the_two_nearest_to_their_limit_are_told(plan: LevellingPlan) -> None:
    # Shares of their limits: 0.5, 0.9, 0.99, 0.2.
    edges = ((325.0, 2.0, 1.0), (500.0, 2.0, 1.8), (2000.0, 3.0, 2.97), (4000.0, 5.0, 1.0))
    many = replace(proof_of(plan), gaps=tuple(GapAfter(edge, t, gap, (0.0, 0.0)) for edge, t, gap in edges))
    said = proof_words.proof_line(many, many)
    assert said == (
        "As planned, measured again on the same grid: all 4 limits are met, nearest to their limits 2.97 mm under 2 m "
        "(limit 3 mm, now 2.97 mm, noise not taken off), 1.80 mm under 0.5 m (limit 2 mm, now 1.80 mm)"
    )
    short = replace(many, gaps=(*many.gaps[:3], GapAfter(4000.0, 5.0, 0.0, None)))
    said = proof_words.proof_line(short, None)
    assert "all 3 limits are met" in said
    assert said.endswith(". Nowhere could an edge of 4 m be laid")
    bad = replace(many, gaps=(GapAfter(325.0, 2.0, 2.5, (0.0, 0.0)), *many.gaps[1:]))
    said = proof_words.proof_line(bad, None)
    assert "1 of 4 limits are not met, nearest to their limits 2.50 mm under 0.325 m (limit 2 mm, over it " in said
    assert "all 4" not in said


def test_a_planned_gap_that_is_over_never_looks_like_its_limit(plan: LevellingPlan) -> None:
    over = replace(proof_of(plan), gaps=(GapAfter(2000.0, 3.0, 3.002, (1000.0, 500.0)),), joints_over=1, lips_over=2)
    said = proof_words.proof_line(over, None)
    assert "3.01 mm under 2 m (limit 3 mm, over it 1.00 m from the left wall, 0.50 m from the bottom wall)" in said
    assert said.endswith(". 1 joint and 2 lips stay over")


@pytest.mark.parametrize(("bound", "said"), [(0.9199, "91 %"), (1.0, "can cost less"), (0.05, " 5 %")])
def test_a_bound_is_never_told_better_than_it_is(plan: LevellingPlan, bound: float, said: str) -> None:
    assert said in levelling_words.bound_line(replace(plan.methods[0], bound=bound))


def test_joints_are_told_in_metres_and_litres_and_lips_with_their_high_side(plan: LevellingPlan) -> None:
    # 2.4 and 0.9 m are over, 1.5 m may be; doubts of one capture add up: 2 (0.01 + 0.02).
    lines = levelling_places.joint_lines(plan.joint_work)
    assert lines[0] == "Fill 3.3 m of joint: 0.09 ± 0.06 litres, in part guessed; up to 1.5 m more is not decided"
    assert lines[1] == "Take down 2 lips, the worst 1.8 ± 0.2 mm; 1 more is not decided"
    assert plan.joint_work is not None
    lips = [levelling_places.lip_line(lip) for lip in plan.joint_work.lips]
    assert lips[0].startswith("J3: 1.8 ± 0.2 mm, limit 1 mm, over 0.4 m, 0.60 m from the left wall, 1.50 m from the")
    assert lips[0].endswith("high side: left")
    assert lips[1].endswith("high side: right")
    assert lips[2].endswith("high side: top (not decided)")


def test_dams_and_pours_are_told_with_their_places(report: Report, build_plan: Callable[..., LevellingPlan]) -> None:
    said = flat(levelling_lines(build_plan(report.surface, chosen="flood"), "level_all"))
    assert "Dam at the hall door: 0.9 m long, from (4.60, 0.30) to (4.60, 1.20) m" in said
    assert "at least 17 mm above the old floor" in said
    assert "Pour 1: 12.5 m², 121.0 litres, level 16.0 mm above the lowest place in it" in said


def test_an_area_is_found_from_two_walls_or_else_from_corner_0(plan: LevellingPlan) -> None:
    area = plan.areas[0]
    # Its marking outline is 1.05 times the area, whose middle is 1.38 m and 1.054 m, its radii 0.56 m and 0.46 m.
    assert levelling_places.area_place(area) == "0.57 to 1.54 m from wall W1, 0.79 to 1.97 m from wall W6"
    box = levelling_places.area_place(replace(area, marked=None))
    assert box == "0.82 to 1.94 m from the left wall, 0.59 to 1.51 m from the bottom wall"


def steps_of(planned: Report, chosen: MethodName, code: AnswerCode) -> list[str]:
    answer = replace(planned.verdict.answer, code=code)
    plan = replace(planned.plan, chosen=chosen)
    return next_steps(replace(planned, plan=plan, verdict=replace(planned.verdict, answer=answer)))


def test_what_to_do_next_is_the_way_that_was_planned(planned: Report) -> None:
    assert any(
        step.startswith("Grind the places to grind") for step in steps_of(planned, "grind_and_patch", "level_areas")
    )
    assert any(step.startswith("Set the dams") for step in steps_of(planned, "flood", "level_all"))
    assert sum("marking_out.pdf" in step for step in steps_of(planned, "patch", "level_areas")) == 1
    assert not any("marking_out" in step for step in steps_of(planned, "screed", "level_all"))


# Page


def test_the_page_tells_the_plan(planned: Report, plan: LevellingPlan) -> None:
    html = page_html(planned, b"", b"", b"\x89PNG after")
    words = " ".join(re.sub(r"<[^>]+>", " ", html).split())
    wanted = [
        *plan.recommendation,
        "What would change the choice",
        "60 EUR (42 to 78)",
        "1 bag of 25 kg",
        "largest gap 0.62 mm under 0.2 m",
        "0.57 to 1.54 m from wall W1",
        "Take down 2 lips",
        "high side: right",
        "Door 1: the floor rises by 0.8 mm on average, 1.6 mm at most",
        "invented data sheet for these tests",
        "a bag 18 EUR",
        "Outline, metres from W1 and W6: a 1.05, 1.97; b ",
    ]
    for text in wanted:
        assert text in words, text
    assert all(method.why_not in words for method in plan.methods)
    assert html.count("data:image/png") == 2
    assert not re.search(r"style=|https?://", html)


def test_the_page_of_a_floor_to_leave_has_no_table_of_ways(planned: Report, plan: LevellingPlan) -> None:
    left = replace(with_first(plan, area_m2=0.0, volume_p_l=(0.0, 0.0, 0.0)), chosen=None, areas=(), recommendation=())
    html = page_html(replace(planned, plan=left), b"")
    assert "Nothing is to be levelled" in html
    assert "side by side" not in html


def test_hostile_texts_of_a_plan_stay_texts(planned: Report, plan: LevellingPlan) -> None:
    script = "<script>alert(1)</script>"
    spoilt = replace(
        with_first(plan, notes=(script,), doors=(replace(plan.methods[0].doors[0], door=script),)),
        recommendation=(script, script, script),
        product=replace(plan.product, name=script, currency=script),
        areas=(replace(plan.areas[0], action=script),),
    )
    html = page_html(replace(planned, plan=spoilt), b"")
    assert html.count("<script") == 3  # the page's own: data, looks, program
    assert html.count("&lt;script&gt;") >= 6


# Tables


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_every_way_is_a_row_with_its_reason(plan: LevellingPlan) -> None:
    read = rows(methods_csv(plan))
    assert [row["way"] for row in read] == list(METHOD_NAMES)
    assert [row["planned"] for row in read] == ["yes", *["no"] * 5]
    for row, method in zip(read, plan.methods, strict=True):
        assert row["possible"] == ("yes" if method.possible else "no")
        assert row["why_not"] == method.why_not
        if method.name != "lift_tiles":
            assert float(row["p90_litre"]) == pytest.approx(method.volume_p_l[2], abs=0.005)
            assert int(row["buy_bags"]) == method.buy
        assert method.cost is not None
        assert float(row["cost"]) == method.cost.value
    assert read[0]["largest_gaps"].endswith("2.991 mm under 2 m, limit 3 mm")
    assert float(read[3]["most_rise_at_doors_mm"]) == 8.4
    # What lies beneath the tiles is not known, which is not nothing.
    assert read[5]["p50_litre"] == read[5]["buy_bags"] == read[5]["most_rise_at_doors_mm"] == ""
    assert float(read[5]["lifted_m2"]) == 12.5


def test_areas_name_their_walls_and_thinnest_layer(plan: LevellingPlan) -> None:
    read = rows(areas_csv(plan))
    assert read[0]["walls"] == "0.57 to 1.54 m from wall W1, 0.79 to 1.97 m from wall W6"
    assert float(read[0]["min_mm"]) == 1.0


def test_a_way_that_starts_a_formula_is_made_safe(plan: LevellingPlan) -> None:
    assert rows(methods_csv(with_first(plan, why_not="=cmd()")))[0]["why_not"] == "'=cmd()"


# Cautions


def names(plan: LevellingPlan, code: AnswerCode = "level_areas", taps: tuple[object, ...] = ()) -> list[str]:
    return [caution.name for caution in cautions_of(plan, code, taps)]


def test_dust_is_cautioned_only_where_the_planned_work_makes_some(plan: LevellingPlan) -> None:
    no_lips = replace(plan, joint_work=None)
    assert "silica" not in names(no_lips)
    assert names(plan)[:2] == ["asbestos", "silica"]  # its lips come down
    assert names(replace(no_lips, chosen="grind_and_patch"))[1] == "silica"
    assert names(replace(no_lips, chosen="lift_tiles"))[1] == "silica"


def test_compound_on_old_tiles_calls_for_primer_and_a_moisture_test(plan: LevellingPlan) -> None:
    assert {"dense_surface", "moisture", "asbestos", "heated_floor", "slips"} <= set(names(plan))
    left = replace(plan, chosen=None, joint_work=None, areas=())
    assert names(left, "lay_as_is") == ["limits"]
    assert names(left, "lay_as_is", taps=((1.0, 2.0),)) == ["asbestos", "heated_floor", "limits"]


def test_a_report_and_its_plan_call_for_the_same(planned: Report, plan: LevellingPlan) -> None:
    bare = replace(plan, joint_work=None)
    assert cautions_for(replace(planned, plan=bare)) == cautions_of(bare, "level_areas", ())


def test_method_text_is_the_name_and_what_it_is() -> None:
    for name in METHOD_NAMES:
        assert wording.METHOD_TEXT[name] == f"{levelling_words.NAME[name]}, {levelling_words.WHAT[name]}"
