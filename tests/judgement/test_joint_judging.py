"""Joints and lips from stations to the answer."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.judgement import judge, load_limits
from flatscan.judgement.joint_findings import joint_word
from flatscan.judgement.joint_stations import Judged
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.settings import JudgeSettings, PlaceSettings

DEFAULT = load_limits(["over-old-tiles"])[0]
RULE = JudgeSettings()
LOOSE = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=25)
#: 4 rows of 6 pieces of 1 m and 5 columns of 5 pieces of 0.7 m.
PIECES, LENGTH_M = 49, 41.5


def of_set(*limits: Limit) -> LimitSet:
    source = LimitSource(document="a test", mark="common practice, no source")
    return LimitSet(id="own", title="own", source=source, limits=limits)


def only(piece: int, **figures):
    return lambda n, _: figures if n == piece else {}


@pytest.fixture
def verdict_of(make_surface, make_spot, make_measurement, make_joints):
    def judged(sets=(DEFAULT,), rule=RULE, place=None, **figures):
        measurement = make_measurement([make_spot(2.0)], joints=make_joints(**figures))
        return judge(measurement, make_surface(), list(sets), rule, **({} if place is None else {"place": place}))

    return judged


def of_kind(verdict, kind):
    return [f for f in verdict.findings if f.what == kind]


def test_sound_joints_and_a_flat_floor_are_laid_over_as_they_are(verdict_of):
    verdict = verdict_of()
    assert verdict.answer.code == "lay_as_is"
    assert sorted((f.what, f.verdict) for f in verdict.findings) == [
        ("gap", "within"),
        ("joint_depth", "within"),
        ("joint_width", "within"),
        ("lip", "within"),
    ]
    tally = verdict.joint_tally
    assert tally.length_m == pytest.approx(LENGTH_M)
    assert (tally.fill_m, tally.lips_over, tally.width.within) == (0.0, 0, pytest.approx(1.0))
    assert verdict.next_readings == ()


@pytest.mark.parametrize(
    ("kind", "figure", "value", "word"),
    [
        # u = 0.1: guard band 0.1645 mm about 5, 2 and 1 mm
        ("joint_width", "width", 4.83, "within"),
        ("joint_width", "width", 4.84, "not_decided"),
        ("joint_width", "width", 5.16, "not_decided"),
        ("joint_width", "width", 5.17, "over"),
        ("joint_depth", "depth", 1.83, "within"),
        ("joint_depth", "depth", 1.84, "not_decided"),
        ("joint_depth", "depth", 2.17, "over"),
        ("lip", "lip", 0.83, "within"),
        ("lip", "lip", -0.84, "not_decided"),
        # Among lips of 0.2 mm one over must be a little surer than by itself (test_lip_prior).
        ("lip", "lip", -1.25, "over"),
    ],
)
def test_one_joint_at_the_boundary_decides_the_whole(verdict_of, kind, figure, value, word):
    verdict = verdict_of(change=lambda n, k: {figure: value} if (n, k) == (7, 4) else {})
    found = of_kind(verdict, kind)
    assert [f.verdict for f in found] == [word]
    assert found[0].value.value == value
    assert found[0].joint == "J8"
    assert found[0].at == (1225.0, 1400.0)
    code = {"within": "lay_as_is", "not_decided": "not_decided", "over": "fill_joints_and_lips"}[word]
    assert verdict.answer.code == code


def test_tally_and_reasons_count_metres_and_lips(verdict_of):
    def change(piece, station):
        if piece == 0:
            return {"width": 7.0}
        if piece == 1 and station < 5:
            return {"depth": 3.0, "width": 7.0}  # one stretch, over in both, is filled once
        if piece in (10, 11):
            return {"lip": -2.0}
        return {"lip": 1.0} if piece == 12 else {}

    verdict = verdict_of(change=change)
    tally = verdict.joint_tally
    assert tally.fill_m == pytest.approx(1.25)
    assert (tally.lips_over, tally.lips_over_m) == (2, pytest.approx(2.0))
    assert (tally.lips_undecided, tally.lips_undecided_m) == (1, pytest.approx(1.0))
    assert tally.width.over == pytest.approx(1.25 / LENGTH_M)
    assert tally.depth.over == pytest.approx(0.25 / LENGTH_M)
    for shares in (tally.width, tally.depth, tally.lip):
        assert shares.over + shares.not_decided + shares.within + shares.not_seen == pytest.approx(1.0)
    words = " | ".join(verdict.answer.reasons)
    assert "1.2 m of joint to fill and 2 lips to take down" in words
    assert "over a limit: 3 % in width, 1 % in depth, 5 % in lip" in words
    assert "Highest lip: 2.0 ± 0.2 mm, " in words
    assert verdict.answer.code == "fill_joints_and_lips"


def test_depths_that_no_sensor_sees_keep_the_floor_undecided(verdict_of):
    verdict = verdict_of(depth=math.nan, refused=(("depth", "too_few_heights"),))
    (found,) = of_kind(verdict, "joint_depth")
    assert (found.verdict, found.at, found.share) == ("not_seen", None, 1.0)
    assert found.where == "no sensor here sees into the joints; read by hand"
    assert verdict.answer.code == "not_decided"
    assert "Joint depth: no sensor here sees into the joints; read by hand" in verdict.answer.reasons
    assert {r.kind for r in verdict.next_readings} == {"joint_depth"}


def test_a_small_unseen_share_does_not_keep_the_floor_from_being_within(verdict_of):
    """One station of 50 mm in 41.5 m is 0.12 %; its joint of 1 m has just 5 % unseen, which is too much for it."""
    verdict = verdict_of(change=lambda n, k: {"lip": math.nan} if (n, k) == (3, 0) else {})
    assert verdict.answer.code == "lay_as_is"
    assert [f.verdict for f in of_kind(verdict, "lip")] == ["not_seen", "within"]
    assert verdict_of(lip=math.nan, rule=JudgeSettings(most_unseen_share=0.999)).answer.code == "not_decided"


def test_the_word_of_a_joint():
    def station(word, stretch=50.0):
        return Judged((0.0, 0.0), stretch, word, 1.0)

    assert joint_word([station("within"), station("over")], 0.05) == "over"
    assert joint_word([station("not_seen"), station("not_decided")], 0.05) == "not_decided"
    assert joint_word([station("within", 95.0), station("not_seen", 5.0)], 0.05) == "not_seen"
    assert joint_word([station("within", 96.0), station("not_seen", 4.0)], 0.05) == "within"
    assert joint_word([station("not_seen")], 0.05) == "not_seen"
    assert joint_word([], 0.05) == "not_seen"


@pytest.mark.parametrize(
    ("tile", "limit_mm"),
    [
        ((100.0, 100.0), 1.2),
        ((300.0, 300.0), 1.6),
        ((400.0, 400.0), 1.8),
        ((600.0, 300.0), 1.9),
        ((500.0, 500.0), 2.0),
    ],
)
def test_lip_limits_by_tile_size_as_published(verdict_of, tile, limit_mm):
    """German tile trade leaflet of October 2005 as printed at fliesen-baral.com, tiles with exact joints of 3 mm."""
    (zdb,) = load_limits(["zdb-lip"])
    pitch = (tile[0] + 3.0, tile[1] + 3.0)
    verdict = verdict_of([zdb], pitch=pitch, lip=0.3, u_width=0.0, format_u=0.0)
    (found,) = of_kind(verdict, "lip")
    assert found.limit_mm == pytest.approx(limit_mm, abs=1e-9)
    assert found.limit_id == "zdb-lip/lip"
    over = verdict_of([zdb], pitch=pitch, lip=limit_mm + 0.17, u_width=0.0, format_u=0.0)
    assert {f.verdict for f in of_kind(over, "lip")} == {"over"}


def test_a_tile_beyond_the_leaflet_has_no_limit(verdict_of):
    """Length + width beyond 1000 mm is outside what the leaflet speaks of; the 2.2 mm of 60x60 is not taken."""
    (zdb,) = load_limits(["zdb-lip"])
    (found,) = of_kind(verdict_of([zdb], pitch=(603.0, 603.0)), "lip")
    assert found.verdict == "not_seen"
    assert "states none for such joints and tiles" in found.where


@pytest.mark.parametrize(
    ("width", "u_width", "lip", "word", "limit_mm"),
    [
        (5.0, 0.1, 1.3, "over", 1.0),  # surely narrower than 6 mm
        (7.0, 0.1, 1.3, "within", 2.0),  # surely wider
        (6.0, 0.5, 1.3, "not_decided", 2.0),  # either: over the one, within the other
        (6.0, 0.5, 0.7, "within", 1.0),  # within the stricter
        (6.0, 0.5, 2.3, "over", 2.0),  # over the milder
        (math.nan, 0.5, 1.3, "not_decided", 1.0),
        (math.nan, 0.5, 2.3, "over", 2.0),
    ],
)
def test_a_limit_by_joint_width_where_the_width_is_uncertain(verdict_of, width, u_width, lip, word, limit_mm):
    """BS 5385-3: 1 mm for joints below 6 mm, 2 mm from 6 mm on."""
    (bs,) = load_limits(["bs5385-lip"])
    verdict = verdict_of([bs], width=width, u_width=u_width, lip=lip)
    found = of_kind(verdict, "lip")
    assert {f.verdict for f in found} == {word}
    assert {f.limit_mm for f in found} == {limit_mm}


def test_unknown_tiles_take_the_strictest_for_within_and_the_mildest_for_over(verdict_of):
    (din,) = load_limits(["din18333-lip"])  # 1.5 mm up to 0.25 m², 2.0 mm above
    for lip, word in ((1.2, "within"), (1.75, "not_decided"), (2.3, "over")):
        verdict = verdict_of([din], lip=lip, with_format=False)
        assert {f.verdict for f in of_kind(verdict, "lip")} == {word}


def test_several_sets_each_have_their_word_and_the_tally_the_worst(verdict_of):
    strict = of_set(Limit(what="lip", limit_mm=0.2))
    verdict = verdict_of([DEFAULT, strict], lip=0.5)
    assert {(f.limit_id, f.verdict) for f in of_kind(verdict, "lip")} == {
        ("over-old-tiles/lip", "within"),
        ("own/lip", "over"),
    }
    assert verdict.joint_tally.lip.over == pytest.approx(1.0)
    assert verdict.joint_tally.lips_over == PIECES


@LOOSE
@given(lip=st.floats(-3.0, 3.0), u=st.floats(0.01, 2.0), limit=st.floats(0.2, 3.0), more=st.floats(0.0, 2.0))
def test_a_larger_limit_never_makes_within_of_over_backwards(verdict_of, lip, u, limit, more):
    order = ["within", "not_seen", "not_decided", "over"]

    def word(limit_mm):
        verdict = verdict_of([of_set(Limit(what="lip", limit_mm=limit_mm))], change=only(5, lip=lip, u_lip=u))
        return max((f.verdict for f in of_kind(verdict, "lip")), key=order.index)

    assert order.index(word(limit + more)) <= order.index(word(limit))


@LOOSE
@given(piece=st.integers(0, PIECES - 1), value=st.floats(5.2, 40.0), rest=st.floats(0.5, 4.8))
def test_one_joint_that_is_over_makes_the_floor_over(verdict_of, piece, value, rest):
    verdict = verdict_of(width=rest, change=only(piece, width=value))
    assert verdict.answer.code == "fill_joints_and_lips"
    assert [f.joint for f in of_kind(verdict, "joint_width")] == [f"J{piece + 1}"]


@pytest.mark.parametrize("seed", range(8))
def test_a_dead_flat_floor_in_a_noisy_capture_is_never_over(verdict_of, seed):
    """Lips of 0 seen with a noise of 2 mm: by itself each joint would be over with 3 %; among its like none is."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(0.0, 2.0, PIECES)
    noise[:2] = 4.5, -4.4  # over 1 + 1.645 * 2 = 4.29
    verdict = verdict_of(change=lambda n, _: {"lip": noise[n], "u_lip": 2.0})
    assert verdict.joint_tally.lips_over == 0
    assert verdict.answer.code == "not_decided"
    assert not any("to take down" in reason for reason in verdict.answer.reasons)


@pytest.mark.parametrize(
    ("lip", "u", "code"), [(10.0, 2.0, "fill_joints_and_lips"), (1.4, 0.1, "fill_joints_and_lips")]
)
def test_a_lip_that_noise_cannot_make_is_over_among_noisy_ones(verdict_of, lip, u, code):
    """Of 830 stations the chance that noise beats 5 u is 830 * 5.7e-7 = 0.05 %; one read by hand is 14 u."""
    own = {"lip": lip, "u_lip": u}
    verdict = verdict_of(change=lambda n, _: own if n == 5 else {"lip": 4.5 * (n == 7), "u_lip": 2.0})
    assert verdict.answer.code == code


def test_places_are_counted_from_the_walls(verdict_of):
    """Pitch 1000 x 700 on 6.0 x 3.5 m: J1 to J6 lie 0.7 m from the bottom; J7 to J12 1.4 m; J25 on runs along y."""
    found = of_kind(verdict_of(change=only(7, width=9.0)), "joint_width")[0]
    assert found.where == "second joint from the bottom wall (1.40 m from it), 1.02 m from the left wall"
    top = of_kind(verdict_of(change=only(18, width=9.0)), "joint_width")[0]
    assert top.where.startswith("first joint from the top wall (0.70 m from it), ")
    column = of_kind(verdict_of(change=only(24, width=9.0)), "joint_width")[0]
    assert column.where.startswith("first joint from the left wall (1.00 m from it), 0.0")


def test_a_door_names_its_wall(verdict_of):
    door = PlaceSettings(doors_mm=(((1000.0, 3500.0), (1900.0, 3500.0)),))
    found = of_kind(verdict_of(place=door, change=only(7, width=9.0)), "joint_width")[0]
    assert found.where.startswith("third joint from the door wall (2.10 m from it), 1.02 m from the left wall")
