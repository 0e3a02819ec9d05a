"""Photos of a survey: each ``[[photo]]`` checked, its file found beside the survey file and made small and nameless.

A survey file may come from somebody else. So a photo is read only where it lies in the survey file's own folder or
below it, only where its bytes are a JPEG or a PNG, and only its pixels are kept.
"""

from __future__ import annotations

import hashlib
import io
import stat
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from flatscan.sources.scan import InputFile
from flatscan.sources.survey.keys import sections_of
from flatscan.sources.survey.map_places import place_mm
from flatscan.sources.survey.site import Photo

if TYPE_CHECKING:
    from PIL.Image import Image

    from flatscan.measures.measurement import Point
    from flatscan.sources.survey.section import Section

MOST_PHOTOS = 40
LONG_SIDE_PX = 1600
_QUALITY = 82
_MOST_BYTES = 40_000_000
#: Phones take up to 108 million; a JPEG is decoded smaller than it is stored, a PNG whole.
_MOST_PIXELS, _MOST_PNG_PIXELS = 120_000_000, 40_000_000
_CAPTION_LETTERS = 300
_BESIDE = "Put it beside the survey file, or in a folder there, and write its name from there"


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One ``[[photo]]`` as it is written; ``file``: relative path of plain names, not opened yet."""

    section: Section
    file: str
    caption: str
    at_mm: Point | None


def read_entries(top: Section) -> tuple[PhotoEntry, ...]:
    """Every ``[[photo]]``; raises InputError for what is wrong in the text alone."""
    sections = sections_of(top, "photo")
    if len(sections) > MOST_PHOTOS:
        raise top.refuse(f"there are {len(sections)} photos", f"Keep the {MOST_PHOTOS} that tell most")
    entries = tuple(_entry(section) for section in sections)
    seen: set[str] = set()
    for entry in entries:
        if entry.file in seen:
            raise entry.section.refuse("this file is named in a [[photo]] before it", "Take one of them out")
        seen.add(entry.file)
    return entries


def _entry(section: Section) -> PhotoEntry:
    file = section.text("file", most=200)
    if file is None:
        raise section.refuse("file is missing", 'Name the picture: file = "photos/hall.jpg"')
    if "\\" in file or PureWindowsPath(file).drive:
        raise section.refuse("file is not a path from the survey file's folder", f"{_BESIDE}, with / between folders")
    path = PurePosixPath(file)
    if path.is_absolute() or ".." in path.parts or not path.parts:
        raise section.refuse("file is outside the survey file's folder", _BESIDE)
    return PhotoEntry(
        section=section,
        file=path.as_posix(),
        caption=section.text("caption", most=_CAPTION_LETTERS) or "",
        at_mm=place_mm(section, "at"),
    )


def load_photo(entry: PhotoEntry, folder: Path) -> Photo:
    """The photo from its file below ``folder``: upright, at most ``LONG_SIDE_PX`` long, nothing kept but its pixels.

    Raises
    ------
    InputError
        for a file that is not there, lies elsewhere (a link out of the folder too), is too large, or is no JPEG or PNG
    """
    data = _bytes_of(entry, folder)
    return Photo(
        file=InputFile(folder / entry.file, hashlib.sha256(data).hexdigest(), "survey photo"),
        caption=entry.caption,
        at_mm=entry.at_mm,
        jpeg=_made_anew(entry, data),
    )


def _bytes_of(entry: PhotoEntry, folder: Path) -> bytes:
    refuse = entry.section.refuse
    try:
        place, home = (folder / entry.file).resolve(strict=True), folder.resolve(strict=True)
        if not place.is_relative_to(home):
            raise refuse("file is a link to a place outside the survey file's folder", _BESIDE)
        status = place.stat()
        if not stat.S_ISREG(status.st_mode):
            raise refuse("file is a folder or a device, not a picture", "Name a JPEG or PNG file")
        if status.st_size > _MOST_BYTES:
            raise refuse(f"the picture is {status.st_size / 1e6:.0f} MB large", "Save it smaller")
        with place.open("rb") as stream:
            return stream.read(_MOST_BYTES)
    except FileNotFoundError as error:
        raise refuse("there is no such picture", _BESIDE) from error
    except (OSError, RuntimeError) as error:  # a RuntimeError is a link that leads to itself, up to Python 3.12
        raise refuse("the picture cannot be read", "Check its path, and that you may read it") from error


def _made_anew(entry: PhotoEntry, data: bytes) -> bytes:
    """The JPEG bytes of ``data``'s pixels alone. What Pillow raises on broken bytes is of many kinds."""
    import warnings

    from PIL import Image, UnidentifiedImageError

    refuse = entry.section.refuse
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as image:
                _check_size(entry.section, image)
                return _nameless(image)
    except UnidentifiedImageError as error:
        raise refuse("the file is not a JPEG or PNG picture", "Save it as JPEG or PNG") from error
    except Image.DecompressionBombError as error:
        raise refuse("the picture declares more pixels than any camera takes", "Save it smaller") from error
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, ArithmeticError, EOFError) as error:
        raise refuse("the picture cannot be decoded", "Copy it again, it may be cut short") from error


def _check_size(section: Section, image: Image) -> None:
    width, height = image.size
    if width * height > (_MOST_PIXELS if image.format != "PNG" else _MOST_PNG_PIXELS):
        raise section.refuse(f"the picture has {width} x {height} pixels, too many for a photo", "Save it smaller")


def _nameless(image: Image) -> bytes:
    """Turned upright, shrunk, on white where it was clear, its pixels put into a picture that knows nothing else."""
    from PIL import Image, ImageOps

    image.draft("RGB", (LONG_SIDE_PX, LONG_SIDE_PX))
    upright = ImageOps.exif_transpose(image)
    if upright.mode.startswith("I"):  # grey of 16 bits
        upright = upright.convert("I").point(lambda value: value * (255.0 / 65535.0)).convert("L")
    clear = "A" in upright.getbands() or "transparency" in upright.info
    shown = upright.convert("RGBA" if clear else "RGB")
    shown.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.Resampling.LANCZOS)
    plain = Image.new("RGB", shown.size, "white")
    plain.paste(shown, mask=shown if clear else None)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()
