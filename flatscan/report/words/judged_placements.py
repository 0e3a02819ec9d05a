"""Each laying of a straightedge with the verdict on it: the same on map, page, terminal and in the tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.placement_findings import placement_name, tells_gap
from flatscan.report.words.wording import VERDICT_RANK

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Finding, VerdictWord
    from flatscan.measures.measurement import PlacementFigure
    from flatscan.report.report import Report


@dataclass(frozen=True, slots=True)
class JudgedPlacement:
    """``finding`` is the worst verdict on it; None: no limit that its bar can answer."""

    figure: PlacementFigure
    finding: Finding | None

    @property
    def verdict(self) -> VerdictWord | None:
        """The word, where a limit applies."""
        return None if self.finding is None else self.finding.verdict

    @property
    def conflict(self) -> bool:
        """Whether the surface contradicts it."""
        return self.finding is not None and self.finding.conflict

    @property
    def tells_gap(self) -> bool:
        """Whether it says anything of gaps, or of a hump alone."""
        return tells_gap(self.figure)

    @property
    def number(self) -> str:
        """As on the sheet, or by its row."""
        return self.figure.number or f"row {self.figure.row}"

    @property
    def name(self) -> str:
        """``straightedge 7``."""
        return placement_name(self.figure.number, self.figure.row)

    @property
    def rank(self) -> tuple[int, float, float]:
        """Worst first: the word, the chance of being over as a person tells chances, the gap."""
        word = len(VERDICT_RANK) if self.verdict is None else VERDICT_RANK[self.verdict]
        p_over = 0.0 if self.finding is None else self.finding.p_over or 0.0
        return word, -round(p_over, 2), -self.figure.gap.value


def judged_placements(report: Report) -> tuple[JudgedPlacement, ...]:
    """Every placement in the order of the file."""
    worst: dict[tuple[str, tuple[float, float]], Finding] = {}
    for finding in report.verdict.findings:  # worst first
        if finding.placement is not None and finding.at is not None:
            worst.setdefault((finding.placement, finding.at), finding)
    return tuple(
        JudgedPlacement(one, worst.get((one.number or f"row {one.row}", one.at)))
        for one in report.measurement.placements
    )
