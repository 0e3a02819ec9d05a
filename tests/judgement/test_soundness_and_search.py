"""Taps, cracks, joints searched by eye and bends that readings cannot see: what they do to the answer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.caveats import caveat
from flatscan.judgement import judge, load_limits
from flatscan.judgement.answer import NOT_RECORDED
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.judgement.soundness import Soundness, soundness_reasons
from flatscan.quantity import Quantity
from flatscan.settings import JudgeSettings
from flatscan.sources.hand.field_readings import Crack, FieldReadings, Sounding
from flatscan.sources.hand.hand_reading import HandReading
from flatscan.sources.scan import InputFile
from flatscan.surface.readings.fit import LongMode, ReadingsFit

RULE = JudgeSettings()
SHEET = (InputFile(Path("readings.csv"), "0a" * 32, "readings"),)
DEFAULT = load_limits(["over-old-tiles"])[0]
FLAT_ONLY = LimitSet(
    id="flat-only",
    title="a gap limit and nothing else",
    source=LimitSource(document="a test", mark="common practice, no source"),
    limits=(Limit(what="gap", limit_mm=3.0, edge_mm=2000.0),),
)


def field(**parts) -> FieldReadings:
    return FieldReadings(SHEET, **parts)


def tap(sounds: str, n: int = 1) -> Sounding:
    return Sounding(30 + n, str(n), (500.0 * n, 400.0), sounds)


def spot(what: str, value: float, *, u=0.1, row=50, at=(1000.0, 500.0)) -> HandReading:
    return HandReading(row, what, at, Quantity(value, u, "mm"))


CRACK = Crack(40, "C1", (500.0, 1000.0), (2000.0, 1200.0), Quantity(0.8, 0.1, "mm"))


@pytest.fixture
def flat(make_measurement, make_spot, make_surface):
    """A floor that is within for sure."""

    def judged(written=None, limits=FLAT_ONLY, gap=1.0, **surface):
        measured = make_measurement([make_spot(gap)])
        return judge(measured, replace(make_surface(), **surface), [limits], RULE, field=written)

    return judged


# Soundness


@pytest.mark.parametrize(
    ("written", "settle"),
    [
        (field(soundings=(tap("hollow"), tap("sound", 2))), "1 hollow place"),
        (field(soundings=(tap("loose"), tap("hollow", 2))), "2 hollow or loose places"),
        (field(cracks=(CRACK,)), "1 crack"),
        (field(soundings=(tap("loose"),), cracks=(CRACK, CRACK)), "1 loose place and 2 cracks"),
    ],
)
def test_a_flat_floor_that_is_hollow_or_cracked_is_never_laid_over_as_it_is(flat, written, settle):
    answer = flat(written).answer
    assert answer.code == "not_decided"
    assert answer.text == f"Flat enough; first settle {settle}"


def test_sound_taps_leave_the_answer_and_are_told(flat):
    answer = flat(field(soundings=(tap("sound"), tap("sound", 2)))).answer
    assert answer.code == "lay_as_is"
    assert "2 places tapped, none hollow or loose; what lies between was not tapped" in answer.reasons
    assert answer.reasons[-1].startswith("Dryness, cracks, cleanness, room climate")
    assert answer.reasons[-1].endswith("are not recorded: check them before any work")


def test_other_work_keeps_its_answer_and_names_what_comes_first(flat):
    answer = flat(field(soundings=(tap("loose"),), cracks=(CRACK,)), gap=5.0).answer
    assert answer.code == "level_areas"
    assert answer.text == (
        "Level the marked areas, then lay; first settle asbestos (no test recorded), 1 loose place and 1 crack; still "
        "to be shown: dry, clean, warm enough and 3 more"
    )
    assert answer.reasons[-1].startswith("Dryness, cleanness, room climate")


def test_with_nothing_written_the_last_reason_is_as_it_was(flat):
    assert flat(None).answer.reasons[-1] == flat(field()).answer.reasons[-1] == NOT_RECORDED


@pytest.mark.parametrize(("bad", "said"), [(1, "10 %: up to a tenth"), (2, "20 %: above a tenth")])
def test_a_tenth_decides_between_bad_tiles_and_the_whole_covering(bad, said):
    """CSTB Cahier 3635_V2 as restated: more than 10 % of a room's area defective, all comes up."""
    taps = tuple(tap("hollow" if n < bad else "sound", n) for n in range(10))
    (reason,) = soundness_reasons(Soundness.of(field(soundings=taps)))
    assert reason.startswith(f"{bad} of 10 places tapped sound")
    assert said in reason
    assert "restated" in reason


def test_few_taps_tell_no_share():
    (reason,) = soundness_reasons(Soundness.of(field(soundings=(tap("hollow"), tap("sound", 2)))))
    assert "%" not in reason
    assert "Tap at least 10 places" in reason


# Joints searched by eye


def test_joints_not_read_at_all_stay_as_they_were(flat):
    verdict = flat(field(joints_searched=True), DEFAULT)
    assert verdict.answer.code == "not_decided"
    assert verdict.answer.text == "Flat enough; joints and lips not measured"


READ = (spot("lip", 0.5), spot("joint_width", 3.0), spot("joint_depth", 1.0))


def test_the_worst_of_a_searched_floor_within_is_within_as_searched_by_eye(flat):
    verdict = flat(field(spots=READ, joints_searched=True), DEFAULT)
    assert verdict.answer.code == "lay_as_is"
    assert all(f.where.endswith("as searched by eye") for f in verdict.findings if f.what != "gap")
    assert any("judged as searched by eye" in r for r in verdict.answer.reasons)


def test_a_few_places_of_a_floor_that_was_not_searched_decide_nothing(flat):
    more = (*READ, spot("lip", 0.4, row=51, at=(3000.0, 500.0)))
    verdict = flat(field(spots=more), DEFAULT)
    assert verdict.answer.code == "not_decided"
    words = {f.what: f.where for f in verdict.findings if f.verdict == "not_seen"}
    assert words["lip"] == "read at 2 places, the rest not seen"
    assert words["joint_width"] == "read at 1 place, the rest not seen"
    assert not any("searched by eye" in r for r in verdict.answer.reasons)


@pytest.mark.parametrize("searched", [True, False])
def test_a_lip_over_is_over_whether_searched_or_not(flat, searched):
    verdict = flat(field(spots=(*READ[1:], spot("lip", 1.5)), joints_searched=searched), DEFAULT)
    lip = next(f for f in verdict.findings if f.what == "lip" and f.value is not None)
    assert lip.verdict == "over"
    assert verdict.answer.code == "fill_joints_and_lips"
    rest = any("read at 1 place, the rest not seen" in r for r in verdict.answer.reasons)
    assert rest != searched


def test_a_searched_kind_does_not_speak_for_another(flat):
    verdict = flat(field(spots=READ[:1], joints_searched=True), DEFAULT)
    assert verdict.answer.text == "Flat enough; joint width and joint depth not measured"


def test_a_joint_too_close_to_its_limit_is_read_again_finer(flat):
    verdict = flat(field(spots=(*READ[:2], spot("joint_depth", 2.05)), joints_searched=True), DEFAULT)
    (reading,) = verdict.next_readings
    assert (reading.kind, reading.at) == ("joint_depth", (1000.0, 500.0))
    assert "again and finer" in reading.what


def test_a_spot_taken_in_before_is_not_judged_twice(make_measurement, make_spot, make_surface):
    from flatscan.judgement.searched_joints import with_spots

    once = with_spots(make_measurement([make_spot(1.0)]), field(spots=READ))
    assert len(once.hand) == len(with_spots(once, field(spots=READ)).hand) == 3


def test_a_gap_without_contacts_is_over_only_where_it_is_over_the_mildest_limit(flat):
    """Beneath 2 m the limit of DIN 18202 line 3 is 2 to 6 mm, by contacts that were not written down."""
    (din,) = load_limits(["din18202-3"])
    for value, over in ((5.0, False), (6.5, True)):
        gap = HandReading(50, "gap", (3000.0, 2500.0), Quantity(value, 0.1, "mm"), edge_mm=2000.0)
        findings = flat(field(spots=(gap,)), din).findings
        assert any(f.verdict == "over" and f.limit_mm == 6.0 for f in findings) == over


# Bends


def fit(*modes: LongMode) -> ReadingsFit:
    none = np.empty(0)
    return ReadingsFit(none.astype(np.int64), (), none.reshape(0, 2), none, none, none, 1.0, 3000.0, modes)


TWIST = LongMode("twist", 3.0, 3.1, seen=False, cure="straightedge along both diagonals")
BOW = LongMode("bow along x", 0.2, 3.0, seen=True)
SLIGHT = LongMode("S-shaped bend along x", 0.1, 0.1, seen=False, cure="more rows")


def test_an_unseen_bend_is_named_and_its_cure_comes_first(flat):
    verdict = flat(gap=2.9, fit=fit(BOW, SLIGHT, TWIST), kind="readings")
    reason = next(r for r in verdict.answer.reasons if "do not show" in r)
    assert "twist (± 6.0 mm)" in reason
    assert "straightedge along both diagonals" in reason
    # 0.2 mm is less than a tenth of the 3 mm limit: it keeps nothing open.
    assert "S-shaped" not in reason
    assert "bow" not in reason
    first = verdict.next_readings[0]
    assert first.number == 1
    assert first.what == "to see the twist: straightedge along both diagonals"
    assert first.kind is None
    assert len(verdict.next_readings) == 2


def test_where_nothing_is_open_no_bend_is_blamed(flat):
    found = HandReading(9, "gap", (1000.0, 500.0), Quantity(1.0, 0.2, "mm"), edge_mm=2000.0)
    swept = field(spots=(found,), gaps_searched=True)
    verdict = flat(swept, gap=1.0, fit=fit(TWIST), kind="readings")
    assert verdict.answer.code == "lay_as_is"
    assert not any("twist" in r for r in verdict.answer.reasons)
    assert verdict.next_readings == ()


def test_bends_with_one_cure_are_read_together(flat):
    bow = LongMode("bow along y", 2.0, 2.0, seen=False, cure=TWIST.cure)
    verdict = flat(gap=2.9, fit=fit(bow, TWIST), kind="readings")
    assert verdict.next_readings[0].what == "to see the twist and the bow along y: straightedge along both diagonals"
    assert sum(r.what.startswith("to see") for r in verdict.next_readings) == 1


# Slips of the pen


def test_a_reading_that_does_not_fit_is_the_first_reason(flat):
    doubt = caveat("reading_stands_out", numbers="33 (line 47)")
    verdict = flat(gap=9.0, fit=fit(), kind="readings", caveats=(doubt,))
    assert verdict.answer.code == "level_areas"
    assert verdict.answer.text.endswith("; but first read again what does not fit")
    assert "33 (line 47)" in verdict.answer.reasons[0]
    assert "does not fit" not in flat(gap=9.0, fit=fit(), kind="readings").answer.text


# Between the readings


def test_a_floor_is_not_within_under_an_edge_shorter_than_the_waves_read(flat):
    """Rows 1 m apart see waves of 3 m: a dip as wide as a 2 m edge may lie between them."""
    verdict = flat(gap=1.0, fit=fit(), kind="readings")
    assert verdict.answer.code == "not_decided"
    assert verdict.answer.text.startswith("Flat enough where it was read")
    assert any(reason.startswith("Gap of 1.0") and "within" in reason for reason in verdict.answer.reasons)
    (reason,) = [r for r in verdict.answer.reasons if "between the readings" in r]
    assert "3.0 m" in reason
    assert "0.67 m apart" in reason
    assert verdict.next_readings[0].what.startswith("deepest gaps of the whole floor")
    assert [f.verdict for f in verdict.findings if f.what == "gap"] == ["not_seen", "within"]


def test_a_search_needs_what_it_found(flat):
    """Saying so is not enough: the deepest gaps must have been written down, and they are judged."""
    said = field(gaps_searched=True)
    assert flat(said, gap=1.0, fit=fit(), kind="readings").answer.code == "not_decided"

    def found(value: float) -> FieldReadings:
        gap = HandReading(9, "gap", (1000.0, 500.0), Quantity(value, 0.2, "mm"), edge_mm=2000.0)
        return field(spots=(gap,), gaps_searched=True)

    assert flat(found(1.5), gap=1.0, fit=fit(), kind="readings").answer.code == "lay_as_is"
    assert flat(found(4.5), gap=1.0, fit=fit(), kind="readings").answer.code == "level_areas"


def test_rows_close_enough_or_a_scan_or_a_floor_over_need_no_search(flat):
    near = replace(fit(), smallest_wave_mm=2000.0)
    assert flat(gap=1.0, fit=near, kind="readings").answer.code == "lay_as_is"
    assert flat(gap=1.0, fit=replace(fit(), systematic_mm=(2.0, 0.4))).answer.code == "lay_as_is"
    over = flat(gap=5.0, fit=fit(), kind="readings")
    assert over.answer.code == "level_areas"
    assert not any("between the readings" in r for r in over.answer.reasons)


def test_a_set_with_many_edges_is_told_once(flat):
    verdict = flat(gap=0.2, limits=load_limits(["din18202-3"])[0], fit=fit(), kind="readings")
    assert sum("between the readings" in f.where for f in verdict.findings) <= 1


# Read again


def widths(written, flat):
    verdict = flat(written, DEFAULT)
    return [f for f in verdict.findings if f.what == "joint_width" and f.at is not None], verdict


def test_a_joint_read_again_and_finer_is_decided_by_both_readings(flat):
    rule, calliper = spot("joint_width", 5.0, u=0.33), spot("joint_width", 4.5, u=0.05, row=60, at=(1000.4, 500.0))
    (open_,), verdict = widths(field(spots=(rule,)), flat)
    assert open_.verdict == "not_decided"
    assert any(r.what.endswith("again and finer") for r in verdict.next_readings)
    (found,), verdict = widths(field(spots=(rule, calliper)), flat)
    # 1/u²: 9.18 and 400 per mm², so (9.18 x 5.0 + 400 x 4.5) / 409.18 = 4.511 mm, u = 0.0494 mm.
    assert (found.value.value, found.value.u) == pytest.approx((4.5112, 0.04944), abs=1e-4)
    assert found.verdict == "within"
    assert not any(r.kind == "joint_width" for r in verdict.next_readings)


def test_two_readings_of_one_joint_that_contradict_each_other_decide_nothing(flat):
    # 1 mm apart with u = 0.1 mm each: seven times what they may differ by.
    both = field(spots=(spot("joint_width", 5.8), spot("joint_width", 4.8, row=60)))
    (found,), verdict = widths(both, flat)
    assert found.verdict == "not_decided"
    assert found.where.endswith("read more than once, and the readings disagree: read again")
    assert "Readings taken more than once disagree at 1 place: read again there" in verdict.answer.reasons
    assert verdict.next_readings[0].what.endswith("; the readings there disagree, so read it again")


def test_neighbouring_lips_and_joints_of_other_names_stay_apart(flat):
    # The four lips round a tile's corner lie closer together than most people lay a tape.
    lips = field(spots=(spot("lip", 1.6, at=(790.0, 810.0)), spot("lip", 0.2, row=60, at=(810.0, 790.0))))
    assert len([f for f in flat(lips, DEFAULT).findings if f.what == "lip" and f.at is not None]) == 2
    named = [replace(spot("joint_width", w, row=r), joint=j) for w, r, j in ((4.0, 50, "J1"), (6.0, 60, "J2"))]
    assert [f.value.value for f in widths(field(spots=tuple(named)), flat)[0]] == [6.0, 4.0]
