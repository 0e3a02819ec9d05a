"""Levels tables in every spelling must give the same heights; the sign is never guessed."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest

import flatscan
from flatscan.errors import InputError, SettingsError
from flatscan.settings import ReadSettings, Settings
from flatscan.sources.hand.field_readings import FieldReadings
from flatscan.sources.hand.field_table import is_read_by_hand
from flatscan.sources.hand.read_field import read_field_readings

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


def read_text(tmp_path: Path, text: str, settings: ReadSettings = DEFAULTS, name: str = "levels.csv") -> FieldReadings:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_field_readings(path, settings)


def places(field: FieldReadings) -> np.ndarray:
    """(n, 3) x, y and height, mm."""
    return np.array([(*reading.at, reading.height_mm) for reading in field.levels])


def assert_nodes(field: FieldReadings) -> None:
    """Heights are compared less their first one: a staff only knows differences. Nine digits: 1e-5 mm of 2000 mm."""
    points = places(field)
    points[:, 2] -= points[0, 2]
    assert np.abs(points - np.array(NODES)).max() < 1e-4
    assert field.gravity


@pytest.mark.parametrize("kind", ["staff", "height"])
@pytest.mark.parametrize(("sep", "comma"), [(",", False), (";", False), (";", True), ("\t", True), ("|", False)])
@pytest.mark.parametrize(("xy", "level"), [("m", "mm"), ("mm", "m"), ("ft", "in"), ("cm", "cm")])
def test_same_floor_in_every_spelling(tmp_path: Path, kind: str, sep: str, comma: bool, xy: str, level: str) -> None:
    assert_nodes(read_text(tmp_path, table(kind, xy, level, sep, comma)))


def test_staff_turns_the_sign_and_height_does_not(tmp_path: Path) -> None:
    rows = "0,0,100\n1,0,103\n0,1,100\n1,1,103\n"
    falls = places(read_text(tmp_path, "x [m],y [m],staff [mm]\n" + rows))
    rises = places(read_text(tmp_path, "x [m],y [m],height [mm]\n" + rows))
    assert falls[1, 2] - falls[0, 2] == pytest.approx(-3.0)
    assert rises[1, 2] - rises[0, 2] == pytest.approx(3.0)


def test_a_bare_reading_needs_its_sign(tmp_path: Path) -> None:
    text = table("staff").replace("staff", "reading")
    with pytest.raises(InputError, match=r"whether it grows.*height.*staff"):
        read_text(tmp_path, text)
    assert_nodes(read_text(tmp_path, "# sign: staff\n" + text))
    flipped = places(read_text(tmp_path, "# sign: height\n" + text))
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
    served = read_text(tmp_path, mixed, ReadSettings(unit="m")).inferences
    assert served == ("Numbers whose unit the table does not state were read in m (--unit)",)
    unheard = read_text(tmp_path, table("staff"), ReadSettings(unit="ft"))
    assert_nodes(unheard)
    assert unheard.inferences == ("--unit ft not used: the table states the unit of every column",)


def test_stated_uncertainty_and_resolution(tmp_path: Path) -> None:
    stated = read_text(tmp_path, "# reading sigma_mm: 0.3\n" + table("height"))
    assert {reading.u_mm for reading in stated.levels} == {0.3}
    # The step is within the stated uncertainty; how the instrument tilts and drifts is not.
    assert [c.text.partition(" (")[0] for c in stated.caveats] == [
        "The table does not say all of its level; assumed: tilt 0.1 mm/m, drift 0.5 mm"
    ]
    assumed = read_text(tmp_path, "# instrument resolution_mm: 1\n" + table("height"))
    # Reading by eye 0.5 mm, a 1 mm step spread evenly: hypot(0.5, 1 / sqrt(12)) = 0.577 mm.
    assert assumed.levels[0].u_mm == pytest.approx(math.sqrt(0.25 + 1.0 / 12.0))
    assert assumed.level is not None
    assert assumed.level.step_mm == 1.0
    assert [c.name for c in assumed.caveats] == ["instrument_assumed"]


def test_gravity_can_be_denied(tmp_path: Path) -> None:
    assert not read_text(tmp_path, "# gravity: no\n" + table("height")).gravity
    assert not read_text(tmp_path, table("height"), ReadSettings(gravity=False)).gravity
    assert read_text(tmp_path, "# gravity: no\n" + table("height"), ReadSettings(gravity=True)).gravity
    with pytest.raises(SettingsError, match="--up: readings by hand have z up, not y"):
        flatscan.check(tmp_path / "levels.csv", settings=Settings(read=ReadSettings(up="y")))


def test_map_coordinates_keep_their_millimetres(tmp_path: Path) -> None:
    rows = [f"{500_000 + x / 1000:.4f},{5_800_000 + y / 1000:.4f},{h}" for x, y, h in NODES]
    field = read_text(tmp_path, "east [m],north [m],height [mm]\n" + "\n".join(rows))
    # Four decimals of a metre: 0.05 mm; 5.8e9 mm in float64 are good to 1e-6.
    assert np.abs(places(field) - np.array(NODES)).max() < 1e-3
    assert field.inferences == ("Places are map coordinates; here they are counted from x 500000 m, y 5800000 m",)
    # Millimetres taken for metres are no map: one place is far, the others are not.
    with pytest.raises(InputError, match="is no place in a room"):
        read_text(tmp_path, "x [m],y [m],height [mm]\n0,0,1\n1,0,1\n2000,600,2\n")


def test_workbook_equals_text(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["# reading sigma_mm:", 0.4])
    sheet.append(["point", "x [m]", "y [m]", "staff [mm]"])
    for i, (x, y, h) in enumerate(NODES):
        # A sheet's sum that should be 0 is 5.55e-17.
        sheet.append([f"P{i}", x / 1000 or 0.1 + 0.2 - 0.3, y / 1000, 1500.0 - h])
    book.create_sheet("empty")
    book.save(tmp_path / "levels.xlsx")
    field = read_field_readings(tmp_path / "levels.xlsx", DEFAULTS)
    assert_nodes(field)
    assert {reading.u_mm for reading in field.levels} == {0.4}
    assert "Columns not used: point" in field.inferences
    assert is_read_by_hand(tmp_path / "levels.xlsx")


def test_repeated_equal_rows_count_once_and_unread_ones_not(tmp_path: Path) -> None:
    text = table("height")
    field = read_text(tmp_path, text + text.splitlines()[2] + "\n9,9,\n9,8,-\n\n# end: of the floor\n")
    assert_nodes(field)
    assert field.inferences == (
        "2 of 8 rows hold no reading and were left out",
        "1 rows repeat another one exactly and count once",
    )


def test_a_place_read_again_in_a_set_up_or_by_the_clock_closes_the_round(tmp_path: Path) -> None:
    for column, cells in (("set_up", ("A", "A", "A")), ("time", ("9:00", "9:05", "9:10"))):
        rows = [
            f"{at},{z},{cell}" for at, z, cell in zip(("1,1", "2,1", "1,1"), (1500, 1502, 1501), cells, strict=True)
        ]
        field = read_text(tmp_path, f"x_m,y_m,staff_mm,{column}\n" + "\n".join(rows) + "\n")
        assert [reading.height_mm for reading in field.levels] == [-1500.0, -1502.0, -1501.0]


def test_old_spreadsheet_encodings(tmp_path: Path) -> None:
    text = "# Büro\n" + table("height", sep=";", comma=True)
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        (tmp_path / "levels.csv").write_bytes(text.encode(encoding))
        assert_nodes(read_field_readings(tmp_path / "levels.csv", DEFAULTS))


def test_a_cloud_is_not_taken_for_levels(tmp_path: Path) -> None:
    for text, expected in (
        ("x,y,z\n0,0,0\n", False),
        ("0 0 0\n1 0 0\n", False),
        ("# sign: staff\nx [m];y [m];reading [mm]\n", True),
        ("x,y,staff\n", True),
    ):
        (tmp_path / "a.csv").write_text(text)
        assert is_read_by_hand(tmp_path / "a.csv") == expected
    assert not is_read_by_hand(tmp_path)
