"""The height map as a float32 TIFF in mm, with its grid in the tags and in a sidecar file.

The picture is stored as it is looked at: its first row is the largest y. Pixel scale and tie point
(tags 33550 and 33922, as in GeoTIFF 1.1 clause 7.4) put it in the floor frame, in mm.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.surface.surface import Surface

_PIXEL_SCALE_TAG = 33550
_TIE_POINT_TAG = 33922
_NO_DATA_TAG = 42113
_DOUBLE, _ASCII = 12, 2  # TIFF 6.0 field types


def grid_of(surface: Surface) -> dict[str, Any]:
    """What a program needs to put the picture back on the floor."""
    rows, cols = surface.height_mm.shape
    return {
        "holds": "height above the reference plane, positive is high; NaN: not seen or not floor",
        "unit": "mm",
        "rows": rows,
        "cols": cols,
        "cell_mm": float(surface.cell_mm),
        "origin_mm": [float(v) for v in surface.origin_mm],
        "first_row": "largest y",
        "x_mm": "origin_mm[0] + (col + 0.5) * cell_mm",
        "y_mm": "origin_mm[1] + (rows - row - 0.5) * cell_mm",
        "floor_from_scan": [[round(float(v), 9) for v in line] for line in surface.floor_from_scan],
    }


def write_heights(surface: Surface, path: Path) -> None:
    """Write ``path`` (TIFF) and the grid beside it (same name, ``.json``)."""
    import tifffile

    grid = grid_of(surface)
    x0, y0 = grid["origin_mm"]
    top = y0 + grid["rows"] * grid["cell_mm"]
    with tifffile.TiffWriter(path) as tiff:
        tiff.write(
            np.ascontiguousarray(surface.height_mm[::-1], dtype=np.float32),
            photometric="minisblack",
            compression="zlib",
            software="flatscan",
            metadata=grid,
            extratags=[
                (_PIXEL_SCALE_TAG, _DOUBLE, 3, (grid["cell_mm"], grid["cell_mm"], 0.0), True),
                (_TIE_POINT_TAG, _DOUBLE, 6, (0.0, 0.0, 0.0, x0, top, 0.0), True),
                (_NO_DATA_TAG, _ASCII, 4, "nan", True),
            ],
        )
    path.with_suffix(".json").write_text(json.dumps(grid, indent=2) + "\n", encoding="utf-8")
