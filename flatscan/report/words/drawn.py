"""Which worst gaps are shown, under which letter and with which verdict: the same on map, page and terminal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from string import ascii_uppercase
from typing import TYPE_CHECKING

from flatscan.report.words.wording import VERDICT_RANK

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Finding, VerdictWord
    from flatscan.measures.measurement import GapSpot
    from flatscan.report.report import Report

#: More than this on one picture and none can be read.
MOST_SHOWN = 8
#: Two records of one place may differ by their rounding only.
_SAME_PLACE_MM = 1.0
#: A gap that is within says nothing new so close to one that is shown.
_ONE_PLACE_MM = 300.0


_Row = tuple[int, "GapSpot", "Finding | None"]


@dataclass(frozen=True, slots=True)
class Shown:
    """A worst gap with its letter. ``finding`` is the worst verdict on it; None: no limit names this edge."""

    letter: str
    #: Its row in ``Measurement.gaps``.
    index: int
    spot: GapSpot
    finding: Finding | None

    @property
    def verdict(self) -> VerdictWord | None:
        """The word, where a limit applies."""
        return None if self.finding is None else self.finding.verdict

    @property
    def what(self) -> str:
        """How the limit reads the gap: ``gap`` or ``span_gap``."""
        return "gap" if self.finding is None else self.finding.what


def shown_gaps(report: Report) -> tuple[Shown, ...]:
    """At most ``MOST_SHOWN`` gaps: over first, then not decided, then the worst within for each edge and place.

    Gaps of an edge that no limit names are shown only where nothing else is.
    """
    found = [(index, spot, _finding_on(spot, report)) for index, spot in enumerate(report.measurement.gaps)]
    judged = [row for row in found if row[2] is not None]
    kept: list[_Row] = []
    calm_edges = set()
    for row in sorted(judged or found, key=_order):
        _, spot, finding = row
        if finding is not None and finding.verdict in {"over", "not_decided"}:
            kept.append(row)
        elif spot.edge_mm not in calm_edges and not any(math.dist(spot.at, r[1].at) < _ONE_PLACE_MM for r in kept):
            calm_edges.add(spot.edge_mm)
            kept.append(row)
    return tuple(
        Shown(letter, index, spot, finding)
        for letter, (index, spot, finding) in zip(ascii_uppercase, kept[:MOST_SHOWN], strict=False)
    )


def letters_of(report: Report) -> dict[int, str]:
    """Letter by row of ``Measurement.gaps``."""
    return {shown.index: shown.letter for shown in shown_gaps(report)}


def _order(row: _Row) -> tuple[int, float, int]:
    """Worst first: by the word, then by the chance of being over as a person tells chances, then by the gap."""
    index, _, finding = row
    return _rank(finding), -round(finding.p_over or 0.0, 2) if finding is not None else 0.0, index


def _rank(finding: Finding | None) -> int:
    return len(VERDICT_RANK) if finding is None else VERDICT_RANK[finding.verdict]


def _finding_on(spot: GapSpot, report: Report) -> Finding | None:
    on_it = [f for f in report.verdict.findings if _same(f, spot)]
    return min(on_it, key=_rank, default=None)


def _same(finding: Finding, spot: GapSpot) -> bool:
    if finding.at is None or finding.value is None or finding.edge_mm is None or finding.placement is not None:
        return False
    apart = max(abs(finding.at[0] - spot.at[0]), abs(finding.at[1] - spot.at[1]), abs(finding.edge_mm - spot.edge_mm))
    return apart < _SAME_PLACE_MM
