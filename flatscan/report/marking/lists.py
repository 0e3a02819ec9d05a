"""The sheet's figures as CSV, every corner, joint and lip of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.marking import rows
from flatscan.report.tables.tables import as_csv, fine, mm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.levelling.joints.joint_work import JointFill, LipDown
    from flatscan.levelling.plan import Wall
    from flatscan.quantity import Quantity
    from flatscan.report.marking.data import MarkedArea, MarkingData
    from flatscan.report.tables.tables import Cell


def marking_csv(data: MarkingData) -> str:
    """marking_out.csv: one row per corner. Ring 1 is the area's edge, those after it are islands left out."""
    header = (
        "area", "action", "ring", "corner", "x_mm", "y_mm", "wall_1", "from_wall_1_mm", "wall_2", "from_wall_2_mm",
    )  # fmt: skip
    return as_csv(header, [row for marked in data.areas for row in _corners(marked)])


def joint_work_csv(data: MarkingData) -> str:
    """joint_work.csv: joints to fill, then lips to take down, worst first, those not decided last.

    ``u``: one standard uncertainty.
    """
    header = (
        "what", "number", "joint", "verdict", "length_mm", "from_x_mm", "from_y_mm", "to_x_mm", "to_y_mm",
        "width_mm", "u_width_mm", "depth_mm", "u_depth_mm", "volume_litre", "u_volume_litre", "guessed",
        "lip_mm", "u_lip_mm", "limit_mm", "lip_x_mm", "lip_y_mm", "wall_1", "from_wall_1_mm", "wall_2",
        "from_wall_2_mm", "high_side",
    )  # fmt: skip
    fills = [_fill(fill) for fill in (data.joint_work.fills if data.joint_work else ())]
    lips = [_lip(number, lip, data) for number, lip in (*data.lips(), *data.lips("not_decided"))]
    return as_csv(header, [*fills, *lips])


def _corners(marked: MarkedArea) -> Iterator[list[Cell]]:
    letters = iter(marked.letters)
    for number, ring in enumerate(marked.rings):
        for index, (x, y) in enumerate(ring[:-1]):
            place: list[Cell] = [None] * 4
            if marked.marked is not None:
                one, other = marked.marked.from_mm[number][index]
                first, second = marked.marked.walls
                place = [f"W{first.number}", mm(one), f"W{second.number}", mm(other)]
            yield [marked.area.number, marked.area.action, number + 1, next(letters), mm(x), mm(y), *place]


def _fill(fill: JointFill) -> list[Cell]:
    measured = [*_value(fill.width), *_value(fill.depth), *_value(fill.volume)]
    guessed = "yes" if fill.guessed else "no"
    where = _ends(fill.line)
    return [
        "joint_to_fill", None, fill.joint, fill.word, mm(fill.length_mm), *where, *measured, guessed, *[None] * 10
    ]  # fmt: skip


def _lip(number: int, lip: LipDown, data: MarkingData) -> list[Cell]:
    found = rows.from_walls(lip.at, data.walls)
    place: list[Cell] = [None] * 4 if found is None else [cell for one in found for cell in _from_wall(*one)]
    size = [*_value(lip.lip), fine(lip.limit_mm), *(mm(v) for v in lip.at)]
    return [
        "lip_to_take_down", f"L{number}", lip.joint, lip.word, mm(lip.length_mm), *_ends(lip.line),
        *[None] * 7, *size, *place, rows.high_side(lip),
    ]  # fmt: skip


def _from_wall(wall: Wall, far: float) -> list[Cell]:
    return [f"W{wall.number}", mm(far)]


def _ends(line: tuple[tuple[float, float], ...]) -> list[Cell]:
    return [mm(v) for end in (line[0], line[-1]) for v in end]


def _value(q: Quantity | None) -> list[Cell]:
    return [None, None] if q is None else [fine(q.value), fine(q.u)]
