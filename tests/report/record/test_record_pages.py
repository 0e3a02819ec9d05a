"""Two pages of a fixed record against pictures that somebody looked at: the layout, not the wording.

The data of the pages are kept beside the pictures, so that a change of words elsewhere changes nothing here. After the
templates were changed on purpose, make both anew with ``FLATSCAN_NEW_PAGES=1 pytest
tests/report/record/test_record_pages.py``, look at ``tests/report/record/golden/*.png`` and commit them.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from flatscan.report.record.record_pdf import record_data
from flatscan.report.record.setting import set_pages
from flatscan.report.report import Report

Tools = SimpleNamespace
_FOLDER = Path(__file__).parent / "golden"
_DATA = _FOLDER / "record.json"
_WIDE = 400
_PAGES = {"page_1": 0, "findings": 2}
#: Pages are compared by the mean grey of squares of this many dots (4.2 mm of paper).
_SQUARE = 8
#: Another version of the typesetter or of the drawing library may place a line up to half a dot elsewhere and smooths
#: edges in its own way. Half a dot moves, of a line of text or a rule that fills a square with grey g of 255, no more
#: than half a dot in eight across the square's border: 255 / 16 = 16. A line of text that is missing, or is one line
#: higher (3 mm, 6 dots), leaves squares of text (darker than the paper by 35 to 80) empty. In between:
_MOST = 24.0


@pytest.fixture(scope="module")
def kept(surveyed: Report, tools: Tools) -> dict[str, Any]:
    """The data of the fixed record."""
    if os.environ.get("FLATSCAN_NEW_PAGES"):
        data = record_data(surveyed, tools.sha, "a4") | {
            "photos": [],
            "map_alt": "A map",
            "sheet_pages": 0,
            "has": {"map": True, "after": False, "floor": False},
        }
        _FOLDER.mkdir(exist_ok=True)
        _DATA.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        for name, page in drawn(json.loads(_DATA.read_text(encoding="utf-8")), tools).items():
            Image.fromarray(page).save(_FOLDER / f"{name}.png", optimize=True)
    data = json.loads(_DATA.read_text(encoding="utf-8"))
    assert isinstance(data, dict)
    return data


def drawn(data: dict[str, Any], tools: Tools) -> dict[str, np.ndarray]:
    document = pypdfium2.PdfDocument(set_pages("record.typ", data, {"map.png": tools.picture()}))
    return {name: _grey(document[number]) for name, number in _PAGES.items()}


def _grey(page: pypdfium2.PdfPage) -> np.ndarray:
    values = page.render(scale=_WIDE / page.get_width(), grayscale=True).to_numpy()
    return np.asarray(values).squeeze()


def apart(one: np.ndarray, other: np.ndarray) -> float:
    """The largest difference between the mean greys of two pages' squares."""
    return float(np.abs(_squares(one) - _squares(other)).max())


def _squares(page: np.ndarray) -> np.ndarray:
    rows, cols = (n // _SQUARE for n in page.shape)
    held = page[: rows * _SQUARE, : cols * _SQUARE].astype(float)
    return np.asarray(held.reshape(rows, _SQUARE, cols, _SQUARE).mean(axis=(1, 3)))


@pytest.mark.parametrize("name", list(_PAGES))
def test_the_page_looks_as_it_did(kept: dict[str, Any], tools: Tools, name: str) -> None:
    with Image.open(_FOLDER / f"{name}.png") as picture:
        looked_at = np.asarray(picture.convert("L"))
    now = drawn(kept, tools)[name]
    assert now.shape == looked_at.shape
    assert apart(now, looked_at) <= _MOST


def test_a_line_less_or_elsewhere_is_seen(kept: dict[str, Any], tools: Tools) -> None:
    pages = drawn(kept, tools)
    less = json.loads(json.dumps(kept))
    less["front"]["reasons"] = less["front"]["reasons"][:-1]
    assert apart(drawn(less, tools)["page_1"], pages["page_1"]) > _MOST
    other = json.loads(json.dumps(kept))
    other["findings"]["rows"] = other["findings"]["rows"][1:]
    assert apart(drawn(other, tools)["findings"], pages["findings"]) > _MOST


def test_half_a_dot_is_allowed(kept: dict[str, Any], tools: Tools) -> None:
    for page in drawn(kept, tools).values():
        for axis in (0, 1):
            moved = (page.astype(float) + np.roll(page, 1, axis=axis)) / 2.0  # half a dot, edges smoothed
            assert apart(moved, page) <= _MOST
