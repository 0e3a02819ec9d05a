"""Published examples of readings by hand, from the file that a person would type to the figure."""

from __future__ import annotations

from pathlib import Path

import pytest

from flatscan.measures.placements import placement_figures
from flatscan.sources.hand.lengths import parse_length
from flatscan.sources.hand.read_field import read_field_readings


def typed(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "readings.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("cell", "mm"),
    [("3/16 in", 4.7625), ('1/8"', 3.175), ("1/32 in", 0.79375), ("1/16 in", 1.5875), ("1 1/4 in", 31.75)],
)
def test_fractions_of_an_inch_are_exact(cell: str, mm: float) -> None:
    """The international inch is 25.4 mm (agreement of 1959): not one bit of rounding."""
    assert parse_length(cell, None).mm == mm


def test_three_offsets_from_a_line_as_typed_in(tmp_path: Path) -> None:
    """German three-point example (din18202.de, read on a stored page): 250, 262, 230 mm below a string, so 22 mm.

    The page subtracts a parallel line at 200 mm: 50, 62, 30. Both give the same: only straightness counts.
    """
    path = typed(
        tmp_path,
        "# unit: mm",
        "# place unit: m",
        "# straightedge length: 2 m",
        "number,what,x,y,to_x,to_y,rule,0 m,1 m,2 m",
        "1,straightedge,0.5,0.5,2.5,0.5,line,250,262,230",
        "2,straightedge,0.5,0.5,2.5,0.5,line,50,62,30",
    )
    string, parallel = placement_figures(read_field_readings(path), None)
    for figure in (string, parallel):
        assert figure.gap.value == pytest.approx(22.0, abs=1e-9)
        assert figure.at == pytest.approx((1500.0, 500.0))
        assert figure.span_mm == pytest.approx(2000.0)
        assert figure.contacts == (pytest.approx((500.0, 500.0)), pytest.approx((2500.0, 500.0)))


def test_a_resting_bar_over_a_dish_of_100_m_radius(tmp_path: Path) -> None:
    """Sagitta of the parabola: L²/8R = 5.000 mm for L = 2 m, R = 100 m; of the circle 5.000125."""
    path = typed(
        tmp_path,
        "# unit: mm",
        "# straightedge length: 2 m",
        "number,what,x_m,y_m,to_x_m,to_y_m,rule,0 m,0.5 m,1 m,1.5 m,2 m",
        "1,straightedge,0.5,0.5,0.5,2.5,resting,c,3.75,5.000125,3.75,c",
    )
    (figure,) = placement_figures(read_field_readings(path), None)
    assert figure.gap.value == pytest.approx(5.000125, abs=1e-9)
    assert figure.at == pytest.approx((500.0, 1500.0))


def test_a_bar_on_equal_feet_shows_dips_and_humps_about_the_foot(tmp_path: Path) -> None:
    """NF DTU 21 section 9.2 (read on a stored page): on shims as thick as the tolerance, ± is read about them.

    Shims of 5 mm: 8 mm beneath the middle is a dip of 3, 1 mm is a hump of 4, seen from the line of the feet.
    """
    path = typed(
        tmp_path,
        "# unit: mm",
        "# straightedge length: 2 m",
        "# feet height: 5 mm",
        "number,what,x_m,y_m,to_x_m,to_y_m,rule,0.5 m,1 m,1.5 m",
        "1,straightedge,0.5,0.5,0.5,2.5,feet,6,8,6",
        "2,straightedge,0.5,0.5,0.5,2.5,feet,2,1,2",
    )
    dip, hump = placement_figures(read_field_readings(path), None)
    assert dip.gap.value == pytest.approx(3.0, abs=1e-9)
    assert hump.hump is not None
    assert hump.hump.value == pytest.approx(4.0, abs=1e-9)
    # 0, 3, 4, 3, 0 above the line of the feet: no chord between two of them stands above a third.
    assert hump.gap.value == pytest.approx(0.0, abs=1e-9)
