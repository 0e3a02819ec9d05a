"""All caveats of a run, each once, in the order of the stages that raised them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.caveats import Caveat
    from flatscan.report.report import Report


def caveats_of(report: Report) -> tuple[Caveat, ...]:
    """Caveats of the surface (with the scan's), the measures, the verdict and the plan; repeats left out."""
    stages = (report.surface, report.measurement, report.verdict, report.plan)
    return tuple(dict.fromkeys(c for stage in stages for c in stage.caveats))
