"""Photos of one floor brought to agree with each other: posed by hand or phone, they lie millimetres apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.surface.picture.choice import candidates
from flatscan.surface.picture.consistent import consistent
from flatscan.surface.picture.ground import Ground, MapGrid, drawable, ground_of, map_grid
from flatscan.surface.picture.laid_tone import LaidTone, laid_tone
from flatscan.surface.picture.motion import PLACES_ONLY, Motions, left_after, solved
from flatscan.surface.picture.neighbours import neighbours
from flatscan.surface.picture.overlaps import Look, Overlaps, look_at
from flatscan.surface.picture.posed_photo import PosedPhoto, posed_photos
from flatscan.surface.picture.shifts import Shifts, shift_between, shifts_between
from flatscan.surface.picture.standing import NOTHING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from flatscan.sources.scan import Scan
    from flatscan.surface.surface import Surface

MAP_CELL_MM = 20.0
#: Pixels along a map cell that photos are held against each other with, and all photos' pixels together.
_PER_CELL, _MOST_PIXELS = 8, 100_000_000
#: How far apart two photos are looked for; afterwards, once each is roughly in its place.
SEARCH_MM, _FINE_MM = 15.0, 6.0
_ROUNDS, _ROUGH_ROUNDS = 5, 3
#: Photos that differ by more than this when all is done are told.
MOST_LEFT_MM = 3.0
#: Frames beyond what the picture's map of photos can number.
_MOST_FRAMES = 32_000
_MOST_SHRINK = 64


@dataclass(frozen=True, slots=True, eq=False)
class AlignedPhotos:
    """The photos of a capture where they agree best.

    Attributes
    ----------
    photos : moved, in the order of ``Scan.frames``; none where they cannot be laid on the floor
    said : sentences: how far they were moved, how well they agree
    caveats : doubts
    residual_mm : what neighbours still differ by along one axis, median over the pairs; NaN: none could be compared
    moved_mm : (photos,) float64, how far along the floor each was moved
    looks : a small copy of each photo's brightness, its pixels about as large as the cells of the picture's maps
    """

    photos: tuple[PosedPhoto, ...]
    said: tuple[str, ...] = ()
    caveats: tuple[Caveat, ...] = ()
    residual_mm: float = float("nan")
    moved_mm: NDArray[np.float64] | None = None
    looks: tuple[Look, ...] = ()


def aligned_photos(scan: Scan, surface: Surface, *, progress: Progress = SILENT) -> AlignedPhotos:
    """The capture's photos, moved a little along the floor, turned about the vertical and raised so that they agree.

    What pairs of overlapping photos show is compared on the ground, in patches; all photos' motions are solved
    together, near the given poses. Photos that cannot be decoded are left out; photos that agree only when turned
    or mirrored are all left out. Nothing is moved where nothing overlaps.
    """
    posed = [p for p in posed_photos(scan, surface) if p.index < _MOST_FRAMES]
    if not posed:
        return AlignedPhotos(())
    ground, grid = ground_of(surface), map_grid(surface, MAP_CELL_MM)
    draw = drawable(surface, np.zeros_like(surface.seen), grid)
    per_cell = _per_cell(posed)
    photos, looks, caveats = _looked_at(posed, grid.cell_mm / per_cell, progress)
    if not photos:
        return AlignedPhotos((), caveats=caveats)
    coarse = tuple(_coarser(look, photo, grid.cell_mm) for look, photo in zip(looks, photos, strict=True))
    turned = _turned(photos, coarse, ground, grid, draw)
    if turned is not None:
        return AlignedPhotos((), caveats=(*caveats, caveat("photo_turned", how=turned)))

    def laid(moved: Sequence[PosedPhoto]) -> list[LaidTone | None]:
        return [laid_tone(p, look, ground, grid, draw, per_cell) for p, look in zip(moved, looks, strict=True)]

    found = _agreed(photos, laid, progress)
    moved_mm = found.motions.place_mm
    return AlignedPhotos(
        photos=found.motions.applied(photos),
        said=_said(found, moved_mm),
        caveats=(*caveats, *_doubts(found)),
        residual_mm=float(np.median(list(found.left_mm.values()))) if found.left_mm else float("nan"),
        moved_mm=moved_mm,
        looks=coarse,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Agreed:
    """Motions; what is left of the difference of each pair along one axis, mm; pairs that overlap."""

    motions: Motions
    left_mm: dict[tuple[int, int], float]
    pairs: int


def _agreed(
    photos: Sequence[PosedPhoto], laid: Callable[[Sequence[PosedPhoto]], list[LaidTone | None]], progress: Progress
) -> _Agreed:
    """One shift a pair first, since those are sure within the whole search; then patches, near where that leads."""
    motions = Motions.none(len(photos))
    pairs = neighbours(photos, laid(photos))
    sure: list[tuple[int, int]] = []
    shifts: dict[tuple[int, int], Shifts] = {}
    for number in progress.track(range(_ROUNDS), label="bringing photos to agree", total=_ROUNDS):
        moved = motions.applied(photos)
        tones = laid(moved)
        before = motions
        if number < _ROUGH_ROUNDS:
            shifts = _all_shifts(tones, pairs, shift_between, SEARCH_MM)
            sure = consistent(moved, shifts, motions)
            motions = solved(moved, {pair: shifts[pair] for pair in sure}, motions, PLACES_ONLY)
        else:
            shifts = _all_shifts(tones, sure, shifts_between, _FINE_MM)
            motions = solved(moved, shifts, motions)
    left = left_after(moved, shifts, before, motions)
    return _Agreed(motions, {pair: _rms(shifts[pair], rest) for pair, rest in left.items() if len(rest)}, len(pairs))


def _all_shifts(
    tones: Sequence[LaidTone | None],
    pairs: Sequence[tuple[int, int]],
    between: Callable[[LaidTone, LaidTone, float], Shifts],
    search_mm: float,
) -> dict[tuple[int, int], Shifts]:
    out = {}
    for i, j in pairs:
        one, other = tones[i], tones[j]
        if one is not None and other is not None:
            out[i, j] = between(one, other, search_mm)
    return out


def _rms(shifts: Shifts, left_mm: NDArray[np.float64]) -> float:
    """Root of the weighted mean square along one axis, over the axes that the patches tell of."""
    weight = float(np.trace(shifts.weight, axis1=1, axis2=2).sum())
    return float(np.sqrt(np.einsum("ni,nij,nj->", left_mm, shifts.weight, left_mm) / max(weight, 1e-12)))


def _per_cell(photos: Sequence[PosedPhoto]) -> int:
    """Pixels along a map cell: fewer where many photos would not fit into memory."""
    area = sum(p.size[0] * p.size[1] * float(p.position_mm[2]) ** 2 / (p.fx * p.fy) for p in photos)
    return int(np.clip(MAP_CELL_MM * np.sqrt(_MOST_PIXELS / max(area, 1.0)), 4, _PER_CELL))


def _looked_at(
    posed: Sequence[PosedPhoto], pixel_mm: float, progress: Progress
) -> tuple[tuple[PosedPhoto, ...], tuple[Look, ...], tuple[Caveat, ...]]:
    """The photos that can be decoded, their small copies, and the doubt about the others."""
    photos, looks, left_out = [], [], []
    for photo in progress.track(posed, label="looking at the photos", total=len(posed)):
        factor = _factor(photo, pixel_mm)
        try:
            pixels, done = photo.load_small(factor)
        except InputError as error:
            name = photo.frame.colour_path
            left_out.append(f"{name.name if name else photo.index}: {error.what}")
            continue
        look = look_at(pixels, max(1, factor // done))
        photos.append(photo)
        looks.append(Look(look.tone, look.factor * done))
    doubts = (caveat("photo_left_out", count=len(left_out), total=len(posed), first=left_out[0]),) if left_out else ()
    return tuple(photos), tuple(looks), doubts


def _factor(photo: PosedPhoto, wanted_mm: float) -> int:
    """Whole factor that makes the photo's pixels, where it looks straight down, about as large as wanted."""
    source_mm = max(float(photo.position_mm[2]), 1.0) / np.sqrt(photo.fx * photo.fy)
    return int(np.clip(wanted_mm / source_mm, 1, _MOST_SHRINK))


def _coarser(look: Look, photo: PosedPhoto, wanted_mm: float) -> Look:
    """A smaller copy still."""
    import cv2

    factor = max(1, _factor(photo, wanted_mm) // look.factor)
    height, width = (max(1, n // factor) for n in look.tone.shape)
    whole = look.tone[: height * factor, : width * factor]
    return Look(np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)), look.factor * factor)


def _turned(
    photos: Sequence[PosedPhoto], looks: Sequence[Look], ground: Ground, grid: MapGrid, draw: NDArray[np.bool_]
) -> str | None:
    found = candidates(photos, ground, grid, draw, NOTHING)
    return Overlaps(photos, dict(enumerate(looks)), found, ground, grid).turned()


def _said(found: _Agreed, moved_mm: NDArray[np.float64]) -> tuple[str, ...]:
    if not found.pairs:
        return ()
    if not found.left_mm:
        return (f"Photos lie as posed: none of {found.pairs} overlapping pairs shows enough to tell a shift by",)
    left = np.array(list(found.left_mm.values()))
    moved = f"{said.thickness(float(np.median(moved_mm)))} (median), {said.thickness(float(moved_mm.max()))} at most"
    agreed = f"{said.about(float(np.median(left)))} (median of {len(left)} of {found.pairs} overlapping pairs)"
    return (f"Photos were moved along the floor by {moved}, so that neighbours agree: now to {agreed}",)


def _doubts(found: _Agreed) -> tuple[Caveat, ...]:
    apart = [left for left in found.left_mm.values() if left > MOST_LEFT_MM]
    if not apart:
        return ()
    return (caveat("photos_disagree", count=len(apart), total=len(found.left_mm), worst_mm=max(apart)),)
