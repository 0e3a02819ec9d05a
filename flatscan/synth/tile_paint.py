"""What tiles, grout and mortar look like: tones, mottle, prints, stains, shadows on the floor. Looks only, no truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from flatscan.synth.rectangles import RectangleField

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.tiles import Place, Tiles

#: Albedos, linear. The pairs are those of old floors: red-brown and cream tiles, grey and near-white ones.
_TILES = {
    "cream": (0.58, 0.50, 0.38),
    "terracotta": (0.36, 0.17, 0.10),
    "grey": (0.30, 0.30, 0.29),
    "white": (0.70, 0.69, 0.66),
}
_GROUTS = {"light": (0.52, 0.50, 0.46), "dark": (0.085, 0.08, 0.075)}
_BODY_SHARE = 0.7
_KINDS = 256
_FIELD = 512
_FIELD_MM = 0.6
_PRINT = 256
#: Grout lies deeper and sees less of the sky.
_IN_JOINT = 0.85

Grout = Literal["light", "dark"]


@dataclass(frozen=True, slots=True, eq=False)
class TilePaint:
    """Albedos are linear, 0 to 1.

    Attributes
    ----------
    tile_rgb, grout_rgb, body_rgb : (3,) face, joint and side of a tile
    kind_rgb : (256, 3) factors, one for each of 256 kinds of tile; tiles take a kind by their place
    mottle : (512, 512) float32 periodic field of unit spread, 0.6 mm a value; each tile shows another part
    mottle_sd, grain_sd, grout_sd : spread of the tone over a tile, from grain to grain, and in the grout
    motif : (256, 256) float32, 0 to 1, over a tile: share of ``motif_rgb``; None for plain tiles
    stain_mm : (k, 3) x, y, radius; ``stain_rgb`` (k, 3) factors within
    shade : (m, 5) strips in the shadow of something: nx, ny, offset mm, width mm, softness mm; ``shade_depth`` the
        share of light lost there
    """

    tile_rgb: NDArray[np.float64]
    grout_rgb: NDArray[np.float64]
    body_rgb: NDArray[np.float64]
    kind_rgb: NDArray[np.float64]
    mottle: NDArray[np.float32]
    mottle_sd: float
    grain_sd: float
    grout_sd: float
    motif: NDArray[np.float32] | None
    motif_rgb: NDArray[np.float64]
    stain_mm: NDArray[np.float64]
    stain_rgb: NDArray[np.float64]
    shade: NDArray[np.float64]
    shade_depth: float


def draw_tile_paint(
    rng: np.random.Generator,
    *,
    tile: str | None = None,
    grout: Grout | None = None,
    printed: bool = False,
    stains: int = 2,
    tone_sd: float = 0.05,
    mottle_sd: float = 0.05,
    grain_sd: float = 0.02,
    area_mm: tuple[float, float] = (2200.0, 1700.0),
) -> TilePaint:
    """Choose looks by chance; ``tile`` is one of cream, terracotta, grey, white, chosen too if None."""
    tile_rgb = np.array(_TILES[tile or str(rng.choice(list(_TILES)))])
    light = tile_rgb.mean() > 0.4  # noqa: PLR2004 - contrast with the tile unless told otherwise
    grout_rgb = np.array(_GROUTS[grout or ("dark" if light else "light")])
    tint = 1.0 + tone_sd * rng.standard_normal((_KINDS, 1)) + 0.3 * tone_sd * rng.standard_normal((_KINDS, 3))
    where = rng.uniform(0.05, 0.95, (stains, 2)) * np.array(area_mm)
    size = rng.uniform(40.0, 180.0, (stains, 1))
    angle = rng.uniform(0.0, np.pi, 2)
    place = rng.uniform(0.2, 0.8, 2) * float(np.mean(area_mm))
    return TilePaint(
        tile_rgb=tile_rgb,
        grout_rgb=grout_rgb * rng.uniform(0.85, 1.15),
        body_rgb=tile_rgb * _BODY_SHARE,
        kind_rgb=np.clip(tint, 0.5, 1.35),
        mottle=_mottle(rng),
        mottle_sd=mottle_sd,
        grain_sd=grain_sd,
        grout_sd=0.08,
        motif=_motif(rng) if printed else None,
        motif_rgb=tile_rgb * np.array([0.25, 0.35, 0.5]) if light else np.array([0.6, 0.55, 0.45]),
        stain_mm=np.column_stack([where, size]),
        stain_rgb=rng.uniform(0.5, 0.85, (stains, 1)) * np.array([[1.0, 0.94, 0.85]]),
        shade=np.column_stack(
            [np.cos(angle), np.sin(angle), place, rng.uniform(40.0, 300.0, 2), rng.uniform(4.0, 25.0, 2)]
        ),
        shade_depth=float(rng.uniform(0.35, 0.6)),
    )


def _mottle(rng: np.random.Generator) -> NDArray[np.float32]:
    """Clouds of three sizes, periodic, of unit spread."""
    from scipy.ndimage import gaussian_filter

    total = np.zeros((_FIELD, _FIELD))
    for sigma, share in ((3.0, 0.4), (12.0, 0.7), (40.0, 0.6)):
        cloud = gaussian_filter(rng.standard_normal((_FIELD, _FIELD)), sigma, mode="wrap")
        total += share * cloud / cloud.std()
    return np.asarray((total - total.mean()) / total.std(), dtype=np.float32)


def _motif(rng: np.random.Generator) -> NDArray[np.float32]:
    """An ornament symmetric about the tile's middle: a ring, a star or quarter circles, a border; soft by a pixel."""
    from scipy.ndimage import gaussian_filter

    axis = (np.arange(_PRINT) + 0.5) / _PRINT * 2.0 - 1.0
    x, y = np.abs(axis[None, :]), np.abs(axis[:, None])
    ring = np.abs(np.hypot(x, y) - rng.uniform(0.35, 0.6)) < rng.uniform(0.04, 0.1)
    star = np.sqrt(x) + np.sqrt(y) < rng.uniform(0.6, 0.9)
    quarter = np.abs(np.hypot(1.0 - x, 1.0 - y) - rng.uniform(0.3, 0.5)) < rng.uniform(0.05, 0.12)
    edge = np.abs(np.maximum(x, y) - rng.uniform(0.8, 0.88)) < rng.uniform(0.01, 0.03)
    shown = [part for part in (ring, star, quarter, edge) if rng.random() < 0.6] or [ring]  # noqa: PLR2004
    return np.asarray(gaussian_filter(np.any(shown, axis=0).astype(np.float32), 1.0), dtype=np.float32)


def place_rgb(
    paint: TilePaint, floor: InventedFloor, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], soft_mm: float = 0.0
) -> NDArray[np.float32]:
    """Albedo (n, 3) of the floor as seen from above, stains and all; edges at the tiles' walls, over ``soft_mm``."""
    tiles = floor.tiles
    if tiles is None:
        colour = grout_rgb(paint, x_mm, y_mm)
    else:
        at = tiles.place(x_mm, y_mm)
        colour = tile_rgb(paint, tiles, at)
        share = np.clip(0.5 + tiles.wall_distance_mm(at) / max(soft_mm, 1e-6), 0.0, 1.0).astype(np.float32)
        if isinstance(tiles, RectangleField):
            share[tiles.mortar[at.row]] = 0.0
        mixed = share < 1.0
        part = share[mixed][:, None]
        colour[mixed] = part * colour[mixed] + (1.0 - part) * _IN_JOINT * grout_rgb(paint, x_mm[mixed], y_mm[mixed])
    colour *= stain_rgb(paint, x_mm, y_mm)
    return colour


def tile_rgb(paint: TilePaint, tiles: Tiles, at: Place) -> NDArray[np.float32]:
    """Albedo (n, 3) of the face at places on tiles."""
    kind = (at.row * 131 + at.col * 17 + 7) % _KINDS
    # Each kind of tile shows its own part of the field.
    u, v = at.u_mm + 37.0 * kind, at.v_mm + 61.0 * kind
    tone = 1.0 + paint.mottle_sd * _look_up(paint.mottle, u, v, _FIELD_MM)
    tone += paint.grain_sd * _look_up(paint.mottle, u, v, _FIELD_MM / 6.0)
    rgb = paint.tile_rgb * paint.kind_rgb
    colour = np.asarray(rgb[kind] * tone[..., None], dtype=np.float32)
    if paint.motif is not None:
        across, along = tiles.share_of_tile(at)
        inside = np.clip(across, 0.0, 1.0) * _PRINT - 0.5, np.clip(along, 0.0, 1.0) * _PRINT - 0.5
        share = _bilinear(paint.motif, *inside)[..., None]
        colour = colour * (1.0 - share) + share * np.asarray(paint.motif_rgb * tone[..., None], dtype=np.float32)
    return np.asarray(colour, dtype=np.float32)


def grout_rgb(paint: TilePaint, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float32]:
    """Albedo (n, 3) of grout and mortar at places of the room."""
    tone = 1.0 + paint.grout_sd * _look_up(paint.mottle, x_mm, y_mm, _FIELD_MM / 3.0)
    return np.asarray(paint.grout_rgb * tone[..., None], dtype=np.float32)


def stain_rgb(paint: TilePaint, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float32]:
    """Factors (n, 3) of the stains, over tiles and joints alike."""
    factor = np.ones((*np.shape(x_mm), 3), dtype=np.float32)
    if len(paint.stain_mm) == 0:
        return factor
    ragged = 1.0 + 0.12 * _look_up(paint.mottle, x_mm, y_mm, 2.5 * _FIELD_MM)
    for (x, y, radius), rgb in zip(paint.stain_mm, paint.stain_rgb, strict=True):
        away = np.hypot(x_mm - x, y_mm - y) / radius
        near = away < 2.0  # noqa: PLR2004 - beyond it the stain is nothing
        share = 1.0 / (1.0 + np.exp(np.minimum(12.0 * (away[near] * ragged[near] - 1.0), 30.0)))
        factor[near] *= np.asarray(1.0 - share[:, None] * (1.0 - rgb), dtype=np.float32)
    return factor


def shade(paint: TilePaint, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> NDArray[np.float32]:
    """Share of the light (n,) left by what stands in its way: strips with soft edges."""
    lit = np.ones(np.shape(x_mm), dtype=np.float32)
    for nx, ny, offset, width, soft in paint.shade:
        away = np.abs(nx * x_mm + ny * y_mm - offset) - 0.5 * width
        lit *= np.asarray(1.0 - paint.shade_depth / (1.0 + np.exp(np.clip(away / (0.25 * soft), -30.0, 30.0))))
    return lit


def _look_up(
    values: NDArray[np.float32], x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], step_mm: float
) -> NDArray[np.float32]:
    """Periodic field between its values."""
    return _bilinear(values, x_mm / step_mm, y_mm / step_mm)


def _bilinear(values: NDArray[np.float32], col: NDArray[np.float64], row: NDArray[np.float64]) -> NDArray[np.float32]:
    from flatscan.synth.bilinear import between

    shape = np.shape(col)
    return between(values, np.ravel(col), np.ravel(row)).reshape(shape)
