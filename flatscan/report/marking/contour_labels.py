"""Contours on paper, and where the millimetres are written on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.report.marking.labels import label_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.levelling.marking.contours import Contour
    from flatscan.report.marking.labels import LabelPlaces
    from flatscan.report.marking.view import Points, View

#: Every fifth line is bold, or every quarter of an inch;
#: with more levels than this only those and the first two are labelled.
_BOLD_EVERY, _BOLD_SIXTEENTHS = 5, 4
_MOST_LABELLED = 8
_FIRST_LEVELS = 2.0
#: A line shorter than this on paper is not labelled, and much shorter not drawn.
_LEAST_LABELLED_MM, _LEAST_DRAWN_MM = 9.0, 1.5
_LABEL_MM = 1.9
#: Places along a line that are tried for its label.
_TRIED = 24


def contours_drawn(contours: Sequence[Contour], view: View, labels: LabelPlaces) -> list[dict[str, Any]]:
    """Each line with its level; a label on the line where it hides least."""
    many = len({level for level, _ in contours}) > _MOST_LABELLED
    found = []
    step = said.drawn_step_mm()
    every = _BOLD_SIXTEENTHS if said.imperial() else _BOLD_EVERY
    for level, lines in sorted(contours, key=lambda contour: round(contour[0] / step) % every != 0):
        bold = round(level / step) % every == 0
        named = bold or not many or level <= _FIRST_LEVELS * step
        for points in view.lines(lines):
            along = np.asarray(points)
            length = float(np.hypot(*np.diff(along, axis=0).T).sum())
            if length < _LEAST_DRAWN_MM:
                continue
            told = named and length >= _LEAST_LABELLED_MM
            found.append(
                {"line": points, "bold": bold, **(_label(said.drawn_level(level), points, labels) if told else {})}
            )
    return found


def _label(text: str, points: Points, labels: LabelPlaces) -> dict[str, Any]:
    """The free place on the line; none, no label."""
    along = np.asarray(points)
    shares = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(along, axis=0).T))])
    tried = np.linspace(0.0, shares[-1], _TRIED, endpoint=False)
    places = np.column_stack([np.interp(tried, shares, along[:, k]) for k in range(2)])
    at = labels.free(places, label_size(text, _LABEL_MM))
    return {} if at is None else {"text": text, "at": at}
