"""PLY: clouds read in blocks with all their digits; files with faces go the way of meshes."""

from __future__ import annotations

import io
from typing import IO, TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import scan_from_store
from flatscan.sources.clouds.number_rows import NumberFormat, number_blocks
from flatscan.sources.clouds.ply_header import PlyElement, PlyHeader, read_ply_header
from flatscan.sources.clouds.point_store import BLOCK_POINTS, PointStore
from flatscan.sources.guard import EXPORT_AGAIN, check_declared, library_errors

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

_COLOURS = (("red", "green", "blue"), ("r", "g", "b"), ("diffuse_red", "diffuse_green", "diffuse_blue"))
_XYZ = ("x", "y", "z")
#: An ASCII row of n numbers takes at least a digit and a separator for each.
_ASCII_BYTES = 2


def read_ply(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a PLY file (ASCII, little or big endian) as a cloud, or as a mesh when it has faces."""
    with library_errors(path, "it cannot be read"), path.open("rb") as stream:
        header = read_ply_header(path, stream)
        size = path.stat().st_size - header.data_start
        if header.count("face") or header.count("tristrips"):
            from flatscan.sources.clouds.mesh import read_mesh

            for element in header.elements:
                least = 1 if element.row_type is None else element.row_type.itemsize
                check_declared(path, element.count, _ASCII_BYTES if header.ascii else least, size)
            return read_mesh(path, settings, progress)
        vertex = _vertex(path, header)
        store, step = _read_vertices(path, stream, header, vertex, size, progress)
    return scan_from_store(path, "ply", store, settings, step=step)


def _vertex(path: Path, header: PlyHeader) -> PlyElement:
    vertex = header.elements[0] if header.elements else None
    if vertex is None or vertex.name != "vertex" or vertex.row_type is None:
        raise InputError(path, "its PLY header does not start with plain vertices", "Export it as a point cloud")
    if not set(_XYZ) <= {name for name, _ in vertex.fields}:
        raise InputError(path, "its vertices have no x, y and z", "Export it as a point cloud")
    return vertex


def _read_vertices(
    path: Path, stream: IO[bytes], header: PlyHeader, vertex: PlyElement, size: int, progress: Progress
) -> tuple[PointStore, float]:
    names = [name for name, _ in vertex.fields]
    colours = next((c for c in _COLOURS if set(c) <= set(names)), ())
    row_type = vertex.row_type
    if row_type is None:
        raise ValueError("rows of varying length")
    least = _ASCII_BYTES * len(names) if header.ascii else row_type.itemsize
    # The last number of an ASCII file needs no separator.
    check_declared(path, vertex.count, least, size + header.ascii)
    store = PointStore(vertex.count)
    read = _ascii_blocks if header.ascii else _binary_blocks
    total = -(-vertex.count // BLOCK_POINTS)
    blocks = read(path, stream, header, vertex, (*_XYZ, *colours))
    for block in progress.track(blocks, label=f"reading {path.name}", total=total):
        store.add(np.ascontiguousarray(block[:, :3]), colour=_colour(block[:, 3:], vertex) if colours else None)
    if store.seen < vertex.count:
        raise InputError(path, f"{store.seen:,} of the {vertex.count:,} points it promises are there", EXPORT_AGAIN)
    single = not header.ascii and dict(vertex.fields)["z"] in {"<f4", ">f4"}
    return store, store.float32_step() if single else 0.0


def _binary_blocks(
    path: Path, stream: IO[bytes], header: PlyHeader, vertex: PlyElement, names: tuple[str, ...]
) -> Iterator[NDArray[np.float64]]:
    del path, header
    for start in range(0, vertex.count, BLOCK_POINTS):
        rows = np.fromfile(stream, dtype=vertex.row_type, count=min(BLOCK_POINTS, vertex.count - start))
        with np.errstate(invalid="ignore"):  # any bit pattern of NaN is a missing reading
            block = np.stack([rows[name].astype(np.float64) for name in names], axis=1)
        yield block


def _ascii_blocks(
    path: Path, stream: IO[bytes], header: PlyHeader, vertex: PlyElement, names: tuple[str, ...]
) -> Iterator[NDArray[np.float64]]:
    order = [name for name, _ in vertex.fields]
    text = io.TextIOWrapper(stream, encoding="latin-1")
    columns = tuple(order.index(name) for name in names)
    yield from number_blocks(path, text, NumberFormat(), columns, first_line=header.lines + 1, rows=vertex.count)


def _colour(rgb: NDArray[np.float64], vertex: PlyElement) -> NDArray[np.uint8]:
    """(k, 3) uint8 from bytes, 16-bit numbers or floats in 0 to 1."""
    kind = dict(vertex.fields).get("red", "u1")
    factor = 255.0 if kind and kind[-2] == "f" else 255.0 / 65535.0 if kind and kind[-2:] == "u2" else 1.0
    return np.clip(np.rint(rgb * factor), 0, 255).astype(np.uint8)
