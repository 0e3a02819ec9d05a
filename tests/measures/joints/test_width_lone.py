"""One measured station among refused ones is refused; measured joints keep their gaps."""

from __future__ import annotations

import numpy as np

from flatscan.measures.joints.network import JointNetwork, JointPiece
from flatscan.measures.joints.stations import stations_along
from flatscan.measures.joints.widths.lone import without_lone
from flatscan.measures.joints.widths.measure import Widths


def stations_and_widths(refused: list[str | None]) -> tuple:
    """A joint of 300 mm with six stations, then one of 100 mm with two that were both measured."""
    pieces = (
        JointPiece((0.0, 0.0), (300.0, 0.0), (None, None), 1.0),
        JointPiece((0.0, 50.0), (100.0, 50.0), (None, None), 1.0),
    )
    stations = stations_along(JointNetwork(pieces, (), None, "picture", ""), 50.0)
    why = (*refused, None, None)
    seen = np.array([reason is None for reason in why])
    width = np.where(seen, 4.0, np.nan)
    return stations, Widths(width, np.where(seen, 0.1, np.nan), why, seen.astype(np.int32), {})


def test_one_of_six_is_refused_for_the_commonest_reason() -> None:
    stations, widths = stations_and_widths(["shadow", "shadow", None, "no_edges", "shadow", "no_edges"])
    left = without_lone(widths, stations)
    assert left.refused[:6] == ("shadow", "shadow", "shadow", "no_edges", "shadow", "no_edges")
    assert np.isnan(left.wall_width_mm[:6]).all()
    assert np.isfinite(left.wall_width_mm[6:]).all()


def test_a_third_is_enough() -> None:
    stations, widths = stations_and_widths(["shadow", None, None, "no_edges", "shadow", "no_edges"])
    assert without_lone(widths, stations).refused == widths.refused


def test_places_that_no_photo_shows_do_not_count_against_the_others() -> None:
    stations, widths = stations_and_widths(["no_photo", "no_photo", None, "no_photo", "steep_view", "no_photo"])
    assert without_lone(widths, stations).refused == widths.refused
