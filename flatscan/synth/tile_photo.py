"""Photos of tiled floors as a phone makes them: edges, lens, light with direction, noise. Looks, from exact geometry.

A pixel on a plain face is one ray; where an edge, a joint or a shadow of one may lie, sixteen rays meet the faces,
rounded edges, sides and grout exactly, and each looks for the sun. Rooms are seen as empty, with bare walls.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.baked import GROUT, MORTAR, SIDE, WALL, bake
from flatscan.synth.camera import Pinhole
from flatscan.synth.photo_kernel import edges, faces
from flatscan.synth.plan_picture import developed
from flatscan.synth.tile_paint import grout_rgb, shade, stain_rgb, tile_rgb
from flatscan.synth.tiles import Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.synth.baked import Baked
    from flatscan.synth.rectangles import RectangleField
    from flatscan.synth.scene import Scene
    from flatscan.synth.tile_paint import TilePaint

#: A phone's colour camera, with the same view as its depth camera (62° wide, from memory).
PHONE_PHOTO = Pinhole(1920, 1440, 1590.0)

_WALL_RGB = np.array([0.62, 0.61, 0.58])
#: Mean brightness that the exposure aims at, linear; no pixel of a plain floor is to clip.
_AIM, _WHITE = 0.33, 0.85
#: Sixteen places in a pixel, no two in one column or row of sixteenths (Hammersley's set, base 2).
_ROOKS = np.array([(k + 0.5, int(f"{k:04b}"[::-1], 2) + 0.5) for k in range(16)]) / 16.0 - 0.5
#: Edge pixels worked on at once.
_AT_ONCE = 40_000
_ROWS_AT_ONCE = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Light on the floor: from everywhere, and from a sun that casts shadows.

    Attributes
    ----------
    sun : share of a level floor's light that comes from the sun
    elevation_rad, azimuth_rad : where the sun stands, the azimuth from the room's x
    strips : soft shadows of things in the light's way across the floor, as the paint has them
    """

    sun: float = 0.0
    elevation_rad: float = np.deg2rad(30.0)
    azimuth_rad: float = 0.0
    strips: bool = False

    @property
    def towards(self) -> NDArray[np.float64]:
        """(3,) unit vector to the sun."""
        flat = np.cos(self.elevation_rad)
        return np.array([flat * np.cos(self.azimuth_rad), flat * np.sin(self.azimuth_rad), np.sin(self.elevation_rad)])


LIGHTS: dict[str, Light] = {
    "diffuse": Light(),
    "shaded": Light(strips=True),
    "window": Light(sun=0.35, elevation_rad=np.deg2rad(40.0), azimuth_rad=0.6),
    "low sun": Light(sun=0.65, elevation_rad=np.deg2rad(18.0), azimuth_rad=0.6),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """What the camera adds.

    Attributes
    ----------
    blur_px : sigma of the lens
    noise : standard deviation of a channel at middle grey, 8-bit steps
    vignette : share of the light lost in the corners
    exposure_sd : spread of the exposure from photo to photo, as a share
    """

    blur_px: float = 1.0
    noise: float = 2.0
    vignette: float = 0.25
    exposure_sd: float = 0.08


def photograph_tiles(
    scene: Scene,
    paint: TilePaint,
    camera: Pinhole,
    room_from_camera: NDArray[np.float64],
    *,
    rng: np.random.Generator,
    light: Light = LIGHTS["diffuse"],
    lens: Lens | None = None,
    baked: Baked | None = None,
) -> NDArray[np.uint8]:
    """A photo (rows, cols, 3), gamma 2.2. ``room_from_camera``: (4, 4), OpenCV axes, looking down steeply.

    ``baked``: the floor laid out by ``bake``, to spare that work for a second photo.
    """
    lens = lens or Lens()
    linear = radiance(scene, paint, camera, room_from_camera, light=light, baked=baked)
    if lens.blur_px > 0:
        from cv2 import BORDER_REPLICATE, GaussianBlur

        linear = np.asarray(GaussianBlur(linear, (0, 0), lens.blur_px, borderType=BORDER_REPLICATE), dtype=np.float32)
    bright = linear[::4, ::4].mean(axis=2)
    exposure = min(_AIM / float(bright.mean()), _WHITE / float(np.quantile(bright, 0.99)))
    exposure *= float(np.exp(lens.exposure_sd * rng.standard_normal()))
    linear *= exposure * _vignette(camera, lens.vignette)[..., None]
    return developed(linear, lens.noise, rng)


def radiance(
    scene: Scene,
    paint: TilePaint,
    camera: Pinhole,
    room_from_camera: NDArray[np.float64],
    *,
    light: Light,
    baked: Baked | None = None,
) -> NDArray[np.float32]:
    """Linear light (rows, cols, 3) on the sensor, before the lens; a white level floor gives 1."""
    if scene.solids:
        raise ValueError("photos of tiled floors show empty rooms")
    b = bake(scene.floor) if baked is None else baked
    turn, at = np.ascontiguousarray(room_from_camera[:3, :3]), np.ascontiguousarray(room_from_camera[:3, 3])
    inner = np.array([camera.focal, *camera.centre])
    towards = light.towards
    throw = 1.0 / np.tan(light.elevation_rad) if light.sun > 0 else 0.0
    place, cell, edge = faces(b, turn, at, inner, throw, camera.height, camera.width)
    linear = np.empty((camera.height, camera.width, 3), dtype=np.float32)
    look = _Look(scene, paint, light)
    for first in range(0, camera.height, _ROWS_AT_ONCE):
        rows = slice(first, min(first + _ROWS_AT_ONCE, camera.height))
        linear[rows] = look.of_faces(place[rows], cell[rows])
    pixels = np.argwhere(edge)
    sun = light.sun / towards[2]
    for first in range(0, len(pixels), _AT_ONCE):
        some = pixels[first : first + _AT_ONCE]
        samples = edges(b, turn, at, inner, some, _ROOKS, towards, 1.0 - light.sun, sun)
        colour = look.of_samples(*samples)
        linear[some[:, 0], some[:, 1]] = colour.reshape(len(some), len(_ROOKS), 3).mean(axis=1)
    return linear


class _Look:
    """Colours of places on the floor under one light."""

    def __init__(self, scene: Scene, paint: TilePaint, light: Light) -> None:
        from typing import cast

        self.field = cast("RectangleField", scene.floor.tiles)
        self.paint, self.strips = paint, light.strips

    def of_faces(self, place: NDArray[np.float64], cell: NDArray[np.int64]) -> NDArray[np.float32]:
        """Whole faces in full light; walls where the cell is −1."""
        code = np.where(cell < 0, WALL, np.where(self.field.mortar[cell], MORTAR, 0)).astype(np.int8)
        full = np.ones(code.size, dtype=np.float32)
        return self.of_samples(place.reshape(-1, 2), cell.ravel(), code.ravel(), full).reshape(*cell.shape, 3)

    def of_samples(
        self, place: NDArray[np.float64], cell: NDArray[np.int64], code: NDArray[np.int8], shine: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """Albedo times light, (n, 3)."""
        x, y = place[:, 0], place[:, 1]
        u, v = self.field.field_from_room(x, y)
        corner = self.field.cell_mm[cell]
        at = Place(cell, np.zeros_like(cell), u - corner[:, 0], v - corner[:, 1])
        colour = tile_rgb(self.paint, self.field, at)
        side = code == SIDE
        colour[side] *= (self.paint.body_rgb / self.paint.tile_rgb).astype(np.float32)
        filled = (code == GROUT) | (code == MORTAR)
        colour[filled] = grout_rgb(self.paint, x[filled], y[filled])
        colour *= stain_rgb(self.paint, x, y) * shine[:, None]
        if self.strips:
            colour *= shade(self.paint, x, y)[:, None]
        beyond = code == WALL
        colour[beyond] = _WALL_RGB.astype(np.float32) * 0.8
        return colour


def _vignette(camera: Pinhole, lost: float) -> NDArray[np.float32]:
    """Share of the light (rows, cols), 1 in the middle and 1 − lost in the corners, by the square of the distance."""
    cx, cy = camera.centre
    r2 = ((np.arange(camera.width) - cx)[None, :] ** 2 + (np.arange(camera.height) - cy)[:, None] ** 2) / (
        cx**2 + cy**2
    )
    return np.asarray(1.0 - lost * r2, dtype=np.float32)
