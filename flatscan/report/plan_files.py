"""The files that show a levelling plan: the same from a check and from a plan made anew."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.words.cautions import Caution
    from flatscan.settings import Paper, Segment
    from flatscan.sources.survey.survey import Survey
    from flatscan.surface.surface import Surface

#: Every name that ``write_plan_files`` may write.
PLAN_FILES = (
    "methods.csv", "areas.csv", "joint_work.csv", "marking_out.pdf", "marking_out.csv", "plan.dxf", "after.png",
)  # fmt: skip


def write_plan_files(
    plan: LevellingPlan,
    surface: Surface,
    folder: Path,
    *,
    survey: Survey | None,
    doors_mm: Sequence[Segment],
    cautions: Sequence[Caution],
    paper: Paper,
) -> bytes:
    """Write what the plan has to show into the folder; the floor before and after as PNG comes back, b"" for none."""
    from flatscan.report.marking.data import marking_data
    from flatscan.report.marking.dxf import plan_dxf
    from flatscan.report.marking.lists import joint_work_csv, marking_csv
    from flatscan.report.marking.pdf import marking_pdf
    from flatscan.report.picture.after_map import planned_png
    from flatscan.report.tables.tables import areas_csv, methods_csv

    tables = {"areas.csv": areas_csv(plan)}
    if plan.methods:
        tables["methods.csv"] = methods_csv(plan)
    data = marking_data(plan, surface, survey=survey, doors_mm=doors_mm)
    if not data.nothing:
        tables["marking_out.csv"] = marking_csv(data)
        (folder / "marking_out.pdf").write_bytes(marking_pdf(data, paper, cautions))
        (folder / "plan.dxf").write_bytes(plan_dxf(data))
    if plan.joint_work is not None and (plan.joint_work.fills or plan.joint_work.lips):
        tables["joint_work.csv"] = joint_work_csv(data)
    for name, text in tables.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    after = planned_png(surface, plan)
    if after:
        (folder / "after.png").write_bytes(after)
    return after
