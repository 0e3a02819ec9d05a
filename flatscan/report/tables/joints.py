"""Joints and their stations as CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.constants import MM_PER_M
from flatscan.report.tables.tables import as_csv, fine, mm
from flatscan.report.words import joint_wording
from flatscan.report.words.joint_words import judged_joints

if TYPE_CHECKING:
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.report.tables.tables import Cell
    from flatscan.report.words.joint_words import JudgedJoint, Worst


def joints_csv(report: Report) -> str:
    """One row per joint with its worst places, worst joint first.

    A lip is positive where the tile to the left of the way from end 1 to end 2 is the higher one. ``u`` is one
    standard uncertainty. A width that says neither is between the walls or the ends of the flat faces.
    """
    header = (
        "joint", "x1_mm", "y1_mm", "x2_mm", "y2_mm", "length_m",
        "width_mm", "u_width_mm", "wall_width_mm", "u_wall_width_mm", "width_verdict", "width_x_mm", "width_y_mm",
        "depth_mm", "u_depth_mm", "depth_verdict", "depth_x_mm", "depth_y_mm",
        "lip_mm", "u_lip_mm", "lip_verdict", "lip_x_mm", "lip_y_mm", "lip_where", "not_measured",
    )  # fmt: skip
    return as_csv(header, [_joint_row(one) for one in sorted(judged_joints(report), key=lambda one: one.rank)])


def stations_csv(report: Report) -> str:
    """One row per station, along each joint in the order of the joints' numbers."""
    header = (
        "joint", "along_mm", "x_mm", "y_mm", "stretch_mm",
        "width_mm", "u_width_mm", "wall_width_mm", "u_wall_width_mm", "depth_mm", "u_depth_mm", "lip_mm", "u_lip_mm",
        "width_missing", "depth_missing", "lip_missing",
    )  # fmt: skip
    joints = report.measurement.joints
    rows: list[list[Cell]] = []
    for joint in joints.joints if joints is not None else ():
        for station in joint.stations:
            why = {figure: joint_wording.REFUSAL_TEXT[reason][0] for figure, reason in station.refused}
            rows.append(
                [
                    joint.id,
                    mm(station.along_mm),
                    *(mm(v) for v in station.at),
                    mm(station.stretch_mm),
                    *_value(station.width),
                    *_value(station.wall_width),
                    *_value(station.depth),
                    *_value(station.lip),
                    *(why.get(figure, "") for figure in ("width", "depth", "lip")),
                ]
            )
    return as_csv(header, rows)


def _joint_row(one: JudgedJoint) -> list[Cell]:
    joint = one.joint
    wide, deep, lip = one.worst["joint_width"], one.worst["joint_depth"], one.worst["lip"]
    walls = None if wide.station is None else wide.station.wall_width
    return [
        joint.id,
        *(mm(v) for end in (joint.line[0], joint.line[-1]) for v in end),
        round(joint.length_mm / MM_PER_M, 3),
        *_value(wide.value),
        *_value(walls),
        *_place(wide),
        *_value(deep.value),
        *_place(deep),
        *_value(None if lip.station is None else lip.station.lip),
        *_place(lip),
        joint_wording.where(lip),
        joint_wording.refused_words(joint),
    ]


def _place(worst: Worst) -> list[Cell]:
    at: list[Cell] = [None, None] if worst.station is None else [mm(v) for v in worst.station.at]
    return [worst.verdict or "no limit", *at]


def _value(q: Quantity | None) -> list[Cell]:
    if q is None:
        return [None, None]
    return [fine(q.value), fine(q.u)]
