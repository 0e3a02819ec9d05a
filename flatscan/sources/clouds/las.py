"""LAS and LAZ: integer coordinates, read in chunks into one array."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import UP_Z, scan_from_store
from flatscan.sources.clouds.las_check import check_chunk_table, check_record_counts
from flatscan.sources.clouds.las_units import CrsUnit, unit_from_crs
from flatscan.sources.clouds.point_store import BLOCK_POINTS, PointStore
from flatscan.sources.guard import EXPORT_AGAIN, check_declared, library_errors

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

_BROKEN = "it cannot be read as LAS or LAZ"
_STEP_SAMPLE = 100_000
_EIGHT_BITS = 255
#: Beyond these a header is spoilt: one count a kilometre, further than the moon.
_MOST_SCALE, _MOST_OFFSET = 1e3, 1e9


def read_las(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a LAS or LAZ file (ASPRS LAS 1.0 to 1.4), z up and gravity-aligned by the format.

    Units come from the coordinate system in the header where there is one; points flagged as
    withheld are left out, as the format asks; ``point_source_id`` tells the stations apart.
    """
    import laspy

    check_record_counts(path)
    with library_errors(path, _BROKEN):
        reader = laspy.open(path, decompression_selection=_wanted_fields())
    with reader:
        with library_errors(path, _BROKEN):
            crs = unit_from_crs(path, reader.header)
        store, step = _read_points(path, reader, crs, progress, unit_is_stated=settings.unit is not None)
    return scan_from_store(
        path,
        "las",
        store,
        settings,
        unit=None if crs is None else crs.unit,
        usual_units=("m",),
        up=UP_Z,
        gravity_known=True,
        step=step,
        inferences=(f"{path.name}: z is up and truly vertical, by the format",),
    )


def _wanted_fields() -> Any:
    """The fields this reader uses; LAZ 1.4 packs them apart, so the others cost nothing."""
    from laspy import DecompressionSelection as Fields

    return Fields.base().decompress_z().decompress_flags().decompress_point_source_id().decompress_rgb()


def _read_points(
    path: Path, reader: Any, crs: CrsUnit | None, progress: Progress, *, unit_is_stated: bool
) -> tuple[PointStore, float]:
    """All points, in the unit of x and y, with the coordinate step in that unit.

    A unit that the user states is that of all three axes, whatever the file says of its heights.
    """
    header = reader.header
    declared, size = int(header.point_count), path.stat().st_size
    if header.are_points_compressed:
        check_chunk_table(path, header)
    else:
        check_declared(path, declared, header.point_format.size, size - header.offset_to_point_data)
    # A packed file rarely takes under a byte a point; the store grows for one that does.
    store = PointStore(min(declared, size))
    scales = np.array(header.scales, dtype=np.float64)
    offsets = np.array(header.offsets, dtype=np.float64)
    if not ((scales > 0.0) & (scales < _MOST_SCALE) & (np.abs(offsets) < _MOST_OFFSET)).all():
        raise InputError(path, f"its header scales coordinates by {scales} from {offsets}", EXPORT_AGAIN)
    z_factor = 1.0 if crs is None or unit_is_stated else crs.z_mm / crs.unit.mm
    step, read = 0.0, 0
    total = -(-declared // BLOCK_POINTS)
    for points in progress.track(_chunks(path, reader), label=f"reading {path.name}", total=total):
        if read == 0:
            step = max(*scales[:2], scales[2] * _integer_step(points.Z) * z_factor)
        read += len(points)
        xyz = np.empty((len(points), 3))
        for axis, name in enumerate("XYZ"):
            np.multiply(points[name], scales[axis], out=xyz[:, axis])
        xyz += offsets
        xyz[:, 2] *= z_factor
        keep = ~np.asarray(points.withheld, dtype=bool) if _has(points, "withheld") else None
        _add(store, xyz, points, keep)
    if read < declared:
        check_declared(path, declared, 1.0, read)
    return store, float(step)


def _chunks(path: Path, reader: Any) -> Iterator[Any]:
    iterator = reader.chunk_iterator(BLOCK_POINTS)
    while True:
        with library_errors(path, "its points cannot be unpacked"):
            points = next(iterator, None)
        if points is None or not len(points):
            return
        yield points


def _add(store: PointStore, xyz: NDArray[np.float64], points: Any, keep: NDArray[np.bool_] | None) -> None:
    view = np.asarray(points.point_source_id, dtype=np.uint16)
    colour = _colour(points) if _has(points, "red") else None
    if keep is not None and not keep.all():
        xyz, view, colour = xyz[keep], view[keep], None if colour is None else colour[keep]
    store.add(xyz, view=view, colour=colour)


def _has(points: Any, name: str) -> bool:
    return name in points.point_format.dimension_names


def _colour(points: Any) -> NDArray[np.uint8]:
    """(k, 3) uint8: the format asks for 16 bits, many writers store 8."""
    rgb = np.stack([np.asarray(points[name]) for name in ("red", "green", "blue")], axis=1)
    return (rgb >> 8 if rgb.max(initial=0) > _EIGHT_BITS else rgb).astype(np.uint8)


def _integer_step(z: NDArray[np.int32]) -> int:
    """Largest step that all sampled heights are multiples of: a fine header scale may hide coarse heights."""
    sample = np.asarray(z[:_STEP_SAMPLE], dtype=np.int64)
    step = int(np.gcd.reduce(sample - sample[0])) if len(sample) else 0
    return step or 1
