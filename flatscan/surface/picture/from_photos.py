"""The floor picture of posed photos."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.surface.picture.choice import Candidates, candidates, steady_choice
from flatscan.surface.picture.floor_picture import FloorPicture
from flatscan.surface.picture.ground import Ground, MapGrid, drawable, ground_of, map_grid
from flatscan.surface.picture.overlaps import Look, Overlaps, look_at
from flatscan.surface.picture.posed_photo import PosedPhoto, posed_photos
from flatscan.surface.picture.rectify import Canvas, draw_photo
from flatscan.surface.picture.standing import Standing, standing_on

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.progress import Progress
    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

MAP_CELL_MM = 20.0
FINEST_MM, COARSEST_MM = 0.5, 4.0
#: Pixels of a picture at most: 7 bytes each while it is made.
MOST_PIXELS = 120_000_000
#: Photos kept decoded between the two looks at them, bytes in all.
_KEPT_BYTES = 400_000_000
_MOST_SHRINK = 64
#: Frames beyond what the picture's map of photos can number.
_MOST_FRAMES = 32_000


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


@dataclass(slots=True)
class _Album:
    """Photos with what was seen of them at the first look."""

    photos: Sequence[PosedPhoto]
    use: list[bool]
    looks: dict[int, Look]
    pixels: dict[int, NDArray[np.uint8]]
    left_out: list[str]

    def look(self, number: int, factor: int) -> None:
        """Decode a photo, keep its small copy, and the whole while there is room."""
        try:
            pixels = self.photos[number].load()
        except InputError as error:
            self.use[number] = False
            name = self.photos[number].frame.colour_path
            self.left_out.append(f"{name.name if name else number}: {error.what}")
            return
        self.looks[number] = look_at(pixels, factor)
        if pixels.nbytes * (len(self.pixels) + 1) <= _KEPT_BYTES:
            self.pixels[number] = pixels

    def caveats(self) -> tuple[Caveat, ...]:
        """The doubt to raise for photos that could not be decoded."""
        if not self.left_out:
            return ()
        return (caveat("photo_left_out", count=len(self.left_out), total=len(self.photos), first=self.left_out[0]),)


def photo_picture(
    scan: Scan, surface: Surface, settings: JointSettings, progress: Progress
) -> tuple[FloorPicture | None, tuple[Caveat, ...]]:
    """The picture, and the doubts to tell even where there is none (no photo shows the floor, or all lie turned)."""
    photos = tuple(p for p in posed_photos(scan, surface) if p.index < _MOST_FRAMES)
    if not photos:
        return None, ()
    asked = settings.pixel_mm
    cell_mm = MAP_CELL_MM if asked is None else asked * max(1, round(MAP_CELL_MM / asked))
    ground, grid = ground_of(surface), map_grid(surface, cell_mm)
    standing = standing_on(scan, surface, ground)
    draw = drawable(surface, standing.covered, grid)
    album = _Album(photos, [True] * len(photos), {}, {}, [])
    chosen = _choose(album, ground, grid, draw, standing, progress)
    if not len(chosen.used):
        return None, album.caveats()
    overlaps = Overlaps(photos, album.looks, chosen.found, ground, grid)
    turned = overlaps.turned()
    if turned is not None:
        return None, (*album.caveats(), caveat("photo_turned", how=turned))
    median_mm = float(np.nanmedian(chosen.source_mm))
    per_cell, said = _pixels_per_cell(grid, median_mm, asked)
    canvas = Canvas.blank(grid, per_cell)
    _draw(canvas, album, chosen, ground, overlaps.gains(), progress)
    index = np.array([p.index for p in photos] + [-1], dtype=np.int16)
    picture = FloorPicture(
        kind="photos",
        tone=canvas.tone,
        rgb=canvas.rgb,
        pixel_mm=canvas.pixel_mm,
        origin_mm=grid.origin_mm,
        map_cell_mm=grid.cell_mm,
        source_mm=chosen.source_mm,
        view_tan=chosen.view_tan,
        photo=index[chosen.number],
        inferences=(f"Floor picture from {len(chosen.used)} of {len(photos)} photos: {said}",),
        caveats=album.caveats(),
    )
    return picture, picture.caveats


def _choose(
    album: _Album,
    ground: Ground,
    grid: MapGrid,
    draw: NDArray[np.bool_],
    standing: Standing,
    progress: Progress,
) -> _Chosen:
    """Choose and look at the chosen; while one of them cannot be decoded, choose again without it."""
    while True:
        found = candidates(album.photos, ground, grid, draw, standing, album.use)
        number, source_mm, view_tan = found.take(steady_choice(found))
        chosen = _Chosen(found, number, source_mm, view_tan)
        new = [int(n) for n in chosen.used if int(n) not in album.looks]
        for one in progress.track(new, label="looking at the photos", total=len(new)):
            album.look(one, _factor(grid.cell_mm, source_mm[number == one]))
        if all(album.use[n] for n in new):
            return chosen


def _draw(
    canvas: Canvas,
    album: _Album,
    chosen: _Chosen,
    ground: Ground,
    gains: NDArray[np.float64],
    progress: Progress,
) -> None:
    used = [int(n) for n in chosen.used]
    brightest = max(gains[n] * float(np.quantile(album.looks[n].tone, 0.999)) for n in used)
    gains = gains / max(1.0, brightest)
    for number in progress.track(used, label="laying photos on the floor", total=len(used)):
        pixels = album.pixels.pop(number, None)
        if pixels is None:
            pixels = album.photos[number].load()
        shrink = _factor(canvas.pixel_mm, chosen.source_mm[chosen.number == number])
        draw_photo(
            canvas,
            album.photos[number],
            pixels,
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
    seen = f"a photo pixel covers {median_mm:.2g} mm of floor (median)"
    wanted = float(np.clip(median_mm, FINEST_MM, COARSEST_MM)) if asked is None else asked
    per_cell = max(1, int(np.ceil(grid.cell_mm / wanted - 1e-6)))
    if asked is None:
        per_cell = min(per_cell, int(grid.cell_mm / FINEST_MM))
    most = max(1, int(np.sqrt(MOST_PIXELS / (grid.shape[0] * grid.shape[1]))))
    pixel_mm = grid.cell_mm / min(per_cell, most)
    held = ", no finer because of memory" if most < per_cell else ", as asked" if asked is not None else ""
    return min(per_cell, most), f"pixels of {pixel_mm:.3g} mm{held}; {seen}"


def with_caveats(picture: FloorPicture, caveats: tuple[Caveat, ...]) -> FloorPicture:
    """The picture with further doubts."""
    return replace(picture, caveats=(*picture.caveats, *caveats))
