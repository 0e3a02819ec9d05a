"""Lengths, axes and shares typed on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatscan.cli import options
from flatscan.cli.demo import Kind
from flatscan.errors import OutputError, SettingsError
from flatscan.synth.demo import KINDS


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [("2000", 2000.0), ("2 m", 2000.0), ("0.2m", 200.0), ("10 ft", 3048.0), ("12 IN", 304.8), ("3.5 cm", 35.0)],
)
def test_lengths_are_read_with_their_unit(text: str, expected_mm: float) -> None:
    assert options.length_mm(text, "--edge") == pytest.approx(expected_mm, rel=1e-15)


@pytest.mark.parametrize("text", ["", "two metres", "-5", "0", "1e9", "2 furlongs", "nan", "m"])
def test_what_is_no_length_is_refused_by_the_options_name(text: str) -> None:
    with pytest.raises(SettingsError, match="--edge"):
        options.length_mm(text, "--edge")


def test_nothing_is_a_length_only_where_it_means_none_of_it() -> None:
    assert options.length_mm("0", "--margin", or_none=True) == 0.0
    assert options.length_mm("0 mm", "--skirting", or_none=True) == 0.0
    with pytest.raises(SettingsError, match="--margin"):
        options.length_mm("-1", "--margin", or_none=True)


def test_the_demo_offers_every_kind_that_can_be_written() -> None:
    assert tuple(kind.value for kind in Kind) == KINDS


@given(st.floats(0.001, 9.9e5))
def test_a_bare_number_is_millimetres(value: float) -> None:
    assert options.length_mm(repr(value), "--cell") == value


@pytest.mark.parametrize("bad", [0.0, 0.5, 1.0, 1.5, float("nan")])
def test_a_confidence_that_would_call_both_is_refused(bad: float) -> None:
    with pytest.raises(SettingsError, match="--confidence"):
        options.share(bad, "--confidence")


def test_axes() -> None:
    assert options.up_axis("+Z") == "z"
    assert options.up_axis("-Y") == "-y"
    assert options.up_axis(None) is None
    with pytest.raises(SettingsError, match="--up"):
        options.up_axis("north")


@pytest.mark.parametrize(
    ("text", "expected_mm"),
    [
        ("300x600", (600.0, 300.0)),
        ("30×60 cm", (600.0, 300.0)),
        ("12x12 in", (304.8, 304.8)),
        ("1 ft x 6 in", (304.8, 152.4)),
        ("1200 x 150", (1200.0, 150.0)),
    ],
)
def test_tile_sizes_are_read_longer_side_first(text: str, expected_mm: tuple[float, float]) -> None:
    assert options.tile_mm(text, "--tile") == pytest.approx(expected_mm, rel=1e-12)


@pytest.mark.parametrize("text", ["300", "x", "300x", "axb", "300x300x300", "1x1", "9 m x 9 m"])
def test_what_is_no_tile_size_is_refused_by_the_options_name(text: str) -> None:
    with pytest.raises(SettingsError, match="--tile"):
        options.tile_mm(text, "--tile")


def test_a_folder_in_place_of_a_file_is_told_from_nothing_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"--readings .*: this is a folder. Name the file in it"):
        options.file_given(tmp_path, "--readings")
    with pytest.raises(SettingsError, match=r"--readings .*: there is no such file"):
        options.file_given(tmp_path / "none.csv", "--readings")


def test_an_input_never_lies_in_the_folder_that_is_replaced(tmp_path: Path) -> None:
    out, beside = tmp_path / "kitchen", tmp_path / "kitchen2" / "levels.csv"
    (out / "inner").mkdir(parents=True)
    options.outside_of(out, [beside, tmp_path, tmp_path / "kitchen.csv"])
    for inside in (
        out,
        out / "levels.csv",
        out / "inner" / "a.csv",
        tmp_path / "kitchen2" / ".." / "kitchen" / "a.csv",
    ):
        with pytest.raises(OutputError, match=r"it would be replaced, and .* is read from it. Choose another folder"):
            options.outside_of(out, [beside, inside])
