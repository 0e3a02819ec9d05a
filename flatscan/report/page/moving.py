"""The page's interactive part: its script, its style, and the data it works on, ready to stand in the page."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from flatscan.report.picture import after_key, colours
from flatscan.report.viewer.pack import floor_data
from flatscan.report.viewer.photo import photo_jpg
from flatscan.report.words import wording
from flatscan.report.words.field_words import by_hand, height_u_mm

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

    from flatscan.measures.measurement import Point
    from flatscan.report.report import Report

#: In the order in which they build on each other.
SCRIPTS = (
    "unpack.js", "edge.js", "verdict.js", "view.js", "words.js", "colours.js", "hatch.js", "marks.js", "site.js",
    "map.js", "gestures.js", "section.js", "key.js", "layers.js", "straightedge.js", "readout.js", "jump.js",
    "choices.js", "typed.js", "laying.js", "paper.js", "viewer.js",
)  # fmt: skip
#: Steps of a ramp; more cannot be told apart.
_STEPS = 64
#: ColorBrewer's YlGnBu and PRGn (Harrower and Brewer 2003, listed there as colour-blind safe); the darkest end is left
#: out, so that lines stay readable on it.
_SIZES_TRIM = 0.12
_OVER = 1.0


@dataclass(frozen=True, slots=True)
class Viewer:
    """``data``, ``looks``: JSON that may stand in a script element as it is; ``photo``: JPEG, or b""."""

    html: str
    script: str
    style: str
    data: str
    looks: str
    photo: bytes


def viewer_of(report: Report) -> Viewer:
    """What the page needs to let a person look closely."""
    photo = b"" if report.picture is None else photo_jpg(report.picture)
    return Viewer(
        text_of("viewer.html"),
        script(),
        text_of("viewer.css"),
        floor_data(report).json(),
        in_page(looks(report)),
        photo,
    )


def spot(
    at: Point | None, label: str, contacts: tuple[Point, Point] | None = None, edge_mm: float | None = None
) -> str:
    """What a button that shows a place on the map carries, as JSON; "" where there is no place."""
    if at is None:
        return ""
    laid = None if contacts is None or contacts[0] == contacts[1] else contacts
    return msgspec.json.encode({"at": at, "label": label, "contacts": laid, "edge_mm": edge_mm}).decode()


def script() -> str:
    """All scripts as one that leaves no name behind."""
    return '(() => {\n"use strict";\n' + "\n".join(text_of(name) for name in SCRIPTS) + "\n})();\n"


def text_of(name: str) -> str:
    """A file of the viewer's folder."""
    return (resources.files("flatscan.report.viewer") / name).read_text(encoding="utf-8")


def hash_source(text: str) -> str:
    """A style or a script as a content security policy names it (CSP level 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def in_page(value: Any) -> str:
    """JSON that cannot end the script element it stands in."""
    said = msgspec.json.encode(value).decode()
    for sign in "<>&\u2028\u2029":
        said = said.replace(sign, f"\\u{ord(sign):04x}")
    return said


def looks(report: Report) -> dict[str, Any]:
    """Colours, words and signs: those of the drawn pictures."""
    from matplotlib import colormaps

    shares, bounds = after_key.share_colours()
    return {
        "units": report.settings.units,
        "by_hand": by_hand(report.surface),
        "heights": _hexes(colours.height_colours()),
        "height_scale_mm": colours.scale_mm(report.surface.estimate_mm, height_u_mm(report.surface)),
        "sizes": _hexes(colormaps["YlGnBu"], 0.0, 1.0 - _SIZES_TRIM),
        # Fill green, grinding purple, as the areas' outlines.
        "work": _hexes(colormaps["PRGn"], 0.1, 0.9),
        "shares": [
            {"least": least, "colour": colour, "over": least >= _OVER}
            for least, colour in zip(bounds.boundaries[:-1].tolist(), _hexes(shares, count=shares.N), strict=True)
        ],
        "verdicts": {
            word: {"text": wording.VERDICT_TEXT[word], "shape": wording.VERDICT_SHAPE[word]}
            for word in wording.VERDICT_TEXT
        },
    }


def _hexes(scheme: Colormap, low: float = 0.0, high: float = 1.0, count: int = _STEPS) -> list[str]:
    from matplotlib.colors import to_hex

    return [to_hex(colour) for colour in scheme(np.linspace(low, high, count))]
