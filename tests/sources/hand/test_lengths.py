"""A length as people write it: exact in every notation, refused where it could mean two things."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.sources.hand.lengths import LengthError, UnitMissingError, parse_length

INCH, FOOT = Fraction(254, 10), Fraction(3048, 10)  # international inch, 1959: exact by definition
GLYPHS = {"½": (1, 2), "¼": (1, 4), "¾": (3, 4), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8), "⅓": (1, 3)}


@pytest.mark.parametrize(
    ("text", "mm"), [("3/16 in", 4.7625), ("1/8 in", 3.175), ("1/32 in", 0.79375), ("1/16 in", 1.5875)]
)
def test_fractions_of_an_inch_are_exact(text: str, mm: float) -> None:
    """3/16 in = 4.7625 mm and its fellows follow from 1 in = 25.4 mm, exactly."""
    assert parse_length(text, None).mm == mm


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("3.5", "mm", 3.5),
        ("3,5", "mm", 3.5),
        (",5", "m", 500.0),
        ("3,5 mm", "in", 3.5),
        ("0,125", "mm", 0.125),
        ("1,250", "m", 1250.0),
        ("250mm", None, 250.0),
        ("12 cm.", None, 120.0),
        ("5/32", "in", 3.96875),
        ("1 1/4 in", "mm", 31.75),
        ('1-1/4"', None, 31.75),
        ("1½″", None, 38.1),
        ("3⁄16 in", None, 4.7625),
        ("3 / 16 in", None, 4.7625),
        ("1 inch", None, 25.4),
        ("5'", "m", 1524.0),
        ("5 ft 3 in", "m", 1600.2),
        ("5 ft. 3 in.", "m", 1600.2),
        ("5' 3 1/2\"", "m", 1612.9),
        ("5'-3½\"", "m", 1612.9),
        ("5’ 3 ½”", "m", 1612.9),
        ("5' 3''", "m", 1600.2),
        ("5'3", "m", 1600.2),
        ("-5' 3\"", None, -1600.2),
        ("\u2212 2.5", "mm", -2.5),
        ("+2.5", "mm", 2.5),
        ("1/2 mm", None, 0.5),
    ],
)
def test_ways_to_write_a_length(text: str, unit: str | None, mm: float) -> None:
    assert parse_length(text, unit).mm == mm


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("3", None, "nothing states the unit of '3'"),
        ("5/32", "mm", "'5/32' is a fraction where mm is the unit"),
        ("1,250", "mm", "'1,250' may mean 1.250 or 1250 mm"),
        ("1-2", "mm", "'1-2' holds two numbers"),
        ("1 2", "mm", "'1 2' holds two numbers"),
        ("1.2 / 1.4", "mm", "'1.2 / 1.4' holds two numbers"),
        ("1.234,5", "mm", "'1.234,5' is not a number"),
        ("3/0", "in", "'3/0' is not a number"),
        ("1 5/4", "in", "'1 5/4' is not a number"),
        ("3 kg", "mm", "'3 kg' is not in a unit of length"),
        ("5' 3 mm", None, "'5' 3 mm' holds two numbers"),
        ("", "mm", "'' is not a number"),
        ("c", "mm", "'c' is not a number"),
        ("inf", "mm", "'inf' is not a number"),
        ("1e3", "mm", "'1e3' holds two numbers"),
        ("--3", "mm", "'--3' is not a number"),
    ],
)
def test_what_could_mean_two_things_is_refused(text: str, unit: str | None, says: str) -> None:
    with pytest.raises(LengthError) as caught:
        parse_length(text, unit)
    assert caught.value.what.replace('"', "'") == says
    assert isinstance(caught.value, UnitMissingError) == (unit is None and text == "3")


@pytest.mark.parametrize(("text", "step"), [("2", 1.0), ("2.50", 0.01), ("3/16 in", 1.5875), ("1' 2 1/4\"", 6.35)])
def test_the_step_a_number_was_written_in(text: str, step: float) -> None:
    assert parse_length(text, "mm").step_mm == step


whole = st.integers(0, 40)
denominators = st.sampled_from([2, 4, 8, 16, 32, 64])


@given(feet=st.integers(0, 99), inches=st.integers(0, 11), over=st.integers(1, 63), under=denominators, form=whole)
def test_feet_inches_and_fractions_come_back_exactly(feet: int, inches: int, over: int, under: int, form: int) -> None:
    part = Fraction(over % under, under)
    fraction = f" {part.numerator}/{part.denominator}" if part else ""
    forms = [f"{feet}' {inches}{fraction}\"", f"{feet} ft {inches}{fraction} in", f"{feet}'-{inches}{fraction} in"]
    assert parse_length(forms[form % 3], None).mm == float(feet * FOOT + (inches + part) * INCH)


@given(inches=whole, glyph=st.sampled_from(sorted(GLYPHS)), space=st.sampled_from(["", " "]))
def test_glyphs_of_fractions_come_back_exactly(inches: int, glyph: str, space: str) -> None:
    text = f"{inches}{space}{glyph} in" if inches else f"{glyph} in"
    assert parse_length(text, None).mm == float((inches + Fraction(*GLYPHS[glyph])) * INCH)


@given(thousandths=st.integers(-9_999_999, 9_999_999), comma=st.booleans(), unit=st.sampled_from(["m", "cm", "in"]))
def test_decimals_come_back_exactly(thousandths: int, comma: bool, unit: str) -> None:
    """The float nearest to the decimal times the unit: Python's own correctly rounded division says which."""
    sign, (whole_part, rest) = "-" if thousandths < 0 else "", divmod(abs(thousandths), 1000)
    text = f"{sign}{whole_part}{',' if comma else '.'}{rest:03d}"
    per = {"m": Fraction(1000), "cm": Fraction(10), "in": INCH}[unit]
    assert parse_length(text, unit).mm == float(Fraction(thousandths, 1000) * per)
