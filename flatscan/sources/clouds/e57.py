"""E57: laser scans with their poses, read by the optional package pye57."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.constants import MM_PER_M
from flatscan.errors import MissingPackageError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import UP_Z, scan_from_store
from flatscan.sources.clouds.point_store import BLOCK_POINTS, PointStore
from flatscan.sources.guard import check_declared, library_errors
from flatscan.sources.inference import FileUnit

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

_BROKEN = "it cannot be read as E57"
# ASTM E2807: metres, a right-handed frame for the file, a rigid pose from each scan to it.
_UNIT = FileUnit("m", MM_PER_M, "the E57 format")
_CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
_SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
_COLOURS = ("colorRed", "colorGreen", "colorBlue")
#: Bit-packed coordinates can take less than a byte a point, but not this little in a real scan.
_LEAST_BYTES = 0.125


def read_e57(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read every scan of an E57 file into its common frame; scanner positions are the viewpoints.

    Points flagged invalid are dropped. Metres by the format; z up and plumb as terrestrial
    scanners write it.
    """
    try:
        import pye57
    except ImportError as error:
        raise MissingPackageError(
            path, "reading E57 needs the package pye57", "Install it with: pip install 'flatscan[e57]'"
        ) from error
    with library_errors(path, _BROKEN):
        file = pye57.E57(str(path))
    with file:
        with library_errors(path, _BROKEN):
            headers = [file.get_header(k) for k in range(file.scan_count)]
            total = sum(int(h.point_count) for h in headers)
            check_declared(path, total, _LEAST_BYTES, path.stat().st_size)
            stations = np.array([h.translation for h in headers], dtype=np.float64).reshape(-1, 3)
            posed = [bool(h.has_pose()) for h in headers]
            # A pose left at "no move" is what converters write when they do not know the station.
            known = [p and not _stays(h) for p, h in zip(posed, headers, strict=True)]
        store = PointStore(total)
        for number, header in enumerate(progress.track(headers, label=f"reading {path.name}", total=len(headers))):
            for xyz, colour in _blocks(path, file, header):
                store.add(xyz, view=number, colour=colour)
    lines = [f"{path.name}: z is up and truly vertical, as laser scanners write E57"]
    if all(posed):
        lines.append(f"{path.name}: {len(headers)} scan poses applied")
    elif len(headers) > 1:
        lines.append(
            f"{path.name}: {posed.count(False)} of {len(headers)} scans state no pose; a common frame is assumed"
        )
    return scan_from_store(
        path,
        "e57",
        store,
        settings,
        unit=_UNIT,
        up=UP_Z,
        gravity_known=True,
        viewpoints=stations if all(known) else None,
        inferences=tuple(lines),
    )


def _stays(header: Any) -> bool:
    """Whether the pose is the identity."""
    return bool(np.allclose(header.rotation_matrix, np.eye(3)) and not np.any(header.translation))


def _blocks(path: Path, file: Any, header: Any) -> Iterator[tuple[NDArray[np.float64], NDArray[np.uint8] | None]]:
    """Blocks of valid points of one scan in the file's frame (m), with their colours."""
    with library_errors(path, _BROKEN):
        fields = set(header.point_fields)
        spherical = not set(_CARTESIAN) <= fields
        flag = "sphericalInvalidState" if spherical else "cartesianInvalidState"
        coloured = set(_COLOURS) <= fields
        wanted = [*(_SPHERICAL if spherical else _CARTESIAN), *(_COLOURS if coloured else ())]
        wanted += [flag] if flag in fields else []
        columns, buffers = file.make_buffers(wanted, BLOCK_POINTS)
        reader = header.points.reader(buffers)
        turn = np.asarray(header.rotation_matrix, dtype=np.float64)
        shift = np.asarray(header.translation, dtype=np.float64)
    while True:
        with library_errors(path, "its points cannot be unpacked"):
            count = int(reader.read())
        if count == 0:
            reader.close()
            return
        rows = {name: column[:count] for name, column in columns.items()}
        if flag in rows:
            # 0: valid; 1: direction only; 2: neither (ASTM E2807, table of cartesianInvalidState).
            valid = rows[flag] == 0
            rows = {name: column[valid] for name, column in rows.items()}
        local = _from_spherical(rows) if spherical else np.stack([rows[name] for name in _CARTESIAN], axis=1)
        colour = np.stack([rows[name] for name in _COLOURS], axis=1) if coloured else None
        yield local @ turn.T + shift, colour


def _from_spherical(rows: dict[str, NDArray[Any]]) -> NDArray[np.float64]:
    """Cartesian from range, azimuth and elevation in radians, elevation from the xy plane (ASTM E2807)."""
    reach, azimuth, elevation = (rows[name] for name in _SPHERICAL)
    flat = reach * np.cos(elevation)
    return np.stack([flat * np.cos(azimuth), flat * np.sin(azimuth), reach * np.sin(elevation)], axis=1)
