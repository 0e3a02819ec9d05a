"""A capture with photos whose tags tell of a person and whose list was written by a stranger."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

from .hostile import NAME, PAYLOADS
from .looking import inside_of, look_at, said_safely
from .running import run, watched

SAMPLE = Path(__file__).parents[2] / "sample_scans" / "tiled_bathroom_photos"


def tagged(source: Path, target: Path) -> None:
    """The same photo, telling where, by whom and with what it was taken, and carrying a small picture of it."""
    exif = Image.Exif()
    exif[Base.Artist], exif[Base.Model], exif[Base.ImageDescription] = "SECRETARTIST", "SECRETMODEL", "SECRETTEXT"
    gps = exif.get_ifd(IFD.GPSInfo)
    gps[GPS.GPSLatitudeRef], gps[GPS.GPSLatitude] = "N", (47.0, 11.0, 12.5)
    with Image.open(source) as image:
        image.save(target, format="JPEG", quality=90, exif=exif.tobytes(), comment=b"SECRETCOMMENT")


@pytest.fixture(scope="module")
def photographed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The result of three frames, their files named and their list filled so as to do harm."""
    place = tmp_path_factory.mktemp("SECRETCAPTURE")
    capture = place / "capture"
    top = json.loads((SAMPLE / "transforms.json").read_text(encoding="utf-8"))
    top["frames"] = top["frames"][:3]
    for number, frame in enumerate(top["frames"]):
        for key in ("depth_file_path", "confidence_file_path", "file_path"):
            source = SAMPLE / frame[key]
            frame[key] = f"{source.parent.name}/{NAME} {number}{source.suffix}"
            (capture / source.parent.name).mkdir(parents=True, exist_ok=True)
            target = capture / frame[key]
            if key == "file_path":
                tagged(source, target)
                assert b"SECRETARTIST" in target.read_bytes()
            else:
                target.write_bytes(source.read_bytes())
        frame |= {"owner": "".join(PAYLOADS), "\x1b]0;owned\x07": "\ud800"}
    top |= {"camera_model": "OPENCV", "made_by": f"{NAME}\ud800", "applied_by": PAYLOADS}
    (capture / "transforms.json").write_text(json.dumps(top), encoding="utf-8")
    with watched(place):
        ran = run("check", capture, "--edges", "0.5 m", "--directions", "4", "--out", place / "result", terminal=True)
    assert ran.code == 0, ran.err
    said_safely(ran.out, ran.err)
    return place / "result"


def test_no_picture_tells_of_the_person(photographed: Path) -> None:
    """The photographs of a capture are taken in somebody's home; the report is sent to others."""
    assert {"floor.jpg", "joints.csv", "report.html"} <= {path.name for path in photographed.iterdir()}
    for path in sorted(photographed.iterdir()):
        for data in inside_of(path):
            for secret in (b"SECRET", b"Exif\0\0", b"eXIf", b"GPSLatitude"):
                assert secret not in data, (path.name, secret)
    with Image.open(photographed / "floor.jpg") as image:
        assert not image.getexif()


def test_words_of_the_list_do_nothing(photographed: Path) -> None:
    """Names of files and keys of a list that a stranger's program wrote, half signs among them."""
    look_at(photographed, "SECRET")
