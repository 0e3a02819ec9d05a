"""Which photos to hold against each other: for each, the one that shows most of the same in each direction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.surface.picture.shifts import PATCH_MM, shared_pixels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.surface.picture.laid_tone import LaidTone
    from flatscan.surface.picture.posed_photo import PosedPhoto

#: Directions told apart: photos taken along one lane must be tied to the next lane too.
_SECTORS = 8
#: Photos whose cameras stand nearest are looked at for each.
_MOST_NEAR = 60
#: Two photos must share this many patches' worth of floor.
_LEAST_PATCHES = 1.5


def neighbours(photos: Sequence[PosedPhoto], tones: Sequence[LaidTone | None]) -> list[tuple[int, int]]:
    """Pairs (i < j) of photos that overlap."""
    from scipy.spatial import cKDTree

    if len(photos) < 2:  # noqa: PLR2004 - a pair
        return []
    places = np.array([photo.position_mm[:2] for photo in photos])
    _, near = cKDTree(places).query(places, k=min(_MOST_NEAR, len(photos)))
    shared: dict[tuple[int, int], int] = {}
    pairs: set[tuple[int, int]] = set()
    for i, others in enumerate(np.atleast_2d(near)):
        best: dict[int, tuple[int, tuple[int, int]]] = {}
        for j in others.tolist():
            one, other = tones[i], tones[j]
            if i == j or one is None or other is None:
                continue
            pair = (min(i, j), max(i, j))
            if pair not in shared:
                shared[pair] = shared_pixels(one, other)
            if shared[pair] * one.pixel_mm**2 < _LEAST_PATCHES * PATCH_MM**2:
                continue
            way = places[j] - places[i]
            sector = int(np.floor((np.arctan2(way[1], way[0]) / (2.0 * np.pi) + 1.0) * _SECTORS)) % _SECTORS
            best[sector] = max(best.get(sector, (0, pair)), (shared[pair], pair))
        pairs.update(pair for _, pair in best.values())
    return sorted(pairs)
