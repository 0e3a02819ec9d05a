"""The filled-in readings file becomes hand readings."""

from __future__ import annotations

import math
from pathlib import Path

import openpyxl
import pytest

from flatscan.sources.hand.instruments import hand_u_mm
from flatscan.sources.hand.read_readings import read_hand_readings

HEAD = "number,what,x_m,y_m,joint,edge_m,where,instrument,resolves,value_mm,u_mm,note\n"


def read(tmp_path: Path, text: str):
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    return read_hand_readings(path)


def test_each_kind_is_read_with_its_place(tmp_path):
    readings = read(
        tmp_path,
        HEAD
        + '1,gap,1.5,2.25,,2,"here, there",2 m straightedge and feeler gauges,0.2 mm or finer,3.1,,rocks\n'
        + "2,lip,0.5,0.75,J7,,,short straightedge and feeler gauges,0.1 mm or finer,0.9,,\n"
        + "3,joint_width,1,1,J8,,,steel rule,0.5 mm or finer,4.5,,\n"
        + "4,joint_depth,1,1,J8,,,depth gauge,0.5 mm or finer,,,\n"
        + "5,width,1,1,,,,,,4,0.2,\n",
    )
    assert [(r.row, r.what, r.at, r.value.value, r.edge_mm, r.joint) for r in readings] == [
        (2, "gap", (1500.0, 2250.0), 3.1, 2000.0, None),
        (3, "lip", (500.0, 750.0), 0.9, None, "J7"),
        (4, "joint_width", (1000.0, 1000.0), 4.5, None, "J8"),
        (6, "joint_width", (1000.0, 1000.0), 4.0, None, None),
    ]
    assert readings[0].note == "rocks"
    # Step / sqrt(12) and the reader's 0.3, 0.1 and 0.3 mm; what u_mm states stands alone.
    expected = [math.hypot(0.2 / 12**0.5, 0.3), math.hypot(0.1 / 12**0.5, 0.1), math.hypot(0.5 / 12**0.5, 0.3), 0.2]
    assert [r.value.u for r in readings] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [
        ("1.25", 1.25, 0.1),
        ("0", 0.0, 0.1),
        (".5", 0.5, 0.1),
        ("1.2 mm", 1.2, 0.1),
        ("<0.05", 0.025, math.hypot(0.1, 0.05 / 12**0.5)),
        ("< 0.4 mm", 0.2, math.hypot(0.1, 0.4 / 12**0.5)),
        ("0.12 cm", 1.2, 0.1),
        ('"3/16"""', 4.7625, 0.1),  # exact: the inch is 25.4 mm
        ('"1"""', 25.4, 0.1),
        ("1/32 in", 0.79375, 0.1),
    ],
)
def test_ways_to_write_a_value(tmp_path, text, value, u):
    """``<t``: evenly spread between 0 and t, mean t / 2 and u = t / sqrt(12)."""
    (reading,) = read(tmp_path, HEAD + f"1,lip,1,1,J1,,,,,{text},0.1,\n")
    assert (reading.value.value, reading.value.u) == pytest.approx((value, u))


def test_semicolons_and_decimal_commas(tmp_path):
    (reading,) = read(tmp_path, "what;x_m;y_m;joint;value_mm;u_mm\nlip;1,25;0,5;J3;0,75;0,15\n")
    assert (reading.at, reading.joint) == ((1250.0, 500.0), "J3")
    assert (reading.value.value, reading.value.u) == (0.75, 0.15)


def test_a_table_of_ones_own_needs_four_columns(tmp_path):
    (reading,) = read(tmp_path, "what,x_m,y_m,value_mm\nlip,1,2,0.5\n")
    assert reading.value.u == pytest.approx(hand_u_mm("lip", "", 0.1))


def test_a_quoted_comma_in_a_comma_table_is_a_decimal_comma(tmp_path):
    (reading,) = read(tmp_path, HEAD + '1,lip,1.5,1,J1,,,,,"0,5",,\n')
    assert reading.value.value == 0.5


def test_a_workbook_reads_as_the_text_does(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(HEAD.strip().split(","))
    book.active.append([1, "lip", 1.5, 2.25, "J7", None, "there", "feeler gauges", "0.1 mm or finer", 0.3, None, None])
    book.active.append([2, "lip", 1.5, 2.25, "J8", None, "there", "feeler gauges", "0.1 mm or finer", None, None, None])
    book.save(tmp_path / "readings.xlsx")
    (reading,) = read_hand_readings(tmp_path / "readings.xlsx")
    assert (reading.row, reading.at, reading.joint) == (2, (1500.0, 2250.0), "J7")
    assert (reading.value.value, reading.value.u) == pytest.approx((0.3, math.hypot(0.1, 0.1 / 12**0.5)))


def test_instruments_are_told_by_their_names():
    assert hand_u_mm("joint_width", "calliper or taper gauge", 0.0) == 0.1
    assert hand_u_mm("joint_width", "steel rule", 0.0) == 0.3
    assert hand_u_mm("joint_depth", "depth gauge", 0.0) == 0.3
    assert hand_u_mm("lip", "steel rule", 0.0) == 0.3
    assert hand_u_mm("gap", "2 m straightedge and feeler gauges", 0.0) == 0.3
