"""What is over the limit now, or not decided, worst first: and whether it was so before the work."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.comparing.comparison import OpenSpot
from flatscan.comparing.gaps_now import WORST, gap_near, judged, word_of
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.comparing.comparison import AreaNow, History
    from flatscan.comparing.gaps_now import Words
    from flatscan.comparing.measured import Measured
    from flatscan.comparing.pose import Pose
    from flatscan.judgement.verdict import Finding, VerdictWord

JOINT_KINDS = ("lip", "joint_width", "joint_depth")
#: A gap this near to an earlier one is the same one; an area this near has caused it.
_SAME_PLACE_MM, _NEAR_MM = 150.0, 200.0
_RIM_MM = 300.0
_HISTORY: dict[VerdictWord, History] = {
    "over": "still", "not_decided": "unsure", "within": "new", "not_seen": "not_measured",
}  # fmt: skip


def open_spots(before: Measured, after: Measured, pose: Pose, areas: Sequence[AreaNow]) -> tuple[OpenSpot, ...]:
    """Every connected place whose gap is over or not decided now, and every joint or lip that is over.

    The words are those of the result after, by its limits.
    """
    found = []
    for edge_mm, limit_mm in after.gap_limits:
        words = judged(after, edge_mm, limit_mm)
        if words is None:
            continue
        for word in ("over", "not_decided"):
            found += [
                _spot(before, after, pose, areas, words, cell, word)
                for cell in _worst_of_each(words, WORST.index(word))
            ]
    found += [_of_joint(f, areas) for f in after.findings if f.what in JOINT_KINDS and f.verdict == "over" and f.at]
    return _apart(sorted(found, key=_badness))


def _apart(spots: Sequence[OpenSpot]) -> tuple[OpenSpot, ...]:
    """Without places that are only the rim of a worse one under the same edge."""
    kept: list[OpenSpot] = []
    for spot in spots:
        rim = spot.what == "gap" and any(
            other.what == "gap" and other.edge_mm == spot.edge_mm and math.dist(other.at, spot.at) < _RIM_MM
            for other in kept
        )
        if not rim:
            kept.append(spot)
    return tuple(kept)


def _badness(spot: OpenSpot) -> tuple[int, float]:
    return WORST.index(spot.verdict), -spot.value.value / spot.limit_mm


def _worst_of_each(words: Words, word: int) -> list[tuple[int, int]]:
    """The block of the largest gap of each connected place that has this word.

    An undecided rim round a place that is over belongs to it.
    """
    from scipy.ndimage import label

    number, count = label(words.word <= word, structure=np.ones((3, 3)))
    found = []
    for one in range(1, count + 1):
        place = number == one
        if words.word[place].min() != word:
            continue
        gap = np.where(place & np.isfinite(words.grid.gap_mm), words.grid.gap_mm, -np.inf)
        row, col = np.unravel_index(int(gap.argmax()), gap.shape)
        found.append((int(row), int(col)))
    return found


def _spot(
    before: Measured,
    after: Measured,
    pose: Pose,
    areas: Sequence[AreaNow],
    words: Words,
    cell: tuple[int, int],
    word: VerdictWord,
) -> OpenSpot:
    at = words.xy_mm[cell]
    value = Quantity(float(words.grid.gap_mm[cell]), float(np.nan_to_num(words.grid.u_mm[cell])), "mm")
    was = gap_near(before, words.grid.edge_mm, pose.back(at), _SAME_PLACE_MM)
    x, y = at.tolist()
    return OpenSpot(
        "gap",
        words.grid.edge_mm,
        words.limit_mm,
        value,
        word,
        (x, y),
        _area_at((x, y), areas),
        was,
        _HISTORY[word_of(was, words.limit_mm, after.confidence)],
    )


def _of_joint(finding: Finding, areas: Sequence[AreaNow]) -> OpenSpot:
    value = finding.value or Quantity(0.0, 0.0, "mm")
    at = finding.at or (0.0, 0.0)
    size = Quantity(abs(value.value), value.u, value.unit)
    return OpenSpot(
        finding.what, finding.edge_mm, finding.limit_mm, size, finding.verdict, at, _area_at(at, areas), None,
        "not_measured", finding.joint,
    )  # fmt: skip


def _area_at(at: tuple[float, float], areas: Sequence[AreaNow]) -> int | None:
    from shapely import Point, Polygon

    near = [(Polygon(area.rings[0]).distance(Point(at)), area.planned.number) for area in areas]
    distance, number = min(near, default=(np.inf, 0))
    return number if distance <= _NEAR_MM else None
