"""Photos of a survey: only pictures beside the survey file are read, and only their pixels are kept."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from flatscan.errors import InputError
from flatscan.sources.survey import read_survey, survey_from
from flatscan.sources.survey.photos import LONG_SIDE_PX
from flatscan.sources.survey.site import Photo

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825
#: What a phone writes into a picture, in letters that can be searched for.
DEVICE = "INVENTED-MAKER"
#: One colour to each quarter of a picture, rows from the top: red, green; blue, white.
QUARTERS = ((255, 0, 0), (0, 160, 0), (0, 0, 255), (255, 255, 255))


def quartered(width: int = 200, height: int = 100) -> Image.Image:
    picture = np.zeros((height, width, 3), np.uint8)
    rows, cols = np.indices((height, width))
    picture[:] = np.array(QUARTERS)[2 * (rows >= height // 2) + (cols >= width // 2)]
    return Image.fromarray(picture)


def seen_quarters(jpeg: bytes) -> list[int]:
    """Which of ``QUARTERS`` stands in each quarter of a picture."""
    shown = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB")).astype(int)
    height, width = shown.shape[:2]
    middles = [(height // 4, width // 4), (height // 4, 3 * width // 4)]
    middles += [(3 * height // 4, width // 4), (3 * height // 4, 3 * width // 4)]
    return [int(np.argmin([np.abs(shown[at] - colour).sum() for colour in QUARTERS])) for at in middles]


def survey_file(folder: Path, file: str, more: str = "") -> Path:
    path = folder / "survey.toml"
    path.write_text(f"[[photo]]\nfile = '{file}'\n{more}", encoding="utf-8")
    return path


def photo_of(folder: Path, file: str, more: str = "") -> Photo:
    (photo,) = read_survey(survey_file(folder, file, more)).site.photos
    return photo


def refused(folder: Path, file: str) -> str:
    with pytest.raises(InputError) as caught:
        read_survey(survey_file(folder, file))
    said = str(caught.value)
    assert said.startswith(f"survey.toml: [[photo]] 1 ('{file[:40]}")
    assert "\n" not in said
    assert str(folder) not in said
    return said


def with_exif(orientation: int = 1) -> Image.Exif:
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[MAKE] = DEVICE
    exif.get_ifd(GPS).update({1: "N", 2: (52.0, 31.0, 7.0), 3: "E", 4: (13.0, 24.0, 36.0)})
    return exif


@pytest.mark.parametrize("ending", ["jpg", "png"])
def test_place_device_comments_and_profile_are_gone(tmp_path: Path, ending: str) -> None:
    (tmp_path / "photos").mkdir()
    place = tmp_path / "photos" / f"hall.{ending}"
    extra = {"comment": b"SECRET-COMMENT", "xmp": b"<x>SECRET-XMP</x>"} if ending == "jpg" else {}
    quartered().save(place, exif=with_exif(), icc_profile=b"SECRET-PROFILE" * 20, **extra)
    stored = place.read_bytes()
    assert DEVICE.encode() in stored
    assert Image.open(io.BytesIO(stored)).getexif().get_ifd(GPS)
    photo = photo_of(tmp_path, f"photos/hall.{ending}", 'caption = "the hall"\nat = [1.2, 0.8]\n')
    made = Image.open(io.BytesIO(photo.jpeg))
    assert (made.format, dict(made.getexif())) == ("JPEG", {})
    assert set(made.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for secret in (DEVICE.encode(), b"SECRET", b"Exif", b"ICC_PROFILE", b"http"):
        assert secret not in photo.jpeg
    assert (photo.caption, photo.at_mm) == ("the hall", (1200.0, 800.0))
    assert (photo.file.path, photo.file.kind) == (place, "survey photo")
    assert photo.file.sha256 == hashlib.sha256(stored).hexdigest()


#: EXIF 2.32, tag 0x0112: which corner of the scene the stored rows and columns begin at, as the quarters then shown.
SHOWN = {
    1: [0, 1, 2, 3],
    2: [1, 0, 3, 2],
    3: [3, 2, 1, 0],
    4: [2, 3, 0, 1],
    5: [0, 2, 1, 3],
    6: [2, 0, 3, 1],
    7: [3, 1, 2, 0],
    8: [1, 3, 0, 2],
}


@pytest.mark.parametrize("ending", ["jpg", "png"])
@pytest.mark.parametrize("orientation", SHOWN)
def test_a_photo_is_shown_upright(tmp_path: Path, orientation: int, ending: str) -> None:
    quartered().save(
        tmp_path / f"a.{ending}", exif=with_exif(orientation), **({"quality": 95} if ending == "jpg" else {})
    )
    jpeg = photo_of(tmp_path, f"a.{ending}").jpeg
    assert seen_quarters(jpeg) == SHOWN[orientation]
    assert Image.open(io.BytesIO(jpeg)).size == ((200, 100) if orientation < 5 else (100, 200))


@pytest.mark.parametrize(
    ("size", "shown"), [((4000, 3000), (1600, 1200)), ((900, 4800), (300, 1600)), ((40, 30), (40, 30))]
)
def test_a_large_photo_is_shrunk_and_a_small_one_left(
    tmp_path: Path, size: tuple[int, int], shown: tuple[int, int]
) -> None:
    quartered(*size).save(tmp_path / "a.jpg")
    jpeg = photo_of(tmp_path, "a.jpg").jpeg
    assert Image.open(io.BytesIO(jpeg)).size == shown
    assert max(shown) <= LONG_SIDE_PX
    assert seen_quarters(jpeg) == [0, 1, 2, 3]


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "YCbCr"])
def test_every_mode_of_pixels_is_shown(tmp_path: Path, mode: str) -> None:
    grey = np.full((60, 80), 0, np.uint8)
    grey[:, 40:] = 255
    picture = Image.fromarray(grey)
    if mode == "I;16":
        picture = Image.fromarray(grey.astype(np.uint16) * 257)
    elif mode in ("LA", "RGBA"):
        picture = picture.convert(mode)
        picture.putalpha(Image.fromarray(np.full((60, 80), 255, np.uint8)))
    else:
        picture = picture.convert(mode)
    name = "a.jpg" if mode in ("CMYK", "YCbCr") else "a.png"
    picture.save(tmp_path / name)
    shown = np.asarray(Image.open(io.BytesIO(photo_of(tmp_path, name).jpeg)).convert("L"))
    assert shown[:, :30].mean() < 8
    assert shown[:, 50:].mean() > 247


def test_what_is_clear_is_white(tmp_path: Path) -> None:
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(tmp_path / "a.png")
    assert np.asarray(Image.open(io.BytesIO(photo_of(tmp_path, "a.png").jpeg))).min() > 250


@pytest.mark.parametrize(
    ("file", "says"),
    [
        ("/etc/passwd", "file is outside the survey file's folder"),
        ("../x.jpg", "file is outside the survey file's folder"),
        ("photos/../../x.jpg", "file is outside the survey file's folder"),
        (".", "file is outside the survey file's folder"),
        ("photos\\x.jpg", "file is not a path from the survey file's folder"),
        ("C:/x.jpg", "file is not a path from the survey file's folder"),
        ("C:x.jpg", "file is not a path from the survey file's folder"),
        ("//host/share/x.jpg", "file is"),
        ("http://host/x.jpg", "there is no such picture"),
        ("none.jpg", "there is no such picture"),
        ("photos", "file is a folder or a device, not a picture"),
        ("a" * 190 + "/" + "b" * 9, "there is no such picture"),
        ("survey.toml", "the file is not a JPEG or PNG picture"),
        ("survey.toml/x.jpg", "the picture cannot be read"),
    ],
)
def test_a_path_that_is_no_picture_beside_the_survey_file(tmp_path: Path, file: str, says: str) -> None:
    folder = tmp_path / "job"
    (folder / "photos").mkdir(parents=True)
    quartered().save(tmp_path / "x.jpg")
    assert says in refused(folder, file)


def test_links_may_lead_within_the_folder_only(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    (folder / "photos").mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    quartered().save(tmp_path / "elsewhere" / "x.jpg")
    quartered().save(folder / "photos" / "own.jpg")
    (folder / "out.jpg").symlink_to(tmp_path / "elsewhere" / "x.jpg")
    (folder / "away").symlink_to(tmp_path / "elsewhere")
    (folder / "in.jpg").symlink_to(folder / "photos" / "own.jpg")
    (folder / "loop.jpg").symlink_to(folder / "loop.jpg")
    assert "is a link to a place outside the survey file's folder" in refused(folder, "out.jpg")
    assert "is a link to a place outside the survey file's folder" in refused(folder, "away/x.jpg")
    assert "the picture cannot be read" in refused(folder, "loop.jpg")
    assert seen_quarters(photo_of(folder, "in.jpg").jpeg) == [0, 1, 2, 3]
    # The job's own folder may be reached by a link.
    (tmp_path / "link").symlink_to(folder)
    assert photo_of(tmp_path / "link", "photos/own.jpg").jpeg


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.jpg")
    assert "file is a folder or a device, not a picture" in refused(tmp_path, "a.jpg")


def png(width: int, height: int, rows: bytes = b"") -> bytes:
    """A PNG by its own book: signature, header of 8-bit grey, data, end."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("width", "height", "says"),
    [
        (100_000, 100_000, "the picture declares more pixels than any camera takes"),
        (10_000, 9_000, "the picture has 10000 x 9000 pixels, too many for a photo"),
        (7_000, 6_000, "the picture has 7000 x 6000 pixels, too many for a photo"),
        (4_000_000_000, 1, "the picture"),
        (0, 100, "the "),
    ],
)
def test_a_header_that_promises_too_much_is_refused_unread(tmp_path: Path, width: int, height: int, says: str) -> None:
    (tmp_path / "a.png").write_bytes(png(width, height))
    assert says in refused(tmp_path, "a.png")


def test_a_file_of_fifty_megabytes_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "a.jpg").open("wb") as stream:
        stream.truncate(50_000_000)
    assert "the picture is 50 MB large. Save it smaller." in refused(tmp_path, "a.jpg")


def jpeg_bytes() -> bytes:
    out = io.BytesIO()
    quartered().save(out, "JPEG", exif=with_exif(6))
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "the file is not a JPEG or PNG picture"),
        (b"", "the file is not a JPEG or PNG picture"),
        (
            b"GIF89a\x01\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x02D",
            "not a JPEG",
        ),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n", "the file is not a JPEG or PNG picture"),
        (jpeg_bytes()[:600], "the picture cannot be decoded"),
        (b"\xff\xd8\xff\xe0", "the "),
        (png(20, 20, b"\0" * 30), "the picture cannot be decoded"),
        (png(20, 20)[:40], "the "),
    ],
    ids=["svg", "empty", "gif", "eps", "cut jpeg", "stub", "short png", "cut png"],
)
def test_what_is_no_picture_whatever_its_name(tmp_path: Path, data: bytes, says: str) -> None:
    (tmp_path / "a.jpg").write_bytes(data)
    assert says in refused(tmp_path, "a.jpg")


def test_spoilt_bytes_are_read_or_refused(tmp_path: Path) -> None:
    """Every byte of a small JPEG with EXIF turned over in turn, in two ways: no other kind of error may come out."""
    whole = jpeg_bytes()
    path = survey_file(tmp_path, "a.jpg")
    rng = np.random.default_rng(1)
    for at in range(0, len(whole), 7):
        spoilt = bytearray(whole)
        spoilt[at] ^= int(rng.integers(1, 256))
        (tmp_path / "a.jpg").write_bytes(spoilt)
        try:
            (photo,) = read_survey(path).site.photos
        except InputError:
            continue
        assert DEVICE.encode() not in photo.jpeg


def test_a_saved_survey_needs_no_photo(tmp_path: Path) -> None:
    path = survey_file(tmp_path, "gone.jpg")
    survey = survey_from(Path("survey.toml"), path.read_bytes())
    assert survey.site.photos == ()
    with pytest.raises(InputError, match="there is no such picture"):
        read_survey(path)
