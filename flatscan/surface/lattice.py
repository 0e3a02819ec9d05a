"""A levels table as a surface: every reading a node of a coarse lattice, never a cell of many points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import caveat
from flatscan.errors import InputError
from flatscan.surface import doubts
from flatscan.surface.cells.gridding import CellStats
from flatscan.surface.finding import frame
from flatscan.surface.finding.outline import area_mm2
from flatscan.surface.noise.noise import ASSUMED_READING_MM, estimate_noise
from flatscan.surface.planes import fit_robust
from flatscan.surface.slope import slope_against
from flatscan.surface.spread_readings import interpolated_nodes
from flatscan.surface.surface import Surface

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.caveats import Caveat
    from flatscan.settings import SurfaceSettings
    from flatscan.sources.scan import Scan

#: Readings this share of the spacing off their node are still on it: set out with a tape, not with a laser.
_OFF_NODE = 0.1
#: Spacings along x and y that differ by less than this share are one spacing.
_SAME_SPACING = 0.01
_LEAST_NODES = 4
#: A wave shorter than this many spacings can slip between the readings.
SMALLEST_WAVE = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Heights on a lattice along the axes of its frame.

    ``height_mm``, ``sigma_mm`` (rows, cols) float64, NaN where nothing was read; ``floor_from_points`` to the
    frame whose cell [0, 0] has its outer corner at (0, 0); ``spacing_mm``; ``interpolated``.
    """

    height_mm: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]
    count: NDArray[np.int32]
    floor_from_points: NDArray[np.float64]
    spacing_mm: float
    interpolated: bool


def lattice_surface(scan: Scan, settings: SurfaceSettings) -> Surface:
    """Surface of a levels table: ``lattice`` True, a cell for each node, the spacing its side.

    The frame's origin is the corner reading. Readings on a regular grid (also a turned one) stay as read. Where
    spacings differ by more than 1 %, or readings lie off any grid, heights are interpolated linearly between
    neighbours onto the usual spacing and their uncertainty grows by what interpolation misses at readings left out.
    Each node is a cell of one spacing for the maths; the outline, and with it the area, ends at the outermost
    readings, for beyond them nothing is known.
    """
    up = scan.up if scan.up is not None else np.array([0.0, 0.0, 1.0])
    sigma_mm = ASSUMED_READING_MM if scan.sample_sigma_mm is None else scan.sample_sigma_mm
    nodes = find_nodes(scan, up, sigma_mm)
    inside = _inside(np.isfinite(nodes.height_mm))
    row, col = np.nonzero(np.isfinite(nodes.height_mm))
    x, y = (col + 0.5) * nodes.spacing_mm, (row + 0.5) * nodes.spacing_mm
    plane = fit_robust(x, y, nodes.height_mm[row, col]).plane
    height = np.full(inside.shape, np.nan, dtype=np.float32)
    height[row, col] = plane.normal_mm(x, y, nodes.height_mm[row, col])
    white = np.where(np.isfinite(height), nodes.sigma_mm, np.nan).astype(np.float32)
    seen = np.isfinite(height)
    seen_share = float(seen.sum()) / int(inside.sum())
    doubts.refuse_unseen(scan, seen_share, settings)
    noise = estimate_noise(
        CellStats(height, np.full_like(height, np.nan), white, nodes.count, np.zeros(inside.shape, dtype=bool)),
        cell_mm=nodes.spacing_mm,
        kind=scan.kind,
        step_mm=scan.step_mm,
        systematic_mm=settings.systematic_mm,
        sample_sigma_mm=float(np.sqrt(np.nanmean(np.square(white, dtype=np.float64)))),
    )
    half = 0.5 * nodes.spacing_mm
    floor_from_points = (
        frame.shift(np.array([-half, -half, 0.0])) @ frame.lay_on(plane.a, plane.b, plane.c) @ nodes.floor_from_points
    )
    slope = None
    if scan.gravity_known:
        slope = slope_against(floor_from_points[:3, :3] @ up, seen, nodes.spacing_mm, noise, scan.kind)
    return Surface(
        height_mm=height,
        estimate_mm=height.copy(),
        white_mm=white,
        count=nodes.count,
        inside=inside,
        cell_mm=nodes.spacing_mm,
        origin_mm=(-half, -half),
        floor_from_scan=floor_from_points @ frame.shift(-scan.origin_mm),
        outline=_outline(inside, nodes.spacing_mm),
        noise=noise,
        slope=slope,
        kind=scan.kind,
        lattice=True,
        inferences=(
            *scan.inferences,
            f"levels lattice: {int(seen.sum())} nodes {nodes.spacing_mm:.0f} mm apart, the floor ends at the outermost",
        ),
        caveats=(*scan.caveats, *_doubts(scan, nodes, seen_share)),
    )


def find_nodes(scan: Scan, up: NDArray[np.float64], sigma_mm: float) -> Nodes:
    """Fit a square lattice to the readings, or interpolate onto one."""
    level = frame.frame_on_plane(up, 0.0)
    xyz = frame.apply(level, scan.points_mm)
    if len(np.unique(np.round(xyz[:, :2]), axis=0)) < _LEAST_NODES:
        raise InputError(
            doubts.name_of(scan),
            "fewer than four places were read",
            "A floor takes four readings that are not on a line",
        )
    angle, spacing = _lattice_of(xyz[:, :2])
    turned = frame.turn(angle) @ level
    xyz = frame.apply(turned, scan.points_mm)
    longer_y = np.ptp(xyz[:, 1]) > np.ptp(xyz[:, 0]) + 0.5 * min(spacing)
    if longer_y:
        turned, spacing = frame.turn(-np.pi / 2) @ turned, (spacing[1], spacing[0])
        xyz = frame.apply(turned, scan.points_mm)
    low = xyz[:, :2].min(axis=0)
    index = _indices(xyz[:, :2], spacing)
    if index is not None and abs(spacing[0] / spacing[1] - 1.0) <= _SAME_SPACING:
        step = float(np.mean(spacing))
        corner = np.mean(xyz[:, :2] - index * step, axis=0) - 0.5 * step
        return _on_nodes(xyz[:, 2], index, step, frame.shift(np.array([*-corner, 0.0])) @ turned, sigma_mm)
    step = float(min(spacing)) if index is not None else float(np.median(_nearest_mm(xyz[:, :2])))
    corner = low - 0.5 * step
    height, sigma, count = interpolated_nodes(xyz, corner, step, sigma_mm)
    return Nodes(height, sigma, count, frame.shift(np.array([*-corner, 0.0])) @ turned, step, interpolated=True)


def _on_nodes(
    z: NDArray[np.float64],
    index: NDArray[np.int64],
    step: float,
    floor_from_points: NDArray[np.float64],
    sigma_mm: float,
) -> Nodes:
    """Readings on their nodes; a node read twice has the mean."""
    cols, rows = index.max(axis=0) + 1
    key = index[:, 1] * cols + index[:, 0]
    count = np.bincount(key, minlength=rows * cols)
    total = np.bincount(key, weights=z, minlength=rows * cols)
    read = np.where(count > 0, count, np.nan)
    return Nodes(
        (total / read).reshape(rows, cols),
        (sigma_mm / np.sqrt(read)).reshape(rows, cols),
        count.astype(np.int32).reshape(rows, cols),
        floor_from_points,
        step,
        interpolated=False,
    )


def _nearest_mm(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance of each place to its nearest other place."""
    from scipy.spatial import cKDTree

    places = np.unique(np.round(xy, 1), axis=0)
    distance: NDArray[np.float64] = cKDTree(places).query(places, k=2)[0][:, 1]
    return distance


def _lattice_of(xy: NDArray[np.float64]) -> tuple[float, tuple[float, float]]:
    """Direction (in [0, π/2)) and spacings of the grid that the steps between neighbours suggest.

    The mean of exp(4iφ) over the steps to near neighbours gives the direction up to right angles.
    """
    from scipy.spatial import cKDTree

    places = np.unique(np.round(xy, 1), axis=0)
    reach = 1.2 * float(np.median(_nearest_mm(xy)))
    pairs = cKDTree(places).query_pairs(reach, output_type="ndarray")
    steps = places[pairs[:, 1]] - places[pairs[:, 0]]
    angle = float(np.angle(np.exp(4j * np.arctan2(steps[:, 1], steps[:, 0])).mean()) / 4.0 % (np.pi / 2.0))
    if np.pi / 2 - angle < np.deg2rad(0.05):
        angle = 0.0
    c, s = np.cos(angle), np.sin(angle)
    turned = xy @ np.array([[c, -s], [s, c]])
    return angle, (_spacing(turned[:, 0], reach), _spacing(turned[:, 1], reach))


def _spacing(along: NDArray[np.float64], reach: float) -> float:
    """Usual distance between the lines that the readings fall on, seen end-on."""
    places = np.sort(along)
    gaps = np.diff(places)
    lines = np.split(places, np.flatnonzero(gaps > 0.25 * reach) + 1)
    middles = np.array([line.mean() for line in lines])
    return float(np.median(np.diff(middles))) if len(middles) > 1 else reach


def _indices(xy: NDArray[np.float64], spacing: tuple[float, float]) -> NDArray[np.int64] | None:
    """(n, 2) column and row of each reading, None where more than a few lie off the grid."""
    place = (xy - xy.min(axis=0)) / np.asarray(spacing)
    # The lowest reading may itself be off: the grid's phase is the middle of all.
    phase = np.angle(np.exp(2j * np.pi * place).mean(axis=0)) / (2 * np.pi)
    place = place - phase
    index: NDArray[np.int64] = np.round(place).astype(np.int64)
    if np.abs(place - index).max() > _OFF_NODE:
        return None
    from_first: NDArray[np.int64] = index - index.min(axis=0)
    return from_first


def _inside(read: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The floor's nodes: those read, those they enclose, and single ones missed between two in a row or column."""
    from scipy.ndimage import binary_closing, binary_fill_holes

    wide = np.pad(read, 1)
    inside = wide.copy()
    for line in (np.ones((1, 3), dtype=bool), np.ones((3, 1), dtype=bool)):
        inside |= binary_closing(wide, line)
    filled: NDArray[np.bool_] = binary_fill_holes(inside)[1:-1, 1:-1]
    return filled


def _outline(inside: NDArray[np.bool_], step: float) -> tuple[NDArray[np.float64], ...]:
    """Rings around what lies between the nodes, the exterior first: the floor reaches no further than its readings.

    The squares whose four corners are nodes; where there are none (a single row) the squares around the nodes.
    """
    from shapely import box, union_all
    from shapely.geometry import MultiPolygon

    between = inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:]
    row, col = np.nonzero(between)
    shift = 0.0
    if len(row) == 0:
        (row, col), shift = np.nonzero(inside), -0.5
    left, low = col + shift, row + shift
    # One product for each line: sums would differ in the last digit and leave slivers between the squares.
    whole = union_all(box(left * step, low * step, (left + 1) * step, (low + 1) * step)).simplify(0.0)
    parts = list(whole.geoms) if isinstance(whole, MultiPolygon) else [whole]
    main = max(parts, key=lambda part: abs(area_mm2(np.asarray(part.exterior.coords))))
    return tuple(np.array(ring.coords) for ring in (main.exterior, *main.interiors))


def _doubts(scan: Scan, nodes: Nodes, seen_share: float) -> tuple[Caveat, ...]:
    rows = [
        caveat("levels_spacing", spacing_m=nodes.spacing_mm / 1000.0, wave_m=SMALLEST_WAVE * nodes.spacing_mm / 1000.0)
    ]
    if nodes.interpolated:
        rows.append(caveat("levels_interpolated", spacing_m=nodes.spacing_mm / 1000.0))
    if not scan.gravity_known:
        rows.append(caveat("gravity_unknown"))
    if seen_share < 1.0:
        rows.append(caveat("partly_seen", percent=100.0 * (1.0 - seen_share)))
    return tuple(rows)
