"""Levels tables in every spelling must give the same heights; the sign is never guessed."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from flatscan.errors import InputError, SettingsError
from flatscan.settings import ReadSettings
from flatscan.sources.levels.levels_table import is_levels, read_levels
from flatscan.sources.scan import Scan

DEFAULTS = ReadSettings()
#: x, y in mm, height in mm; an L of five nodes, different steps along x and y.
NODES = [(0.0, 0.0, 0.0), (1000.0, 0.0, -3.5), (2000.0, 0.0, 2.25), (0.0, 600.0, 1.0), (1000.0, 600.0, -0.5)]


def table(kind: str, xy: str = "m", level: str = "mm", sep: str = ",", comma: bool = False, top: str = "") -> str:
    per = {"mm": 1.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "cm": 10.0}
    lines = [top + sep.join((f"x [{xy}]", f"y [{xy}]", f"{kind} [{level}]"))]
    for x, y, height in NODES:
        value = (1500.0 - height if kind == "staff" else height) / per[level]
        cells = [f"{x / per[xy]:.9g}", f"{y / per[xy]:.9g}", f"{value:.9g}"]
        lines.append(sep.join(c.replace(".", ",") if comma else c for c in cells))
    return "\n".join(lines) + "\n"


def read_text(tmp_path: Path, text: str, settings: ReadSettings = DEFAULTS, name: str = "levels.csv") -> Scan:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_levels(path, settings)


def absolute(scan: Scan) -> np.ndarray:
    return scan.points_mm.astype(float) + scan.origin_mm


def assert_nodes(scan: Scan, tolerance_mm: float = 1e-3) -> None:
    """Heights are compared less their first one: a staff only knows differences.

    Nine digits of up to 2000 mm are good to 1e-5 mm, float32 at 2000 mm to 1.2e-4.
    """
    points = absolute(scan)
    points[:, 2] -= points[0, 2]
    assert np.abs(points - np.array(NODES)).max() < tolerance_mm
    assert scan.up is not None
    assert scan.up.tolist() == [0, 0, 1]
    assert scan.gravity_known


@pytest.mark.parametrize("kind", ["staff", "height"])
@pytest.mark.parametrize(("sep", "comma"), [(",", False), (";", False), (";", True), ("\t", True), ("|", False)])
@pytest.mark.parametrize(("xy", "level"), [("m", "mm"), ("mm", "m"), ("ft", "in"), ("cm", "cm")])
def test_same_floor_in_every_spelling(tmp_path: Path, kind: str, sep: str, comma: bool, xy: str, level: str) -> None:
    assert_nodes(read_text(tmp_path, table(kind, xy, level, sep, comma)))


def test_staff_turns_the_sign_and_height_does_not(tmp_path: Path) -> None:
    rows = "0,0,100\n1,0,103\n0,1,100\n1,1,103\n"
    falls = absolute(read_text(tmp_path, "x [m],y [m],staff [mm]\n" + rows))
    rises = absolute(read_text(tmp_path, "x [m],y [m],height [mm]\n" + rows))
    assert falls[1, 2] - falls[0, 2] == pytest.approx(-3.0)
    assert rises[1, 2] - rises[0, 2] == pytest.approx(3.0)


def test_a_bare_reading_needs_its_sign(tmp_path: Path) -> None:
    text = table("staff").replace("staff", "reading")
    with pytest.raises(InputError, match=r"whether it grows.*height.*staff"):
        read_text(tmp_path, text)
    assert_nodes(read_text(tmp_path, "# sign: staff\n" + text))
    flipped = absolute(read_text(tmp_path, "# sign: height\n" + text))
    assert flipped[1, 2] - flipped[0, 2] == pytest.approx(3.5)


@pytest.mark.parametrize(
    "header",
    ["x_m,y_m,staff_mm", "X (m),Y (m),Staff Reading (mm)", "east [m],north [m],rod [mm]", "x m,y m,staff mm"],
)
def test_header_words(tmp_path: Path, header: str) -> None:
    body = table("staff").split("\n", 1)[1]
    assert_nodes(read_text(tmp_path, f"{header}\n{body}"))


def test_unit_row_line_and_option(tmp_path: Path) -> None:
    body = table("staff").split("\n", 1)[1]
    assert_nodes(read_text(tmp_path, f"x,y,staff\n[m],[m],[mm]\n{body}"))
    body_mm = table("staff", "mm", "mm").split("\n", 1)[1]
    assert_nodes(read_text(tmp_path, f"# unit: mm\nx,y,staff\n{body_mm}"))
    assert_nodes(read_text(tmp_path, f"x,y,staff\n{body_mm}", ReadSettings(unit="mm")))
    # The option serves only what the header leaves open.
    mixed = table("staff", "m", "mm").replace("x [m],y [m]", "x,y")
    assert_nodes(read_text(tmp_path, mixed, ReadSettings(unit="m")))
    # Where it is open about nothing, that the option did nothing is said.
    assert not any("--unit" in line for line in read_text(tmp_path, mixed, ReadSettings(unit="m")).inferences)
    unheard = read_text(tmp_path, table("staff"), ReadSettings(unit="ft"))
    assert_nodes(unheard)
    assert any("--unit ft not used" in line for line in unheard.inferences)


def test_stated_uncertainty_and_resolution(tmp_path: Path) -> None:
    stated = read_text(tmp_path, "# reading sigma_mm: 0.3\n" + table("height"))
    assert stated.sample_sigma_mm == 0.3
    assert stated.caveats == ()
    assumed = read_text(tmp_path, "# instrument resolution_mm: 1\n" + table("height"))
    # Reading by eye 0.5 mm, a 1 mm step spread evenly: hypot(0.5, 1 / sqrt(12)) = 0.577 mm.
    assert assumed.sample_sigma_mm == pytest.approx(math.sqrt(0.25 + 1.0 / 12.0))
    assert assumed.step_mm == 1.0
    assert [c.name for c in assumed.caveats] == ["reading_sigma_assumed"]
    # Written to 0.01 mm (2.25): that is the step where none is stated.
    assert read_text(tmp_path, table("height")).step_mm == pytest.approx(0.01)


def test_gravity_can_be_denied(tmp_path: Path) -> None:
    assert not read_text(tmp_path, "# gravity: no\n" + table("height")).gravity_known
    assert not read_text(tmp_path, table("height"), ReadSettings(gravity=False)).gravity_known
    assert read_text(tmp_path, "# gravity: no\n" + table("height"), ReadSettings(gravity=True)).gravity_known
    with pytest.raises(SettingsError):
        read_text(tmp_path, table("height"), ReadSettings(up="y"))


def test_map_coordinates_keep_their_millimetres(tmp_path: Path) -> None:
    rows = [f"{500_000 + x / 1000:.4f},{5_800_000 + y / 1000:.4f},{h}" for x, y, h in NODES]
    points = absolute(read_text(tmp_path, "east [m],north [m],height [mm]\n" + "\n".join(rows)))
    assert np.abs(points - points[0] - (np.array(NODES) - NODES[0])).max() < 1e-3


def test_workbook_equals_text(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["# reading sigma_mm:", 0.4])
    sheet.append(["point", "x [m]", "y [m]", "staff [mm]"])
    for i, (x, y, h) in enumerate(NODES):
        sheet.append([f"P{i}", x / 1000, y / 1000, 1500.0 - h])
    book.create_sheet("empty")
    book.save(tmp_path / "levels.xlsx")
    scan = read_levels(tmp_path / "levels.xlsx", DEFAULTS)
    assert_nodes(scan)
    assert scan.sample_sigma_mm == 0.4
    assert "Columns not used: point" in scan.inferences
    assert is_levels(tmp_path / "levels.xlsx")


def test_repeated_equal_rows_count_once_and_unread_ones_not(tmp_path: Path) -> None:
    text = table("height")
    scan = read_text(tmp_path, text + text.splitlines()[2] + "\n9,9,\n9,8,-\n\n# end: of the floor\n")
    assert_nodes(scan)
    assert "2 rows without a reading were left out" in scan.inferences
    assert "1 rows repeat another one exactly and count once" in scan.inferences


def test_old_spreadsheet_encodings(tmp_path: Path) -> None:
    text = "# Büro\n" + table("height", sep=";", comma=True)
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        (tmp_path / "levels.csv").write_bytes(text.encode(encoding))
        assert_nodes(read_levels(tmp_path / "levels.csv", DEFAULTS))


def test_a_cloud_is_not_taken_for_levels(tmp_path: Path) -> None:
    for text, expected in (
        ("x,y,z\n0,0,0\n", False),
        ("0 0 0\n1 0 0\n", False),
        ("# sign: staff\nx [m];y [m];reading [mm]\n", True),
        ("x,y,staff\n", True),
    ):
        (tmp_path / "a.csv").write_text(text)
        assert is_levels(tmp_path / "a.csv") == expected
    assert not is_levels(tmp_path)
