"""``height.tif``: read back by tifffile and by Pillow, which share no code."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from flatscan.report.heights import write_heights
from flatscan.report.report import Report


@pytest.fixture(scope="module")
def tif(report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("heights") / "height.tif"
    write_heights(report.surface, path)
    return path


def test_two_readers_find_the_same_heights_with_the_largest_y_on_top(tif: Path, report: Report) -> None:
    expected = report.surface.height_mm[::-1]
    with Image.open(tif) as picture:
        np.testing.assert_array_equal(np.asarray(picture), expected)
    np.testing.assert_array_equal(tifffile.imread(tif), expected)
    assert tifffile.imread(tif).dtype == np.float32


def test_tags_put_a_pixel_where_the_floor_is(tif: Path, report: Report) -> None:
    # GeoTIFF 1.1, 7.4: X = tie_x + scale_x * i, Y = tie_y - scale_y * j, from the corner of pixel (0, 0).
    with tifffile.TiffFile(tif) as file:
        tags = file.pages.first.tags
        scale_x, scale_y, _ = tags[33550].value
        *_, tie_x, tie_y, _ = tags[33922].value
        assert tags[42113].value == "nan"
    rows, _cols = report.surface.height_mm.shape
    row, col = 57, 211
    x, y = tie_x + scale_x * (col + 0.5), tie_y - scale_y * (row + 0.5)
    assert (x, y) == pytest.approx(report.surface.xy_mm(rows - 1 - row, col))


def test_the_sidecar_says_the_same(tif: Path, report: Report) -> None:
    grid = json.loads(tif.with_suffix(".json").read_text(encoding="utf-8"))
    assert (grid["rows"], grid["cols"]) == report.surface.height_mm.shape
    assert grid["unit"] == "mm"
    # The formulas in the file, evaluated for one pixel.
    row, col = 3, 5
    names = {**grid, "row": row, "col": col}
    place = tuple(eval(grid[axis], {"__builtins__": {}}, names) for axis in ("x_mm", "y_mm"))  # noqa: S307
    assert place == pytest.approx(report.surface.xy_mm(grid["rows"] - 1 - row, col))
