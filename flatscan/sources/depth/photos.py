"""Photos of a posed capture: what a file says of itself, whose pixels the camera numbers are for, and the pixels.

Pixels are read as they are stored. An EXIF turn tells how a photo is meant to be shown; it is never applied to the
pixels, only, where it must be, to the camera numbers (EXIF 2.32, tag 0x0112).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.sources.depth.camera import ASPECT_TOLERANCE, Camera
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray
    from PIL.Image import Image

    from flatscan.sources.scan import PosedFrame

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP")
#: A photo declared larger than this is refused unread.
MAX_PIXELS = 250_000_000
_ORIENTATION_TAG = 0x0112
#: EXIF orientation to quarter turns clockwise that show the photo upright; the others mirror.
_QUARTERS = {1: 0, 6: 1, 3: 2, 8: 3}
_ADVICE, _COPY = "Save it as JPEG or PNG", "Copy it again, or leave it out"


@dataclass(frozen=True, slots=True)
class PhotoHeader:
    """(width, height) as stored, and the EXIF orientation, 1 to 8 (1: shown as stored, or nothing is said)."""

    size: tuple[int, int]
    orientation: int = 1


def open_photo(path: Path) -> Image:
    """The picture, undecoded; raises what Pillow raises.

    Only formats of photos are tried, whatever the name says: to show some others (EPS) a program would be started.
    """
    from PIL import Image

    return Image.open(path, formats=_FORMATS)


def photo_header(path: Path) -> PhotoHeader:
    """What a photo says of itself, pixels undecoded; raises InputError unless it is a picture of a sane size."""
    with library_errors(path, "it is not a picture that can be read", _ADVICE), open_photo(path) as image:
        width, height = image.size
        # A PNG would be decoded whole in search of an EXIF block that its header does not name.
        says = image.format != "PNG" or "exif" in image.info
        orientation = image.getexif().get(_ORIENTATION_TAG, 1) if says else 1
    if width * height > MAX_PIXELS:
        raise InputError(path, f"it declares {width} x {height} pixels, too many for a photo", "Save it smaller")
    return PhotoHeader((width, height), orientation if orientation in range(1, 9) else 1)


def read_photo(frame: PosedFrame) -> NDArray[np.uint8]:
    """(h, w, 3) uint8 RGB of a frame's photo, pixels as stored. Raises InputError naming the file."""
    path = frame.colour_path
    if path is None:
        raise ValueError("the frame has no photo")
    with library_errors(path, "it cannot be decoded as a picture", _COPY), open_photo(path) as image:
        pixels = np.asarray(image.convert("RGB"))
    height, width = pixels.shape[:2]
    if frame.colour_size is not None and (width, height) != frame.colour_size:
        w, h = frame.colour_size
        raise InputError(path, f"it has {width} x {height} pixels, not {w} x {h}", "Export the capture again")
    return pixels


@dataclass(frozen=True, slots=True, eq=False)
class FramePhoto:
    """A photo with the camera of its stored pixels; ``scan_from_photo`` (4, 4) where its pose is not the frame's."""

    path: Path
    camera: Camera
    scan_from_photo: NDArray[np.float64] | None = None


@dataclass(slots=True)
class PhotoDesk:
    """Takes in a capture's photos; what cannot be used is left out and remembered, so that the depth still counts."""

    #: Photos lie at different sizes; numbers that do not say theirs are for this one.
    usual_size: tuple[int, int] | None
    headers: dict[Path, PhotoHeader]
    left_out: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    taken: int = 0

    @classmethod
    def of(cls, paths: Iterable[Path]) -> PhotoDesk:
        """Look at the headers of the photos there are."""
        desk = cls(None, {})
        for path in paths:
            try:
                desk.headers[path] = photo_header(path)
            except InputError as error:
                desk.left_out.append(f"{path.name}: {error.what}")
        sizes = Counter(header.size for header in desk.headers.values())
        if sizes:
            desk.usual_size = sizes.most_common(1)[0][0]
        return desk

    def take(
        self, path: Path | None, stated: Camera | None, pose: NDArray[np.float64], depth_size: tuple[int, int] | None
    ) -> FramePhoto | None:
        """The photo with its camera and pose, or None.

        Parameters
        ----------
        stated : the camera numbers as stated
        pose : (4, 4) of the frame
        depth_size : (width, height) of the depth image that shares the pose, None without depth
        """
        header = None if path is None else self.headers.get(path)
        if path is None or header is None:
            return None
        if stated is None:
            self.left_out.append(f"{path.name}: no focal length is stated for it")
            return None
        try:
            photo = camera_of_photo(stated, header, path)
        except InputError as error:
            self.left_out.append(f"{path.name}: {error.what}")
            return None
        self.taken += 1
        own = None
        if photo.shown_from_stored is not None:
            self._say("Photos are stored turned: their camera numbers were turned once to fit the stored pixels")
            # A depth image that lies like the stored pixels has the pose for those.
            if depth_size is None or not _same_shape(depth_size, header.size):
                own = pose @ photo.shown_from_stored
        elif header.orientation != 1:
            self._say("Photos carry a turn for showing them; camera numbers were taken as those of the stored pixels")
        return FramePhoto(path, photo.camera, own)

    @property
    def caveats(self) -> tuple[Caveat, ...]:
        """The doubt to raise for what was left out."""
        if not self.left_out:
            return ()
        total = len(self.left_out) + self.taken
        return (caveat("photo_left_out", count=len(self.left_out), total=total, first=self.left_out[0]),)

    def _say(self, line: str) -> None:
        if line not in self.said:
            self.said.append(line)


@dataclass(frozen=True, slots=True, eq=False)
class PhotoCamera:
    """The camera of a photo's stored pixels.

    ``shown_from_stored`` (4, 4): camera axes of the photo as shown from those of its stored pixels; None where the
    camera numbers were for the stored pixels already.
    """

    camera: Camera
    shown_from_stored: NDArray[np.float64] | None = None


def camera_of_photo(stated: Camera, header: PhotoHeader, where: object) -> PhotoCamera:
    """The stated camera for the photo's stored pixels: scaled, or turned once where it fits only the photo as shown.

    Raises InputError where it fits neither, or where the turn would mirror.
    """
    if _same_shape((stated.width, stated.height), header.size):
        return PhotoCamera(stated.scaled_to(header.size, where))
    width, height = header.size
    quarters = _QUARTERS.get(header.orientation, 0)
    if quarters % 2 and _same_shape((stated.width, stated.height), (height, width)):
        camera, turn = _stored(stated.scaled_to((height, width), where), clockwise=quarters == 1)
        return PhotoCamera(camera, turn)
    raise InputError(
        where,
        f"the camera numbers are for {stated.width} x {stated.height} pixels, the photo has {width} x {height}",
        "Give the numbers for the pixels as they are stored",
    )


def _same_shape(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return abs(one[0] * other[1] / (one[1] * other[0]) - 1.0) <= ASPECT_TOLERANCE


def _stored(shown: Camera, *, clockwise: bool) -> tuple[Camera, NDArray[np.float64]]:
    """Camera of the stored pixels of a photo that is shown turned by a quarter, and the turn of its axes.

    Turned clockwise, stored (x, y) is shown at (h - 1 - y, x) with h the stored height; anticlockwise at
    (y, w - 1 - x). The tangential lens terms (p2, p1) turn as a vector.
    """
    k1, k2, p1, p2 = shown.lens
    turn = np.eye(4)
    if clockwise:
        turn[:2, :2] = ((0.0, -1.0), (1.0, 0.0))
        cx, cy, lens = shown.cy, shown.width - 1.0 - shown.cx, (k1, k2, -p2, p1)
    else:
        turn[:2, :2] = ((0.0, 1.0), (-1.0, 0.0))
        cx, cy, lens = shown.height - 1.0 - shown.cy, shown.cx, (k1, k2, p2, -p1)
    return Camera(shown.fy, shown.fx, cx, cy, shown.height, shown.width, lens), turn
