"""marking_out.csv and joint_work.csv: every corner, joint and lip, safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.marking.walls import place_mm
from flatscan.report.marking import MarkingData, joint_work_csv, marking_csv, marking_data
from flatscan.report.marking.data import letter
from flatscan.surface.surface import Surface

from .conftest import joint_work, plan_of


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_every_corner_is_found_again_from_its_two_walls(data: MarkingData) -> None:
    """To what rounding to 0.1 mm leaves: half of it from each of three figures, over the sine of the walls' angle."""
    rows = read(marking_csv(data))
    assert len(rows) == sum(len(marked.corners) for marked in data.areas)
    walls = {f"W{wall.number}": wall for wall in data.walls}
    for row in rows:
        pair = (walls[row["wall_1"]], walls[row["wall_2"]])
        distances = np.array([[float(row["from_wall_1_mm"]), float(row["from_wall_2_mm"])]])
        np.testing.assert_allclose(place_mm(distances, pair)[0], [float(row["x_mm"]), float(row["y_mm"])], atol=0.15)


def test_rings_and_letters(data: MarkingData) -> None:
    marked = data.areas[0]
    hole = marked.rings[0][[0, 2, 1, 0]] * 0.5
    assert marked.marked is not None
    two = replace(
        marked,
        rings=(*marked.rings, hole),
        marked=replace(marked.marked, from_mm=(*marked.marked.from_mm, np.ones((3, 2)))),
    )
    rows = read(marking_csv(replace(data, areas=(two,))))
    count = len(marked.rings[0]) - 1
    assert [row["ring"] for row in rows] == ["1"] * count + ["2"] * 3
    assert [row["corner"] for row in rows] == [letter(k) for k in range(count + 3)]


def test_where_no_two_walls_are_known_corners_are_given_from_corner_0(surface: Surface) -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 120, endpoint=False)
    # A round room: its edge has no straight stretch of 0.4 m.
    around = np.column_stack([900.0 + 880.0 * np.cos(angle), 900.0 + 880.0 * np.sin(angle)])
    bare = plan_of(surface, None)
    plan = replace(bare, areas=tuple(replace(area, marked=None) for area in bare.areas))
    rows = read(marking_csv(marking_data(plan, replace(surface, outline=(around,)))))
    assert rows
    assert all(row["wall_1"] == row["from_wall_1_mm"] == "" for row in rows)
    assert all(row["x_mm"] and row["y_mm"] for row in rows)


def test_every_joint_and_lip_is_listed(data: MarkingData) -> None:
    rows = read(joint_work_csv(data))
    assert data.joint_work is not None
    kinds = [row["what"] for row in rows]
    assert kinds == ["joint_to_fill"] * len(data.joint_work.fills) + ["lip_to_take_down"] * len(data.joint_work.lips)
    fill, row = data.joint_work.fills[1], rows[1]
    assert (float(row["length_mm"]), float(row["width_mm"]), float(row["u_width_mm"])) == (fill.length_mm, 6.1, 0.4)
    lip, last = data.joint_work.lips[0], rows[len(data.joint_work.fills)]
    assert (last["number"], last["lip_mm"], last["u_lip_mm"], last["limit_mm"]) == ("L1", "2.6", "0.3", "1.0")
    assert last["high_side"] == ("left" if lip.high_at[0] < lip.at[0] else "right")
    walls = {f"W{wall.number}": wall for wall in data.walls}
    distances = np.array([[float(last["from_wall_1_mm"]), float(last["from_wall_2_mm"])]])
    found = place_mm(distances, (walls[last["wall_1"]], walls[last["wall_2"]]))[0]
    assert tuple(found) == pytest.approx(lip.at, abs=0.15)
    every = read(joint_work_csv(replace(data, joint_work=joint_work(150, 80))))
    assert len(every) == 230


def test_a_spreadsheet_runs_nothing(data: MarkingData) -> None:
    """OWASP, CSV injection: no cell begins with a sign that starts a formula."""
    rows = read(joint_work_csv(data))
    assert rows[0]["joint"].startswith("'=1+1")
    for text in (marking_csv(data), joint_work_csv(data)):
        for row in read(text):
            assert not any(value.startswith(("=", "+", "@", "\t")) for value in row.values())
