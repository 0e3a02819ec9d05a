"""Write captures that are not frames: laser clouds, text clouds, meshes, tables of levels."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.synth.sensors.laser import LaserPoints

#: Files carry a fixed date, so that the same seed gives the same bytes.
_DATE = date(2026, 1, 1)


def write_laz(
    path: Path,
    stations: Sequence[LaserPoints],
    *,
    step_mm: float = 0.1,
    offset_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
    rgb: NDArray[np.uint8] | None = None,
) -> None:
    """Write stations into one LAZ file, metres, z up; ``point_source_id`` counts the stations from 1.

    ``offset_m`` is added to every coordinate, as a site grid would. ``rgb``: (n, 3) colours of all stations' points.
    """
    import laspy

    header = laspy.LasHeader(point_format=0 if rgb is None else 2, version="1.2")
    header.scales = np.full(3, step_mm / 1000.0)
    header.offsets = np.array(offset_m)
    header.creation_date = _DATE
    header.generating_software = "flatscan synth"
    cloud = laspy.LasData(header)
    metres = np.concatenate([points.point_mm for points in stations]) / 1000.0 + np.array(offset_m)
    cloud.x, cloud.y, cloud.z = metres.T
    cloud.intensity = np.concatenate([np.rint(65535 * points.intensity).astype(np.uint16) for points in stations])
    cloud.point_source_id = np.concatenate(
        [np.full(len(points.point_mm), number, dtype=np.uint16) for number, points in enumerate(stations, 1)]
    )
    if rgb is not None:
        # The format holds 16 bits a channel.
        cloud.red, cloud.green, cloud.blue = (rgb.astype(np.uint16) * 257).T
    path.parent.mkdir(parents=True, exist_ok=True)
    cloud.write(path)


def write_xyz_commas(path: Path, point_mm: NDArray[np.float64]) -> None:
    """Write points (n, 3) as text as a spreadsheet of a country of decimal commas would: header, semicolons, metres."""
    rows = (";".join(f"{value / 1000.0:.4f}".replace(".", ",") for value in point) for point in point_mm)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("X [m];Y [m];Z [m]\n" + "\n".join(rows) + "\n", encoding="utf-8")


def write_glb(path: Path, vertex_mm: NDArray[np.float64], triangle: NDArray[np.int64]) -> None:
    """Write a mesh as GLB: metres, y up, as glTF asks. ``vertex_mm`` (n, 3) room frame, ``triangle`` (m, 3)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    y_up = np.stack([vertex_mm[:, 0], vertex_mm[:, 2], -vertex_mm[:, 1]], axis=1) / 1000.0
    path.write_bytes(_mesh(y_up, triangle).export(file_type="glb"))


def write_ply(path: Path, vertex_mm: NDArray[np.float64], triangle: NDArray[np.int64]) -> None:
    """Write a mesh as binary PLY in metres, z up."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(_mesh(vertex_mm / 1000.0, triangle).export(file_type="ply"))


def _mesh(vertex: NDArray[np.float64], triangle: NDArray[np.int64]) -> Any:
    import trimesh

    return trimesh.Trimesh(vertex, triangle, process=False)


def write_staff_levels(
    path: Path,
    x_mm: NDArray[np.float64],
    y_mm: NDArray[np.float64],
    staff_mm: NDArray[np.float64],
    *,
    title: str,
    sigma_mm: float,
) -> None:
    """Write hand levels as CSV: x and y in metres, the staff reading in mm (it grows where the floor falls).

    ``sigma_mm``: one standard uncertainty of one reading, stated in the file.
    """
    lines = [f"# {title}", "# unit: mm", "# sign: staff", f"# reading sigma_mm: {sigma_mm:.2f}", "x_m,y_m,staff_mm"]
    lines += [f"{x / 1000.0:.3f},{y / 1000.0:.3f},{s:.1f}" for x, y, s in zip(x_mm, y_mm, staff_mm, strict=True)]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
