"""The limit sets against the tables they come from."""

from __future__ import annotations

import math

import pytest

from flatscan.judgement import known_limit_sets, load_limits
from flatscan.judgement.steps import span_limit_mm, stepped_limits
from flatscan.judgement.tile_limits import level_limit_mm, lip_limit, lip_limit_mm

# Extended table 3 of the German tile trade's handbook (after DIN 18202:2013), as printed, by distance in m.
DISTANCES_M = (0.1, 0.6, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 6.0, 8.0, 10.0, 15.0)
PRINTED = {
    3: (2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 11, 12, 15),
    4: (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15),
}


@pytest.mark.parametrize("line", PRINTED)
def test_din_lines_give_the_trades_extended_table(line):
    (limit_set,) = load_limits([f"din18202-{line}"])
    got = [span_limit_mm(limit_set, 1000 * d) for d in DISTANCES_M]
    assert got == pytest.approx(PRINTED[line], abs=1e-9)


@pytest.mark.parametrize(
    ("line", "printed"),
    [
        (1, (10, 15, 20, 25, 30)),
        (2, (5, 8, 12, 15, 20)),
        (5, (5, 10, 15, 25, 30)),
        (6, (3, 5, 10, 20, 25)),
        (7, (2, 3, 8, 15, 20)),
    ],
)
def test_the_columns_of_the_other_lines(line, printed):
    """DIN 18202 table 3 at 0.1, 1, 4, 10, 15 m as the same handbook prints it."""
    (limit_set,) = load_limits([f"din18202-{line}"])
    assert [span_limit_mm(limit_set, 1000 * d) for d in (0.1, 1, 4, 10, 15)] == pytest.approx(printed)


@pytest.mark.parametrize(("line", "span_m", "straight", "misprint"), [(2, 3.5, 11.333, 12), (7, 0.6, 2.556, 2)])
def test_two_printed_entries_are_not_what_a_straight_line_gives(line, span_m, straight, misprint):
    """The two entries of the handbook's table that break its own rule are taken as misprints and said so."""
    (limit_set,) = load_limits([f"din18202-{line}"])
    assert span_limit_mm(limit_set, 1000 * span_m) == math.floor(straight + 0.5) != misprint
    assert str(misprint) in limit_set.conflict


@pytest.mark.parametrize(
    ("line", "spans_m", "unrounded"),
    [
        (3, (0.2, 0.3, 0.5, 2, 3, 5), (2.2222, 2.4444, 2.8889, 6, 8, 10.3333)),
        (4, (0.2, 0.3, 0.5, 2, 3, 5), (1.2222, 1.4444, 1.8889, 5, 7, 9.5)),
    ],
)
def test_the_straight_line_before_rounding(line, spans_m, unrounded):
    """Worked by hand from the columns: t = t0 + (t1 - t0)(d - d0)/(d1 - d0)."""
    from dataclasses import replace

    (limit_set,) = load_limits([f"din18202-{line}"])
    got = [span_limit_mm(replace(limit_set, round_to_mm=None), 1000 * d) for d in spans_m]
    assert got == pytest.approx(unrounded, abs=5e-5)


@pytest.mark.parametrize(
    ("tile_cm", "printed"),
    [((10, 10), 1.2), ((30, 30), 1.6), ((40, 40), 1.8), ((30, 60), 1.9), ((50, 50), 2.0), ((60, 60), 2.2)],
)
def test_lip_limits_of_the_german_tile_leaflet(tile_cm, printed):
    """The leaflet of October 2005 prints these beside its formula; 60 x 60 lies beyond its stated sizes."""
    (limit_set,) = load_limits(["zdb-lip"])
    tile_mm = (10.0 * tile_cm[0], 10.0 * tile_cm[1])
    assert lip_limit_mm(limit_set.limits[0], tile_mm) == pytest.approx(printed, abs=1e-12)
    meant = lip_limit(limit_set.limits, tile_mm=tile_mm)
    assert (meant is None) == (sum(tile_cm) > 100)


@pytest.mark.parametrize(("distance_m", "printed"), [(8.0, 20.0), (27.0, 30.0)])
def test_level_by_the_cube_root(distance_m, printed):
    """NF DTU 13.3 P1-1-2 section 17.2: 10 mm times the cube root of the distance in metres."""
    (limit_set,) = load_limits(["dtu13.3-cover"])
    (level,) = (limit for limit in limit_set.limits if limit.what == "level")
    assert level_limit_mm(level, distance_m) == pytest.approx(printed, rel=1e-12)


def test_level_by_the_distance_from_the_reference_point():
    """NF DTU 52.10 P1-1 section 6.3.2: plus or minus (0.005 + 0.001 d) m."""
    (limit_set,) = load_limits(["dtu52.10-thin"])
    (level,) = (limit for limit in limit_set.limits if limit.what == "level")
    assert [level_limit_mm(level, d) for d in (0.0, 3.0, 12.0)] == [5.0, 8.0, 17.0]


@pytest.mark.parametrize(
    ("name", "edge_mm", "inches"),
    [
        ("astm-f710", 3048.0, 3 / 16),
        ("astm-f710", 304.8, 1 / 32),
        ("nwfa-glue", 1828.8, 1 / 8),
        ("nfca-elev", 3048.0, 1 / 8),
        ("ansi-a108-small", 304.8, 1 / 16),
        ("nahb-wood", 812.8, 1 / 4),
    ],
)
def test_inches_are_exact(name, edge_mm, inches):
    """The international inch is 25.4 mm: 3/16 in = 4.7625, 1/8 = 3.175, 1/16 = 1.5875, 1/32 = 0.79375 mm."""
    (limit_set,) = load_limits([name])
    (limit,) = (limit for limit in limit_set.limits if limit.what == "gap" and limit.edge_mm == edge_mm)
    assert limit.limit_mm == pytest.approx(inches * 25.4, rel=1e-15)


@pytest.mark.parametrize(
    ("name", "edge_mm", "limit_mm"),
    [
        ("bs8204-sr1", 2000, 3),
        ("bs8204-sr2", 2000, 5),
        ("bs8204-sr3", 2000, 10),
        ("dtu51.11", 2000, 5),
        ("dtu51.11", 200, 1),
        ("dtu13.3-cover", 2000, 7),
        ("dtu52.10-thick", 200, 2),
        ("as1884", 2000, 4),
        ("nl-lay", 2000, 5),
        ("uni11493", 2000, 3),
        ("wtcb-screed-1", 1000, 2),
        ("wtcb-slab-2", 2000, 17),
        ("en13670-unformed", 200, 6),
        ("gb50209-terrazzo-fine", 2000, 2),
        ("natspec-c", 600, 6),
        ("nzs3114", 3000, 5),
        ("nen2747-7", 1000, 12),
        ("ama-a-plus", 250, 1),
        ("nhbc-tile", 2000, 3),
    ],
)
def test_values_of_the_other_documents(name, edge_mm, limit_mm):
    """As the document named in the set, or the page that restates it, prints them."""
    (limit_set,) = load_limits([name])
    assert (edge_mm, limit_mm) in [(limit.edge_mm, limit.limit_mm) for limit in limit_set.limits]


def test_an_abrupt_deviation_of_half_a_millimetre():
    """AS 1884:2021 3.1.4: 0.5 mm beneath a 150 mm edge."""
    (limit_set,) = load_limits(["as1884"])
    assert [(limit.limit_mm, limit.edge_mm) for limit in limit_set.limits if limit.what == "lip"] == [(0.5, 150.0)]


@pytest.mark.parametrize(
    ("name", "joint_mm", "limit_mm"),
    [
        ("bs5385-lip", 5.9, 1),
        ("bs5385-lip", 6.0, 2),
        ("nhbc-lip", 6.0, 1),
        ("nhbc-lip", 6.1, 2),
        ("nsw-lip", 3.0, 1),
        ("nsw-lip", 3.1, 2),
        ("ansi-lip", 6.0, 0.79375),
        ("ansi-lip", 6.35, 1.5875),
    ],
)
def test_lip_limits_by_the_width_of_the_joint(name, joint_mm, limit_mm):
    """BS 5385: under 6 mm, and 6 mm and more; NHBC 9.1.7: up to 6 mm, and over; ANSI A108.02 4.3.7 in inches."""
    (limit_set,) = load_limits([name])
    limit = lip_limit(limit_set.limits, joint_mm=joint_mm)
    assert limit is not None
    assert limit.limit_mm == limit_mm


def test_the_default_set_is_marked_as_having_no_source():
    """Four searches found no published joint or lip figure for thin floors over tiles."""
    default = known_limit_sets()[0]
    found = {limit.what: (limit.limit_mm, default.source_of(limit).mark) for limit in default.limits}
    none = "common practice, no source"
    assert default.id == "over-old-tiles"
    assert found == {"joint_width": (5, none), "joint_depth": (2, none), "lip": (1, none), "gap": (3, "read")}


def test_steps_of_line_3_on_a_room():
    """Line 3 rises from 2 to 3 mm where the straight line passes 2.5: at 0.1 + 0.9/4 = 0.325 m; and so on."""
    (limit_set,) = load_limits(["din18202-3"])
    got = [(limit.edge_mm, limit.limit_mm) for limit in stepped_limits(limit_set, 2000.0)]
    assert [t for _, t in got] == [2, 3, 4, 5, 6]
    assert [e for e, _ in got] == pytest.approx([325, 775, 1250, 1750, 2000], abs=0.011)
