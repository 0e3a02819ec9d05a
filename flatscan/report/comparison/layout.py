"""The paper of the difference map: the difference large, the floor before and after it small beneath."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from flatscan.report.picture.sheet import BAR_COLUMN_IN, EDGE_IN, Sheet, sheet_for

if TYPE_CHECKING:
    from flatscan.report.picture.labels import Box

#: Space around a small room (left, bottom, right, top), and for the title above it.
_AROUND_IN, _TITLE_IN = (0.72, 0.62, 0.2, 0.1), 0.22
#: Least height of the row of small maps: the colour bar stands beside it.
_LEAST_ROW_IN = 2.9


@dataclass(frozen=True, slots=True)
class Paper:
    """Three sheets of the same room on one paper, inches; ``row_in``: height of the row of small maps with titles."""

    difference: Sheet
    before: Sheet
    after: Sheet
    row_in: float


def paper_for(room_mm: Box, *, above_in: float, below_in: float) -> Paper:
    """``above_in`` for the title and ``below_in`` for key and caption, which stand between large and small maps."""
    draft = sheet_for(room_mm, above_in=0.0, below_in=0.0)
    wide, deep = room_mm[2] - room_mm[0], room_mm[3] - room_mm[1]
    each = (draft.width - 2 * EDGE_IN - BAR_COLUMN_IN) / 2.0
    left, bottom, right, top = _AROUND_IN
    scale = min((each - left - right) / wide, draft.inch_per_mm)
    tall = deep * scale + bottom + top
    row = max(tall + _TITLE_IN, _LEAST_ROW_IN)
    main = sheet_for(room_mm, above_in=above_in, below_in=below_in + row)
    spare = (each - left - right - wide * scale) / 2.0
    raised = (row - _TITLE_IN - tall) / 2.0
    small = Sheet(
        width=main.width,
        height=main.height,
        map_box=(EDGE_IN, EDGE_IN, EDGE_IN + each, EDGE_IN + row - _TITLE_IN),
        room_mm=room_mm,
        inch_per_mm=scale,
        room_left=EDGE_IN + left + spare,
        room_bottom=EDGE_IN + raised + bottom,
    )
    box = small.map_box
    second = replace(small, map_box=(box[0] + each, box[1], box[2] + each, box[3]), room_left=small.room_left + each)
    return Paper(main, small, second, row)
