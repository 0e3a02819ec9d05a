"""From points to the height map of the floor among them: the stage on one page."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.progress import SILENT
from flatscan.surface import doubts
from flatscan.surface.cells.gridding import CellStats, GridSpec, choose_cell_mm, grid_points
from flatscan.surface.cells.pooling import pooled, poor_cells
from flatscan.surface.finding import frame
from flatscan.surface.finding.floor import Cloud, find_floor_plane
from flatscan.surface.finding.masks import inside_mask, one_surface, things_on_floor
from flatscan.surface.finding.room import find_room
from flatscan.surface.finding.thinning import thin
from flatscan.surface.noise.denoise import best_estimate
from flatscan.surface.noise.noise import calibrated_white, estimate_noise, split_views
from flatscan.surface.planes import Plane, fit_robust
from flatscan.surface.slope import slope_against
from flatscan.surface.surface import NoiseModel, Slope, Surface
from flatscan.surface.views.views import correlated_scale, views_aligned

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.progress import Progress
    from flatscan.settings import SurfaceSettings
    from flatscan.sources.scan import Scan, ScanKind

_TRIAL_CELL_MM = 50.0
_VIEWS_TRIED = 5
#: Depth cameras smooth over some pixels, so the foot of a wall lifts the floor this far before it (invented rooms
#: seen by a typical phone: +2 mm on average within 80 mm, 95 % under 6 mm; nothing beyond 100 mm).
SMEAR_MM: dict[ScanKind, float] = {"depth_frames": 90.0}


def find_surface(
    scan: Scan, settings: SurfaceSettings, *, seed_rng: np.random.Generator, progress: Progress = SILENT
) -> Surface:
    """The floor of a capture as a height map on its reference plane.

    Floor plane, floor frame with outline, grid, reference plane taken off, noise, things on the floor left
    out, best estimate, slope.

    Parameters
    ----------
    seed_rng : source of chance for the sampling inside; the same state gives the same surface

    Raises
    ------
    InputError : no floor in view, too little of it seen, too few points or all on a line
    """
    doubts.refuse_unusable(scan)
    steps = progress.track(range(4), label="finding the floor", total=4)

    next(steps)
    rows = thin(scan.points_mm, seed_rng)
    cloud = _cloud(scan, rows)
    floor = find_floor_plane(cloud, scan.up, seed_rng, reach_mm=0.5 * settings.band_mm)
    if floor is None and scan.up is not None and not scan.gravity_known:
        floor = find_floor_plane(cloud, None, seed_rng, reach_mm=0.5 * settings.band_mm)
    floor = doubts.refuse_no_floor(scan, floor)

    next(steps)
    room = find_room(scan.points_mm, cloud.points_mm, floor, seed_rng, band_mm=settings.band_mm)
    doubts.refuse_small(scan, room.area_m2)
    doubts.refuse_sparse(scan, room.density_per_m2)

    scan = views_aligned(scan, room, band_mm=settings.band_mm)
    next(steps)
    cell_mm, cell_inference = _cell(scan, settings, room.floor_from_points, room.size_mm, room.density_per_m2)
    grid = _grid(room.size_mm, cell_mm)
    strip_mm = max(settings.skirting_mm, SMEAR_MM.get(scan.kind, 0.0))
    inside = inside_mask(room.outline, grid, skirting_mm=strip_mm)
    stats, view_stats = _gridded(scan, room.floor_from_points, grid, settings)
    judged = inside & one_surface(np.where(inside, stats.spread_mm, np.float32(np.nan)))
    stats = _only(stats, inside)
    doubts.refuse_unseen(scan, float(np.isfinite(stats.height_mm).sum()) / max(1, int(inside.sum())), settings)

    next(steps)
    plane = _reference_plane(_only(stats, judged), grid)
    stats = _off_plane(stats, grid, plane)
    noise = estimate_noise(
        _only(stats, judged),
        cell_mm=cell_mm,
        kind=scan.kind,
        view_stats=[_off_plane(_only(one, judged), grid, plane) for one in view_stats],
        step_mm=scan.step_mm,
        systematic_mm=settings.systematic_mm,
        one_station=scan.kind == "cloud" and doubts.view_count(scan) == 1,
    )
    covered, things = things_on_floor(
        stats.height_mm,
        grid,
        sigma_mm=float(np.hypot(noise.white_mm, noise.correlated_mm)),
        standing=room.standing_on(grid),
    )
    stats = _only(stats, judged & ~covered)
    scale = correlated_scale(scan, room.floor_from_points, grid, np.isfinite(stats.height_mm), band_mm=settings.band_mm)
    height_mm, white_mm, estimate_mm, noise = _estimated(stats, inside, noise, cell_mm, scale)
    floor_from_points = frame.lay_on(plane.a, plane.b, plane.c) @ room.floor_from_points
    seen = np.isfinite(height_mm)
    return Surface(
        height_mm=height_mm,
        estimate_mm=estimate_mm,
        white_mm=white_mm,
        count=stats.count,
        inside=inside,
        cell_mm=cell_mm,
        origin_mm=grid.origin_mm,
        floor_from_scan=floor_from_points @ frame.shift(-scan.origin_mm),
        outline=room.outline,
        noise=noise,
        slope=_slope(scan, floor_from_points, seen, cell_mm, noise),
        kind=scan.kind,
        strip_mm=strip_mm,
        correlated_scale=scale,
        inferences=(
            *scan.inferences,
            cell_inference,
            f"a strip of {said.cell(strip_mm)} along the walls is not judged",
            doubts.sentence_of_frame(room.outline),
        ),
        caveats=(
            *scan.caveats,
            *doubts.doubts(
                scan,
                floor,
                noise,
                seen_share=float(seen.sum()) / max(1, int(inside.sum())),
                cell_mm=cell_mm,
                band_mm=settings.band_mm,
                left_out_m2=room.left_out_m2,
                things=things,
            ),
        ),
    )


def _cloud(scan: Scan, rows: NDArray[np.int64]) -> Cloud:
    """The thinned points with what is known of the places they were seen from."""
    looks = None
    if scan.frames:
        # Column 3 of a camera's rotation is its viewing direction (OpenCV axes: z forward).
        looks = np.stack([shot.scan_from_camera[:3, 2] for shot in scan.frames])
    return Cloud(
        scan.points_mm[rows].astype(np.float64),
        scan.viewpoints_mm,
        None if scan.view_of_point is None else scan.view_of_point[rows],
        looks,
    )


def _grid(size_mm: tuple[float, float], cell_mm: float) -> GridSpec:
    cols, rows = (max(1, int(np.ceil(length / cell_mm))) for length in size_mm)
    return GridSpec((0.0, 0.0), (rows, cols), cell_mm)


def _cell(
    scan: Scan,
    settings: SurfaceSettings,
    floor_from_points: NDArray[np.float64],
    size_mm: tuple[float, float],
    density_per_m2: float,
) -> tuple[float, str]:
    """The cell asked for, or the one that density and scatter of the points allow, with a sentence."""
    if settings.cell_mm is not None:
        return settings.cell_mm, f"grid cell {said.cell(settings.cell_mm)}: as asked"
    grid = _grid(size_mm, _TRIAL_CELL_MM)
    trial = grid_points(scan.points_mm, floor_from_points, grid, band_mm=settings.band_mm, step_mm=scan.step_mm)
    spread = trial.spread_mm[np.isfinite(trial.spread_mm) & ~trial.flagged]
    sigma_mm = float(np.median(spread)) if len(spread) else scan.step_mm
    spacing_mm = _one_view_spacing_mm(scan, floor_from_points, grid, settings.band_mm)
    cell_mm, why = choose_cell_mm(density_per_m2, sigma_mm, spacing_mm=spacing_mm)
    return cell_mm, f"grid cell {said.cell(cell_mm)}: {why}"


def _one_view_spacing_mm(
    scan: Scan, floor_from_points: NDArray[np.float64], grid: GridSpec, band_mm: float
) -> float | None:
    """Distance of neighbouring floor points of one view, median over a few views; None where views are unknown."""
    if scan.view_of_point is None:
        return None
    views = np.unique(scan.view_of_point[:: max(1, len(scan.view_of_point) // 100_000)])
    tried = views[np.linspace(0, len(views) - 1, min(_VIEWS_TRIED, len(views))).astype(int)]
    spacings = []
    for view in tried:
        rows = np.flatnonzero(scan.view_of_point == view)
        alone = grid_points(scan.points_mm[rows], floor_from_points, grid, band_mm=band_mm)
        filled = alone.count[alone.count > 0]
        if len(filled):
            spacings.append(grid.cell_mm / float(np.sqrt(np.median(filled))))
    return float(np.median(spacings)) if spacings else None


def _gridded(
    scan: Scan, floor_from_points: NDArray[np.float64], grid: GridSpec, settings: SurfaceSettings
) -> tuple[CellStats, list[CellStats]]:
    """All points together, and two groups of views apart where there is more than one place to have seen it from."""
    first = np.zeros(0, dtype=bool)
    if scan.view_of_point is not None and doubts.view_count(scan) != 1:
        first = split_views(scan.view_of_point)
    groups = [first, ~first] if len(first) and first.any() and not first.all() else []
    together, *apart = (
        grid_points(
            scan.points_mm,
            floor_from_points,
            grid,
            band_mm=settings.band_mm,
            weight=scan.weight,
            select=select,
            step_mm=scan.step_mm,
        )
        for select in [None, *groups]
    )
    return together, apart


def _only(stats: CellStats, cells: NDArray[np.bool_]) -> CellStats:
    """The same with nothing known outside ``cells``."""
    return CellStats(
        height_mm=np.where(cells, stats.height_mm, np.float32(np.nan)),
        spread_mm=np.where(cells, stats.spread_mm, np.float32(np.nan)),
        white_mm=np.where(cells, stats.white_mm, np.float32(np.nan)),
        count=np.where(cells, stats.count, np.int32(0)),
        flagged=stats.flagged & cells,
    )


def _estimated(
    stats: CellStats,
    inside: NDArray[np.bool_],
    noise: NoiseModel,
    cell_mm: float,
    scale: NDArray[np.float32] | None,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NoiseModel]:
    """Heights, their white uncertainty and the best estimate, poor cells helped by their neighbours; the noise then."""
    height_mm, white_mm = stats.height_mm, calibrated_white(stats.white_mm, noise)
    estimate_mm = best_estimate(height_mm, white_mm, inside, noise, cell_mm, scale)
    if not poor_cells(white_mm).any():
        return height_mm, white_mm, estimate_mm, noise
    height_mm, white_mm = pooled(height_mm, white_mm, estimate_mm)
    noise = replace(noise, white_mm=float(np.sqrt(np.nanmean(np.square(white_mm, dtype=np.float64)))))
    return height_mm, white_mm, best_estimate(height_mm, white_mm, inside, noise, cell_mm, scale), noise


def _reference_plane(stats: CellStats, grid: GridSpec) -> Plane:
    """Robust least-squares plane of the cells (the LSPL of ISO 12781-1 where nothing stands out)."""
    row, col = np.nonzero(np.isfinite(stats.height_mm))
    x, y = _centres(row, col, grid)
    return fit_robust(x, y, stats.height_mm[row, col]).plane


def _off_plane(stats: CellStats, grid: GridSpec, plane: Plane) -> CellStats:
    """Heights as deviations from the plane along its normal."""
    row, col = np.indices(grid.shape)
    x, y = _centres(row, col, grid)
    return replace(stats, height_mm=plane.normal_mm(x, y, stats.height_mm).astype(np.float32))


def _centres(
    row: NDArray[np.int64], col: NDArray[np.int64], grid: GridSpec
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x0, y0 = grid.origin_mm
    x = x0 + (col + 0.5) * grid.cell_mm
    y = y0 + (row + 0.5) * grid.cell_mm
    return np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)


def _slope(
    scan: Scan, floor_from_points: NDArray[np.float64], seen: NDArray[np.bool_], cell_mm: float, noise: NoiseModel
) -> Slope | None:
    if scan.up is None or not scan.gravity_known:
        return None
    return slope_against(floor_from_points[:3, :3] @ scan.up, seen, cell_mm, noise, scan.kind)
