"""What a plan looks like on the floor: a printed sheet true to scale, a drawing file and two tables."""

from flatscan.report.marking.data import MarkingData, marking_data
from flatscan.report.marking.dxf import plan_dxf
from flatscan.report.marking.lists import joint_work_csv, marking_csv
from flatscan.report.marking.pdf import marking_pdf

__all__ = ["MarkingData", "joint_work_csv", "marking_csv", "marking_data", "marking_pdf", "plan_dxf"]
