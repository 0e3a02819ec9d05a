"""``flatscan sheet`` from the command line."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from flatscan.cli.main import run


def command(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["flatscan", "sheet", *words])
    with pytest.raises(SystemExit) as ended:
        run()
    return int(ended.value.code or 0)


def test_a_sheet_is_made_told_and_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "sheet"
    asked = ("--room", "3.0 x 2.4 m", "--stations", "5", "--out", str(out))
    assert command(monkeypatch, *asked) == 0
    told = capsys.readouterr()
    assert sorted(path.name for path in out.iterdir()) == ["field_sheet.pdf", "readings.csv", "readings.xlsx"]
    assert (out / "field_sheet.pdf").read_bytes().startswith(b"%PDF")
    # 2 rows of 2 lays along x, 3 rows along y of one lay each (2.3 m are little more than the bar), 6 places or more.
    assert "Field sheet for a room of 3.00 m × 2.40 m: " in told.out
    assert "u = 0." in told.out
    assert "placements more" in told.out
    assert "Reckoning" in told.err
    assert command(monkeypatch, *asked) == 2
    assert "pass --force to replace it" in capsys.readouterr().err
    assert command(monkeypatch, *asked, "--force") == 0
    table = out / "readings.csv"
    typed = table.read_text().replace("S1,staff,0.10,0.10,,,,1,,,,,", "S1,staff,0.10,0.10,,,,1,,,,1250,")
    table.write_text(typed)
    assert command(monkeypatch, *asked, "--force") == 2
    assert "'readings.csv' in the folder holds readings that were typed in" in capsys.readouterr().err
    assert table.read_text() == typed


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--room", "1.5 x 1.5 m"), "Take a shorter one"),
        (("--outline", "0,0 5,0 0,4 5,4"), "crosses itself"),
        (("--room", "5 x 4", "--paper", "a3"), "Use one of a4, letter"),
        (("--room", "5 x 4", "--spacing", "4.5"), "more than the room's shorter side"),
        (("--room", "5 x 4", "--edge", "two"), "--edge: 'two' is not a number"),
    ],
)
def test_what_cannot_be_used_is_one_sentence_and_exit_2(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    sentence: str,
) -> None:
    assert command(monkeypatch, *words, "--out", str(tmp_path / "sheet")) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert sentence in said.err
    assert list(tmp_path.iterdir()) == []
