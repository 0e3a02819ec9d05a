"""The floor picture of posed photos."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.surface.picture.alignment import MAP_CELL_MM
from flatscan.surface.picture.choice import Candidates, candidates, steady_choice
from flatscan.surface.picture.floor_picture import FloorPicture
from flatscan.surface.picture.ground import Ground, MapGrid, drawable, ground_of, map_grid
from flatscan.surface.picture.overlaps import Overlaps
from flatscan.surface.picture.rectify import Canvas, draw_photo
from flatscan.surface.picture.standing import standing_on

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.progress import Progress
    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.picture.alignment import AlignedPhotos
    from flatscan.surface.surface import Surface

FINEST_MM, COARSEST_MM = 0.5, 4.0
#: Pixels of a picture at most: 7 bytes each while it is made.
MOST_PIXELS = 120_000_000
_MOST_SHRINK = 64


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """The photos over the map: of each cell number, mm a pixel, tangent of the view."""

    found: Candidates
    number: NDArray[np.int32]
    source_mm: NDArray[np.float32]
    view_tan: NDArray[np.float32]

    @property
    def used(self) -> NDArray[np.int32]:
        """Numbers of the photos used."""
        return np.unique(self.number[self.number >= 0])


def photo_picture(
    scan: Scan, surface: Surface, settings: JointSettings, aligned: AlignedPhotos, progress: Progress
) -> FloorPicture | None:
    """The picture of the aligned photos; None where no photo shows the floor."""
    photos = aligned.photos
    if not photos:
        return None
    asked = settings.pixel_mm
    cell_mm = MAP_CELL_MM if asked is None else asked * max(1, round(MAP_CELL_MM / asked))
    ground, grid = ground_of(surface), map_grid(surface, cell_mm)
    standing = standing_on(scan, surface, ground)
    draw = drawable(surface, standing.covered, grid)
    found = candidates(photos, ground, grid, draw, standing)
    chosen = _Chosen(found, *found.take(steady_choice(found)))
    if not len(chosen.used):
        return None
    looks = aligned.looks
    overlaps = Overlaps(photos, {int(n): looks[n] for n in chosen.used}, found, ground, grid)
    median_mm = float(np.nanmedian(chosen.source_mm))
    per_cell, said = _pixels_per_cell(grid, median_mm, asked)
    canvas = Canvas.blank(grid, per_cell)
    _draw(canvas, aligned, chosen, ground, overlaps.gains(), progress)
    index = np.array([p.index for p in photos] + [-1], dtype=np.int16)
    return FloorPicture(
        kind="photos",
        tone=canvas.tone,
        rgb=canvas.rgb,
        pixel_mm=canvas.pixel_mm,
        origin_mm=grid.origin_mm,
        map_cell_mm=grid.cell_mm,
        source_mm=chosen.source_mm,
        view_tan=chosen.view_tan,
        photo=index[chosen.number],
        inferences=(f"Floor picture from {len(chosen.used)} of {len(photos)} photos: {said}", *aligned.said),
        caveats=aligned.caveats,
    )


def _draw(
    canvas: Canvas,
    aligned: AlignedPhotos,
    chosen: _Chosen,
    ground: Ground,
    gains: NDArray[np.float64],
    progress: Progress,
) -> None:
    used = [int(n) for n in chosen.used]
    brightest = max(gains[n] * float(np.quantile(aligned.looks[n].tone, 0.999)) for n in used)
    gains = gains / max(1.0, brightest)
    for number in progress.track(used, label="laying photos on the floor", total=len(used)):
        shrink = _factor(canvas.pixel_mm, chosen.source_mm[chosen.number == number])
        draw_photo(
            canvas,
            aligned.photos[number],
            aligned.photos[number].load(),
            chosen.number,
            number,
            ground,
            gain=float(gains[number]),
            shrink=shrink,
        )


def _factor(wanted_mm: float, source_mm: NDArray[np.float32]) -> int:
    """Whole factor that makes a photo's pixels about as large as wanted, never larger."""
    return int(np.clip(wanted_mm / float(np.median(source_mm)), 1, _MOST_SHRINK))


def _pixels_per_cell(grid: MapGrid, median_mm: float, asked: float | None) -> tuple[int, str]:
    """Pixels along a map cell, and the sentence about it."""
    seen = f"a photo pixel covers {said.about(median_mm)} of floor (median)"
    wanted = float(np.clip(median_mm, FINEST_MM, COARSEST_MM)) if asked is None else asked
    per_cell = max(1, int(np.ceil(grid.cell_mm / wanted - 1e-6)))
    if asked is None:
        per_cell = min(per_cell, int(grid.cell_mm / FINEST_MM))
    most = max(1, int(np.sqrt(MOST_PIXELS / (grid.shape[0] * grid.shape[1]))))
    pixel_mm = grid.cell_mm / min(per_cell, most)
    held = ", no finer because of memory" if most < per_cell else ", as asked" if asked is not None else ""
    return min(per_cell, most), f"pixels of {said.about(pixel_mm, 3)}{held}; {seen}"


def with_caveats(picture: FloorPicture, caveats: tuple[Caveat, ...]) -> FloorPicture:
    """The picture with further doubts."""
    return replace(picture, caveats=(*picture.caveats, *caveats))
