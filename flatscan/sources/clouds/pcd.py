"""PCD: ASCII, binary and compressed, read by pypcd4."""

from __future__ import annotations

import struct
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import scan_from_store
from flatscan.sources.clouds.point_store import BLOCK_POINTS, PointStore
from flatscan.sources.guard import EXPORT_AGAIN, check_declared, library_errors

if TYPE_CHECKING:
    from pathlib import Path

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

_BROKEN = "it cannot be read as PCD"
_MOST_HEADER_LINES = 40
#: LZF packs at most 264 bytes into 3.
_LZF_BEST = 1.0 / 88.0
_NO_VIEWPOINT = (0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0)


def read_pcd(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a PCD file; its VIEWPOINT, unless left at zero, is where the sensor stood."""
    from pypcd4.pypcd4 import PointCloud

    with library_errors(path, _BROKEN), path.open("rb") as stream:
        declared = _check_header(path, stream)
        stream.seek(0)
        cloud = PointCloud.from_fileobj(stream)
    if len(cloud.pc_data) < declared:
        raise InputError(path, f"{len(cloud.pc_data):,} of the {declared:,} points it promises are there", EXPORT_AGAIN)
    if not set("xyz") <= set(cloud.fields):
        raise InputError(path, "its points have no x, y and z", "Export it with the fields x, y and z")
    store = PointStore(declared)
    starts = range(0, declared, BLOCK_POINTS)
    for start in progress.track(starts, label=f"reading {path.name}", total=len(starts)):
        rows = cloud.pc_data[start : start + BLOCK_POINTS]
        with np.errstate(invalid="ignore"):  # any bit pattern of NaN is a missing reading
            block = np.stack([rows[axis].astype(np.float64) for axis in "xyz"], axis=1)
        store.add(block)
    pose = tuple(float(v) for v in cloud.metadata.viewpoint)
    single = cloud.pc_data.dtype["z"] == np.float32 and cloud.metadata.data != "ascii"
    return scan_from_store(
        path,
        "pcd",
        store,
        settings,
        viewpoints=None if pose == _NO_VIEWPOINT else np.array([pose[:3]]),
        step=store.float32_step() if single else 0.0,
    )


def _check_header(path: Path, stream: IO[bytes]) -> int:
    """The number of points, after checking that the file is long enough to hold them."""
    from pypcd4.pypcd4 import MetaData

    lines: list[str] = []
    for raw in stream:
        lines.append(raw.decode("utf-8", errors="replace").strip())
        if lines[-1].startswith("DATA") or len(lines) > _MOST_HEADER_LINES:
            break
    meta: Any = MetaData.parse_header(lines)
    row_type = meta.build_dtype()
    left = path.stat().st_size - stream.tell()
    encoding = str(getattr(meta.data, "value", meta.data))
    if encoding == "ascii":
        check_declared(path, meta.points, 2 * len(row_type), left + 1)
    elif encoding == "binary":
        check_declared(path, meta.points, row_type.itemsize, left)
    else:
        check_declared(path, meta.points, row_type.itemsize * _LZF_BEST, left)
        unpacked = struct.unpack("<II", stream.read(8))[1]
        check_declared(path, meta.points, row_type.itemsize, unpacked)
        check_declared(path, unpacked, _LZF_BEST, left)
    return int(meta.points)
