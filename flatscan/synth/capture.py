"""Walk a depth camera through a room: frames as the device would record them, beside the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.synth.paint import Paint, colours
from flatscan.synth.rays import cast
from flatscan.synth.sensors.depth import draw_unit, read_depth

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from flatscan.synth.camera import Pinhole
    from flatscan.synth.scene import Scene
    from flatscan.synth.sensors.depth import DepthSensor


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One recorded frame.

    ``depth_mm`` (rows, cols) float64, 0 no data; ``confidence`` (rows, cols) uint8, 0 to 2; ``photo``
    (rows, cols, 3) uint8 or None; ``room_from_camera`` the pose the device believes, OpenCV axes.
    """

    depth_mm: NDArray[np.float64]
    confidence: NDArray[np.uint8]
    photo: NDArray[np.uint8] | None
    room_from_camera: NDArray[np.float64]


def true_depth(
    scene: Scene, camera: Pinhole, room_from_camera: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """True z depth in mm (inf: nothing met) and cosine of incidence, both (rows, cols)."""
    ray = camera.rays() @ room_from_camera[:3, :3].T
    hits = cast(scene, room_from_camera[:3, 3], ray)
    shape = (camera.height, camera.width)
    return hits.distance.reshape(shape), hits.cos_incidence(ray).reshape(shape)


def photograph(scene: Scene, paint: Paint, camera: Pinhole, room_from_camera: NDArray[np.float64]) -> NDArray[np.uint8]:
    """A colour photo (rows, cols, 3) uint8, without noise."""
    ray = camera.rays() @ room_from_camera[:3, :3].T
    hits = cast(scene, room_from_camera[:3, 3], ray)
    met = np.where(np.isfinite(hits.distance), hits.distance, 1000.0)
    rgb = colours(scene.floor, paint, room_from_camera[:3, 3] + met[:, None] * ray, hits, met / camera.focal)
    return np.rint(255.0 * rgb).astype(np.uint8).reshape(camera.height, camera.width, 3)


def capture_frames(
    scene: Scene,
    true_poses: Sequence[NDArray[np.float64]],
    recorded: Sequence[NDArray[np.float64]],
    *,
    sensor: DepthSensor,
    camera: Pinhole,
    rng: np.random.Generator,
    paint: Paint | None = None,
    photo_camera: Pinhole | None = None,
) -> Iterator[Frame]:
    """Yield a frame for every pose, all from one device. Photos need ``paint`` and ``photo_camera``.

    Frames are taken far enough apart for their noise to be independent, but for the device's fixed part.
    """
    unit = draw_unit(sensor, (camera.height, camera.width), rng)
    for pose, believed in zip(true_poses, recorded, strict=True):
        depth, cos = true_depth(scene, camera, pose)
        photo = tone = None
        if paint is not None and photo_camera is not None:
            photo = photograph(scene, paint, photo_camera, pose)
            tone = at_depth_pixels(photo, camera)
        reading = read_depth(unit, depth, cos, rng, tone=tone)
        yield Frame(reading.depth_mm, reading.confidence, photo, believed)


def at_depth_pixels(photo: NDArray[np.uint8], camera: Pinhole) -> NDArray[np.float64]:
    """Brightness 0 to 1 of the photo pixel nearest to each depth pixel (one view, another size)."""
    rows = ((np.arange(camera.height) + 0.5) * photo.shape[0] / camera.height).astype(int)
    cols = ((np.arange(camera.width) + 0.5) * photo.shape[1] / camera.width).astype(int)
    return np.asarray(photo[rows[:, None], cols[None, :]].mean(axis=2) / 255.0, dtype=np.float64)
