"""A width at one station of a joint whose others were all refused is not believed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.stations import Stations
    from flatscan.measures.joints.widths.measure import Widths

#: Fewer of a joint's stations than this share measured: what hides the others makes these doubtful too.
LEAST_SHARE = 1.0 / 3.0
#: Refusals that speak of the photo and not of the joint say nothing against a station that was seen.
_OF_THE_VIEW: tuple[Refusal, ...] = ("no_photo", "steep_view")


def without_lone(widths: Widths, stations: Stations) -> Widths:
    """The widths without those of joints that were measured at too small a share of the stations seen.

    A mortar edge, a stain or a shadow's border can pass for two tile edges at one place; a joint does so along its
    length. The stations then carry the commonest reason of the others.
    """
    refused = list(widths.refused)
    for piece in np.unique(stations.piece):
        rows = [int(row) for row in np.flatnonzero(stations.piece == piece) if refused[row] not in _OF_THE_VIEW]
        reasons = [why for row in rows if (why := refused[row]) is not None]
        if reasons and len(rows) - len(reasons) < LEAST_SHARE * len(rows):
            commonest = max(dict.fromkeys(reasons), key=reasons.count)
            for row in rows:
                refused[row] = refused[row] or commonest
    gone = np.array([why is not None for why in refused], dtype=bool)
    return replace(
        widths,
        wall_width_mm=np.where(gone, np.nan, widths.wall_width_mm),
        u_mm=np.where(gone, np.nan, widths.u_mm),
        refused=tuple(refused),
    )
