"""Meshes (OBJ, STL, PLY with faces, glTF, GLB) read by trimesh and sampled by area."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import unquote

import numpy as np

from flatscan.caveats import caveat
from flatscan.constants import MM2_PER_M2, MM_PER_M
from flatscan.errors import InputError, SettingsError
from flatscan.progress import SILENT, Progress
from flatscan.sources.clouds.cloud import resolve_unit, scan_from_store
from flatscan.sources.clouds.mesh_sampling import face_areas, sample_faces
from flatscan.sources.clouds.point_store import BLOCK_POINTS, FARTHEST, PointStore
from flatscan.sources.guard import EXPORT_AGAIN, fingerprint, library_errors, named_by
from flatscan.sources.inference import FileUnit, extents

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.scan import Scan

#: A bound on memory (144 MB of points); 300 m² of floor, walls and ceiling at the usual density.
MOST_SAMPLES = 12_000_000
_GLTF = frozenset({"gltf", "glb"})
# glTF 2.0, 3.4: "The units for all linear distances are meters", "+Y up".
_GLTF_UNIT = FileUnit("m", MM_PER_M, "the glTF format")
_UP_Y = (0.0, 1.0, 0.0)

Mesh = tuple["NDArray[np.float64]", "NDArray[np.int64]"]


def read_mesh(path: Path, settings: ReadSettings, progress: Progress = SILENT) -> Scan:
    """Read a mesh with its node transforms and sample its surface.

    glTF states metres and +Y up, though nobody promises that its up is plumb; the other formats state nothing.
    A file that holds only vertices is read as a cloud. The surface is sampled at places drawn with
    ``settings.mesh_seed``, so that one file always gives the same points.
    """
    name = _type_of(path)
    buffers = _buffers(path, name)
    parts, loose = _load(path, name)
    unit, up = (_GLTF_UNIT, _UP_Y) if name in _GLTF else (None, None)
    inputs = (fingerprint(path, name), *(fingerprint(buffer, name) for buffer in buffers))
    if not parts:
        store = PointStore(sum(len(p) for p in loose))
        for points in loose:
            store.add(points)
        return scan_from_store(path, name, store, settings, unit=unit, up=up, inputs=inputs)
    corners = np.concatenate([vertices for vertices, _ in parts])
    corners = corners[np.isfinite(corners).all(axis=1)]
    store, lines = _sample(path, parts, corners, settings, unit, progress)
    single = bool((corners == corners.astype(np.float32)).all())
    return scan_from_store(
        path,
        name,
        store,
        settings,
        unit=unit,
        up=up,
        step=store.float32_step() if single else 0.0,
        kind="mesh",
        inputs=inputs,
        inferences=lines,
        caveats=(caveat("mesh_smoothed"),),
    )


def _type_of(path: Path) -> str:
    """Mesh type by the first bytes where they are unmistakable, else by the suffix."""
    with path.open("rb") as stream:
        start = stream.read(4)
    if start == b"glTF":
        return "glb"
    return "ply" if start[:3] == b"ply" else path.suffix.lower().lstrip(".")


def _load(path: Path, name: str) -> tuple[list[Mesh], list[NDArray[np.float64]]]:
    """The meshes with faces, and the vertices of those without, all in the scene's frame."""
    import trimesh

    with library_errors(path, "it cannot be read as a mesh"):
        scene = trimesh.load_scene(path, file_type=name, process=False, skip_materials=True)
        parts: list[Mesh] = []
        loose: list[NDArray[np.float64]] = []
        for geometry in cast("list[Any]", scene.dump()):
            vertices = np.array(geometry.vertices, dtype=np.float64)
            vertices[~(np.abs(vertices) < FARTHEST)] = np.nan
            faces = np.asarray(getattr(geometry, "faces", ()), dtype=np.int64)
            if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
                raise InputError(path, "some of its faces name vertices that are not there", EXPORT_AGAIN)
            if len(faces):
                parts.append((vertices, faces))
            elif len(vertices):
                loose.append(vertices)
    return parts, loose


def _sample(
    path: Path,
    parts: Sequence[Mesh],
    corners: NDArray[np.float64],
    settings: ReadSettings,
    by_format: FileUnit | None,
    progress: Progress,
) -> tuple[PointStore, tuple[str, ...]]:
    if not settings.mesh_points_per_m2 > 0.0:
        raise SettingsError("mesh_points_per_m2", "it must be above zero", "Give points per square metre, as 40000")
    areas = [float(face_areas(vertices, faces).sum()) for vertices, faces in parts]
    if not len(corners) or sum(areas) <= 0.0:
        raise InputError(path, "its faces have no area", "Check what was exported; a capture of a floor is needed")
    unit = resolve_unit(path, extents(corners), settings, by_format)[0]
    area_m2 = sum(areas) * unit.mm**2 / MM2_PER_M2
    density = min(settings.mesh_points_per_m2, MOST_SAMPLES / area_m2)
    counts = [max(1, round(density * area_m2 * area / sum(areas))) if area > 0.0 else 0 for area in areas]
    store = PointStore(sum(counts))
    rng = np.random.default_rng(settings.mesh_seed)
    blocks = (
        block
        for (vertices, faces), count in zip(parts, counts, strict=True)
        for block in sample_faces(vertices, faces, count, rng=rng, block=BLOCK_POINTS)
    )
    for block in progress.track(blocks, label=f"sampling {path.name}"):
        store.add(block)
    line = f"{path.name}: {area_m2:,.1f} m² of mesh sampled at {density:,.0f} points per m²"
    if density < settings.mesh_points_per_m2:
        line += f" (not {settings.mesh_points_per_m2:,.0f}: that would be over {MOST_SAMPLES:,} points)"
    return store, (line,)


def _buffers(path: Path, name: str) -> tuple[Path, ...]:
    """The geometry files beside a .gltf, which are as much input as the file that names them."""
    if name != "gltf":
        return ()
    with library_errors(path, "it cannot be read as glTF"):
        tree: dict[str, Any] = json.loads(path.read_bytes())
        uris = [str(buffer.get("uri", "data:")) for buffer in tree.get("buffers", ())]
    return tuple(named_by(path, unquote(uri)) for uri in uris if not uri.startswith("data:"))
