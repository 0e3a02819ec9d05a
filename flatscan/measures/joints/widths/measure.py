"""Joint widths from posed photos: each photo is opened once, each station read in the best few of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.widths.combine import Views, combine
from flatscan.measures.joints.widths.one_photo import read_photo
from flatscan.measures.joints.widths.refusal import MEASURED, MOST_VIEW_TAN, REASONS, told_by_others
from flatscan.measures.joints.widths.repeats import noise_of
from flatscan.measures.joints.widths.strips import Places
from flatscan.measures.joints.widths.views import Sights, heights_at, sights_of
from flatscan.progress import SILENT, Progress

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.stations import Stations
    from flatscan.measures.joints.widths.strips import Projects
    from flatscan.surface.surface import Surface

#: Photos read per station: more of them only repeat the same errors.
MOST_PHOTOS = 4
#: Length of joint that a reading averages over, mm, and its share of a station's stretch.
_STRETCH_MM = (8.0, 50.0)
_STRETCH_SHARE = 0.9
#: From this share of the photos that see a shadow on, a station is refused although others do not.
_SHADOW_SHARE = 1.0 / 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Widths:
    """Joint widths, one row per station.

    Attributes
    ----------
    wall_width_mm : (n,) float64 between the tiles' sides; NaN where refused
    u_mm : (n,) float64 standard uncertainty, NaN where refused
    refused : why there is no width, None where there is one
    photos_used : (n,) int32 photos behind the width
    budget : by name, (n,) float64 parts of ``u_mm`` (root of the sum of squares): ``noise`` (residuals, repeats along
        the joint, scatter between photos), ``blur`` (its shape, the tone curve), ``scale``, ``lip_view`` (lip and far
        side seen at an angle), ``pose``, ``edges``
    """

    wall_width_mm: NDArray[np.float64]
    u_mm: NDArray[np.float64]
    refused: tuple[Refusal | None, ...]
    photos_used: NDArray[np.int32]
    budget: Mapping[str, NDArray[np.float64]]

    def __post_init__(self) -> None:
        self.photos_used.setflags(write=False)
        for array in (self.wall_width_mm, self.u_mm, *self.budget.values()):
            array.setflags(write=False)


def measure_widths(
    photos: Sequence[Projects],
    surface: Surface,
    stations: Stations,
    *,
    lip_mm: NDArray[np.float64] | None = None,
    lip_u_mm: NDArray[np.float64] | None = None,
    rng: np.random.Generator,
    progress: Progress = SILENT,
) -> Widths:
    """Measure the joint at every station that a photo shows well enough.

    Parameters
    ----------
    photos : with their poses
    surface : gives the heights of the floor points that are looked up in the photos
    stations : where to measure
    lip_mm, lip_u_mm : (n,) left face minus right face with its standard uncertainty; NaN or None: not known
    rng : for the places of the rows that are sampled along a joint
    progress : told about the photos
    """
    n = len(stations)
    heights, height_u_mm = heights_at(surface, stations.at_mm)
    places = Places(
        np.column_stack([stations.at_mm, heights]),
        stations.left,
        stations.along,
        np.clip(_STRETCH_SHARE * stations.stretch_mm, *_STRETCH_MM) / 2.0,
    )
    sights = sights_of(photos, places, MOST_PHOTOS)
    slots = _Slots.empty(n, MOST_PHOTOS)
    wanted = np.unique(sights.photo[sights.photo >= 0])
    for index in progress.track(wanted.tolist(), label="joint widths in photos", total=len(wanted)):
        rows, column = np.nonzero(sights.photo == index)
        part = Places(*(array[rows] for array in places))
        pixel_mm = sights.pixel_mm[rows, column]
        # Below the edges the line of sight goes on away from the camera.
        reading = read_photo(photos[index], part, pixel_mm, -sights.tan[rows, column], rng=rng)
        reason = told_by_others(reading.reason, part.along, reading.blur / pixel_mm)
        slots.reason[rows, column] = reason
        good = reason == MEASURED
        at = rows[good], column[good]
        slots.width[at], slots.blur[at], slots.edges[at] = (
            reading.width[good],
            reading.blur_u[good],
            reading.edge_u[good],
        )
        slots.noise[at] = noise_of(reading.fit_u[good], reading.part_widths[good])
    return _widths(slots, sights, _given(lip_mm, n), _given(lip_u_mm, n), height_u_mm)


@dataclass(frozen=True, slots=True, eq=False)
class _Slots:
    """(n, p) results per station and photo read."""

    reason: NDArray[np.int8]
    width: NDArray[np.float64]
    noise: NDArray[np.float64]
    blur: NDArray[np.float64]
    edges: NDArray[np.float64]

    @classmethod
    def empty(cls, n: int, p: int) -> _Slots:
        nothing = [np.full((n, p), np.nan) for _ in range(4)]
        return cls(np.full((n, p), REASONS.index("no_photo"), dtype=np.int8), *nothing)


def _given(values: NDArray[np.float64] | None, n: int) -> NDArray[np.float64]:
    return np.full(n, np.nan) if values is None else np.asarray(values, dtype=np.float64)


def _widths(
    slots: _Slots, sights: Sights, lip_mm: NDArray[np.float64], lip_u_mm: NDArray[np.float64], height_u_mm: float
) -> Widths:
    measured = slots.reason == MEASURED
    shadow = slots.reason == REASONS.index("shadow")
    shadowed = shadow.sum(axis=1) >= _SHADOW_SHARE * np.maximum((measured | shadow).sum(axis=1), 1)
    width = np.where(shadowed[:, None], np.nan, slots.width)
    together = combine(
        Views(width, slots.noise, slots.blur, slots.edges, sights.tan, sights.depth_mm), lip_mm, lip_u_mm, height_u_mm
    )
    worst = np.where(measured, REASONS.index("no_photo"), slots.reason).max(axis=1, initial=0)
    worst = np.where((worst == REASONS.index("no_photo")) & sights.steep, REASONS.index("steep_view"), worst)
    refused = tuple(None if used else REASONS[int(reason)] for used, reason in zip(together.photos, worst, strict=True))
    return Widths(together.width, together.u, refused, together.photos, together.parts)


__all__ = ["MOST_PHOTOS", "MOST_VIEW_TAN", "Widths", "measure_widths"]
