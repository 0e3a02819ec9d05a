"""F-numbers against a published record: E1155M test pad of a national accelerator laboratory's survey group.

Source: test record of 5 May 2003, elevations and curvature table read on stored public pages (TABLES: W3).
The curvature table is printed to 0.001 mm. The record's own final FF/FL were not readable; those below were
computed once with the formula from memory (4.57 in, 12.5 in, 304.8 mm step) and pin it against slips.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from flatscan.measures.chords import gap_field
from flatscan.measures.f_formula import (
    FF_CONSTANT_MM,
    FL_CONSTANT_MM,
    combine,
    f_number,
    ff_constant_mm,
    fl_constant_mm,
    profile_q_z,
)
from flatscan.measures.f_numbers import bootstrap, f_numbers
from flatscan.measures.level_runs import level_run_f_numbers
from flatscan.sources.hand.read_field import read_field_readings
from flatscan.units import MM_PER

ELEVATIONS = {
    0: "418.617 419.938 421.894 423.748 425.221 424.739 423.799 424.307 "
    "425.425 424.688 423.164 422.758 420.472 416.738",
    1: "418.592 421.081 422.072 421.513 420.040 421.132 420.675 421.640 421.894 421.538 421.183 421.894 419.684 420.040"
    " 417.982",
    2: "418.338 419.659 419.227 419.227 418.668 418.186 418.973 419.379 "
    "420.141 419.532 418.643 418.719 416.763 414.782",
    3: "418.617 418.973 419.100 420.878 419.989 419.227 419.684 420.751 "
    "420.065 421.259 421.386 418.846 419.887 418.363",
    4: "418.846 418.135 418.998 419.405 420.294 420.370 421.640 421.259 422.910 423.926 424.053 423.164 422.732 422.834"
    " 421.513",
}
CURVATURES = {
    0: "0.635 -0.102 -0.381 -1.956 -0.457 1.448 0.610 -1.854 -0.787 1.118 -1.880 -1.448",
    1: "-1.499 -1.549 -0.914 2.565 -1.549 1.422 -0.711 -0.610 0.000 1.067 -2.921 2.565 -2.413",
    2: "-1.753 0.432 -0.559 0.076 1.270 -0.381 0.356 -1.372 -0.279 0.965 -2.032 -0.025",
    3: "-0.229 1.651 -2.667 0.127 1.219 0.610 -1.753 1.880 -1.067 -2.667 3.581 -2.565",
    4: "1.575 -0.457 0.483 -0.813 1.194 -1.651 2.032 -0.635 -0.889 -1.016 0.457 0.533 -1.422",
    5: "0.635 -0.711 0.584 -0.737 -0.279 0.686 -1.829 1.016 0.610 -2.743 0.610",
}


def numbers(text: str) -> np.ndarray:
    return np.array([float(t) for t in text.split()])


@pytest.mark.parametrize("line", ELEVATIONS)
def test_published_curvatures(line: int) -> None:
    q, _ = profile_q_z(numbers(ELEVATIONS[line]))
    # The table is rounded to 0.001 from elevations rounded to 0.001: up to 0.0005 + 4 x 0.0005, seen 0.001.
    np.testing.assert_allclose(q, numbers(CURVATURES[line]), atol=0.00101)


def test_ff_of_the_published_lines() -> None:
    q = [numbers(CURVATURES[k]) for k in range(6)]
    ff = [f_number(x, FF_CONSTANT_MM) for x in q]
    # FF is 116 mm over about 5 mm: 0.001 mm in q moves it by less than 0.01.
    assert ff == pytest.approx([28.841, 20.444, 34.630, 18.502, 32.490, 30.414], abs=0.02)
    assert combine([len(x) for x in q], ff) == pytest.approx(25.217, abs=0.01)


def test_fl_of_the_published_lines() -> None:
    _, fl, _, overall = f_numbers([numbers(ELEVATIONS[k]) for k in range(5)], MM_PER["ft"])
    assert fl == pytest.approx([20.210, 45.980, 39.545, 46.653, 37.224], abs=0.002)
    assert overall == pytest.approx(33.032, abs=0.002)


def test_first_line_in_detail() -> None:
    q, z = profile_q_z(numbers(ELEVATIONS[0]))
    np.testing.assert_allclose(z, [4.547, 2.820, -1.422, -7.010], atol=1e-9)
    assert q.mean() == pytest.approx(-0.42125, abs=5e-5)
    assert q.std(ddof=1) == pytest.approx(1.20119, abs=5e-5)


@pytest.mark.parametrize(
    ("wave_ft", "amplitude_in", "ff", "fl"), [(8, 1 / 16, 58.84, 66.67), (20, 1 / 8, 176.07, 23.57)]
)
def test_long_sine(wave_ft: float, amplitude_in: float, ff: float, fl: float) -> None:
    """Analytic: curvature has amplitude 4 A sin²(pi/L), ten steps differ by 2 A |sin(10 pi/L)|; rms = amplitude/√2."""
    feet = np.arange(200 * wave_ft + 11)
    h = amplitude_in * MM_PER["in"] * np.sin(2 * math.pi * feet / wave_ft)
    q, z = profile_q_z(h)
    # n - 1 against n and a cut last wave: below 1/1000 of it over 200 waves.
    assert f_number(q, FF_CONSTANT_MM) == pytest.approx(ff, rel=2e-3)
    assert f_number(z, FL_CONSTANT_MM) == pytest.approx(fl, rel=2e-3)


def test_ten_foot_wave_has_no_fl() -> None:
    h = np.sin(2 * math.pi * np.arange(200) / 10)
    assert f_number(profile_q_z(h)[1], FL_CONSTANT_MM) > 1e12


def test_constants_for_300_mm() -> None:
    assert ff_constant_mm(300.0) == pytest.approx(112.5, abs=0.05)
    assert fl_constant_mm(300.0) == pytest.approx(312.5, abs=0.05)


def test_combination_of_like_lines_changes_nothing() -> None:
    assert combine([12, 7, 30], [25.0, 25.0, 25.0]) == pytest.approx(25.0, rel=1e-12)
    assert combine([10, 10], [20.0, math.inf]) == pytest.approx(20.0 * math.sqrt(2.0), rel=1e-12)


def test_bootstrap_of_like_lines_has_no_width() -> None:
    assert bootstrap([12, 14], [31.0, 31.0], np.random.default_rng(0)) == pytest.approx((31.0, 31.0))
    assert bootstrap([12], [31.0], np.random.default_rng(0)) is None


@pytest.mark.parametrize(("ff", "gap_in"), [(12, 1 / 2), (20, 5 / 16), (25, 1 / 4), (32, 3 / 16), (50, 1 / 8)])
def test_ff_against_ten_foot_gap_is_approximate(ff: float, gap_in: float) -> None:
    """The published pairing (US Access Board 2011, part II) is called approximate there, and so it is here.

    Which gap goes with an FF depends on the floor's wavelengths. For a sine of amplitude A and wavelength w ft,
    FF · gap = 4.57 in · 2A · √2 / (3 · 4A · sin²(pi/w)); the table's products are 6.0 to 6.25 in, which is a
    wave of 7.2 ft. A 7 ft wave must then show the table's gap within 10 % (5.72 of 6 to 6.25 in, readings
    never more than 1/28 wave from the crest: 2.5 % more).
    """
    feet = np.arange(0.0, 141.0)
    wave = np.sin(2.0 * math.pi * feet / 7.0)
    h = wave * f_number(profile_q_z(wave)[0], FF_CONSTANT_MM) / ff
    assert f_number(profile_q_z(h)[0], FF_CONSTANT_MM) == pytest.approx(ff, rel=1e-9)
    gap = gap_field(
        h[None, :], np.ones((1, len(h)), bool), cell_mm=MM_PER["ft"], edge_mm=10 * MM_PER["ft"], directions=1
    )
    assert float(gap.gap_mm.max()) == pytest.approx(gap_in * MM_PER["in"], rel=0.125)


def test_the_record_typed_in_as_levels_along_named_lines(tmp_path: Path) -> None:
    """Lines 0 to 4 of the record as rows of a readings table, 300 mm apart, each line its own set-up.

    The record's step is 300 mm: curvature goes with its square and the rise over ten steps with itself, so the
    constants for a foot, 116.1 and 317.5 mm, become 112.5 and 312.5.
    """
    finely = ["# level resolution: 0.05 mm", "# level repeatability: 0.05 mm"]  # else noise drowns the curvature
    rows = ["# unit: mm", *finely, "number,what,x_m,y_m,set_up,line,value_mm"]
    for line, text in ELEVATIONS.items():
        rows += [
            f"{100 * line + k},height,{0.6 + 0.3 * k:.1f},{0.6 + 0.6 * line:.1f},{line},{line},{h}"
            for k, h in enumerate(text.split())
        ]
    path = tmp_path / "levels.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = level_run_f_numbers(read_field_readings(path), rng=np.random.default_rng(0))
    assert found is not None
    assert found.ff is not None
    assert found.fl is not None
    assert len(found.lines) == 5
    foot = [numbers(ELEVATIONS[k]) for k in range(5)]
    ff = [f_number(profile_q_z(h)[0], ff_constant_mm(300.0)) for h in foot]
    fl = [f_number(profile_q_z(h)[1], fl_constant_mm(300.0)) for h in foot]
    assert found.ff.value == pytest.approx(combine([len(h) - 2 for h in foot], ff), rel=1e-9)
    assert found.fl.value == pytest.approx(combine([len(h) - 10 for h in foot], fl), rel=1e-9)
    # Published figures for a foot, from the module's other tests: FL 33.032 over lines 0 to 4.
    assert found.fl.value == pytest.approx(33.032 * 312.5 / 317.5, rel=1e-4)
