"""Grinding: where highs are taken down, how deep, and how near that is to the cheapest there is."""

from __future__ import annotations

from flatscan.levelling.grinding.grinding import Grinding, lower_bound, plan_grinding
from flatscan.levelling.grinding.problem import FullProblem, full_problem

__all__ = ["FullProblem", "Grinding", "full_problem", "lower_bound", "plan_grinding"]
