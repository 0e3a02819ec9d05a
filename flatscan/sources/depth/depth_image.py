"""One depth image or confidence image from disk, refused before decoding when it cannot be one.

Kinds, by first bytes: 16-bit grey PNG, TIFF (16- or 32-bit whole numbers or float), NPY. Pixels are
taken as stored: an EXIF turn is never applied, so they match the camera numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.errors import InputError
from flatscan.sources.depth.tiff_unpacked import check_unpacked
from flatscan.sources.guard import library_errors

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

#: A depth image declared larger than this is refused unread (sensors have well under 4 million).
MAX_PIXELS = 64_000_000

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", "png"),
    (b"II*\x00", "tiff"),
    (b"MM\x00*", "tiff"),
    (b"\x93NUMPY", "npy"),
    (b"\xff\xd8\xff", "jpeg"),
)
_DEPTH_TYPES = ("uint16", "int16", "uint32", "int32", "float16", "float32", "float64")
_SAVE_AS = "Save depth as 16-bit grey PNG, float TIFF or NPY"


@dataclass(frozen=True, slots=True)
class ImageHeader:
    """What a file declares about itself: ``kind`` (png, tiff, npy), (width, height), element type."""

    kind: str
    size: tuple[int, int]
    dtype: str


def image_kind(path: Path) -> str:
    """``png``, ``tiff``, ``npy``, ``jpeg`` or ``""``, by the first bytes."""
    try:
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as cause:
        raise InputError(path, f"cannot be read ({cause.strerror})", "Check the name and the permissions") from cause
    if not start:
        raise InputError(path, "the file is empty", "Copy the capture again")
    return next((kind for magic, kind in _MAGIC if start.startswith(magic)), "")


def depth_header(path: Path) -> ImageHeader:
    """Header of a depth image; raises InputError unless it can hold depth and is of a sane size."""
    header = _header(path)
    if header.dtype not in _DEPTH_TYPES:
        raise InputError(path, f"a depth image cannot be {header.dtype}: its steps are far too coarse", _SAVE_AS)
    return header


def read_depth(path: Path, header: ImageHeader) -> NDArray[np.float32]:
    """(h, w) float32 values as stored, in the file's own counts; NaN where 0, negative, inf or NaN."""
    values = _pixels(path, header).astype(np.float32)
    values[~((values > 0.0) & (values < np.inf))] = np.nan
    return values


def read_confidence(path: Path, depth_size: tuple[int, int]) -> NDArray[np.uint8]:
    """(h, w) uint8 levels of a confidence image, which must have the depth's size."""
    header = _header(path)
    if header.size != depth_size:
        w, h = header.size
        raise InputError(
            path,
            f"the confidence image has {w} x {h} pixels, its depth image {depth_size[0]} x {depth_size[1]}",
            "Export both at the depth camera's size and turn",
        )
    if header.dtype != "uint8":
        raise InputError(
            path, f"a confidence image cannot be {header.dtype}", "Save it as 8-bit grey PNG, 0-2 or 0-255"
        )
    return _pixels(path, header).astype(np.uint8)


def _header(path: Path) -> ImageHeader:
    kind = image_kind(path)
    if kind == "jpeg":
        raise InputError(path, "JPEG smears depth values", _SAVE_AS)
    reader = {"png": _png_header, "tiff": _tiff_header, "npy": _npy_header}.get(kind)
    if reader is None:
        raise InputError(path, "not a PNG, TIFF or NPY file", _SAVE_AS)
    header = reader(path)
    width, height = header.size
    if width < 1 or height < 1:
        raise InputError(path, f"declares {width} x {height} pixels", _SAVE_AS)
    if width * height > MAX_PIXELS:
        raise InputError(
            path,
            f"declares {width} x {height} pixels, a depth image may have {MAX_PIXELS // 1_000_000} million",
            "Check the file; no depth camera makes such an image",
        )
    return header


def _png_header(path: Path) -> ImageHeader:
    from PIL import Image

    with library_errors(path, "not a PNG that can hold depth"), Image.open(path, formats=["PNG"]) as image:
        mode, size = image.mode, image.size
    if mode in {"L", "1", "P"}:
        return ImageHeader("png", size, "uint8")
    if mode not in {"I", "I;16", "I;16B"}:
        return ImageHeader("png", size, "a colour picture")
    return ImageHeader("png", size, "uint16")


def _tiff_header(path: Path) -> ImageHeader:
    import tifffile

    with library_errors(path, "a damaged TIFF"), tifffile.TiffFile(path) as tiff:
        if not len(tiff.pages):
            raise InputError(path, "a damaged TIFF without an image", "Copy the capture again")
        if len(tiff.pages) != 1:
            raise InputError(path, f"holds {len(tiff.pages)} pages", "Save one depth image per file")
        page = tiff.pages.first
        shape, dtype = tuple(page.shape), str(page.dtype)
    return _grey_header(path, "tiff", shape, dtype)


def _npy_header(path: Path) -> ImageHeader:
    with library_errors(path, "a damaged NPY file"), path.open("rb") as file:
        version = np.lib.format.read_magic(file)
        read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
        shape, _, dtype = read(file)
    return _grey_header(path, "npy", shape, str(dtype.newbyteorder("=")))


def _grey_header(path: Path, kind: str, shape: tuple[int, ...], dtype: str) -> ImageHeader:
    flat = tuple(n for n in shape if n != 1) if len(shape) == 3 else shape  # noqa: PLR2004
    if len(flat) != 2:  # noqa: PLR2004
        raise InputError(path, f"has shape {shape}, a depth image has rows and columns only", _SAVE_AS)
    return ImageHeader(kind, (int(flat[1]), int(flat[0])), dtype)


def _pixels(path: Path, header: ImageHeader) -> NDArray[Any]:
    width, height = header.size
    with library_errors(path, "cannot be decoded", "Copy it again, or save it without compression"):
        if header.kind == "png":
            from PIL import Image

            with Image.open(path, formats=["PNG"]) as image:
                values = np.asarray(image)
        elif header.kind == "tiff":
            import tifffile

            with tifffile.TiffFile(path) as tiff:
                check_unpacked(tiff)
                values = tiff.asarray()
        else:
            values = np.load(path, allow_pickle=False)
        return np.asarray(values).reshape(height, width)
