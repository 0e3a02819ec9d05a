"""Writers of one small room in every cloud and mesh format, and the room's points.

The room is exact: a floor falling 6 mm/m along x and 4 mm/m against y, a box on it, one wall.
Lengths in metres, as most files have them.
"""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pye57
import trimesh
from pypcd4 import Encoding, PointCloud

FALL = (0.006, -0.004)
BOX = (1.0, 1.6, 0.8, 1.1, 0.35)


def tilted_floor_with_box() -> np.ndarray:
    """(n, 3) float64, metres: 7 x 12 dm steps of a falling floor, a box on it and two walls."""
    x, y = (a.ravel() for a in np.meshgrid(np.arange(0.05, 4.2, 0.05), np.arange(0.05, 3.1, 0.04)))
    in_box = (x > BOX[0]) & (x < BOX[1]) & (y > BOX[2]) & (y < BOX[3])
    floor = np.c_[x, y, FALL[0] * x + FALL[1] * y + BOX[4] * in_box]
    u, z = (a.ravel() for a in np.meshgrid(np.arange(0.05, 4.2, 0.05), np.arange(0.1, 1.4, 0.05)))
    return np.r_[floor, np.c_[u, np.zeros_like(u), z]]


TRUTH = tilted_floor_with_box()


def write_las(path: Path, points: np.ndarray, *, scale: float = 0.0001, **fields: np.ndarray) -> laspy.LasData:
    header = laspy.LasHeader(point_format=fields.pop("point_format", 7), version="1.4")
    header.scales = [scale] * 3
    header.offsets = np.floor(points.min(axis=0))
    las = laspy.LasData(header)
    las.xyz = points
    for name, column in fields.items():
        las[name] = column
    las.write(path)
    return las


def write_ply(path: Path, points: np.ndarray, order: str = "<", kind: str = "f8") -> None:
    names = {"<": "binary_little_endian", ">": "binary_big_endian"}
    word = {"f8": "double", "f4": "float"}[kind]
    header = f"ply\nformat {names[order]} 1.0\ncomment made for a test\nelement vertex {len(points)}\n"
    # A colour between the coordinates: a reader that assumes x y z lead the row would read rubbish.
    header += f"property {word} x\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n"
    header += f"property {word} y\nproperty {word} z\nend_header\n"
    fields = [("x", order + kind), ("rgb", "u1", 3), ("y", order + kind), ("z", order + kind)]
    rows = np.zeros(len(points), dtype=fields)
    rows["x"], rows["y"], rows["z"] = points.T
    rows["rgb"] = (10, 20, 30)
    path.write_bytes(header.encode() + rows.tobytes())


def write_ply_ascii(path: Path, points: np.ndarray) -> None:
    head = f"ply\nformat ascii 1.0\nelement vertex {len(points)}\nproperty float nx\n"
    head += "property float x\nproperty float y\nproperty float z\nend_header\n"
    rows = "".join(f"0 {x:.5f} {y:.5f} {z:.5f}\n" for x, y, z in points)
    path.write_text(head + rows)


def write_e57(
    path: Path, points: np.ndarray, rotation=(1.0, 0.0, 0.0, 0.0), translation=(0.0, 0.0, 0.0), **more
) -> None:
    with pye57.E57(str(path), mode="w") as file:
        add_e57_scan(file, points, rotation, translation, **more)


def add_e57_scan(file: pye57.E57, points: np.ndarray, rotation, translation, **more: np.ndarray) -> None:
    columns = {f"cartesian{axis}": np.ascontiguousarray(points[:, k]) for k, axis in enumerate("XYZ")}
    file.write_scan_raw(columns | more, rotation=np.array(rotation), translation=np.array(translation))


def write_pcd(path: Path, points: np.ndarray, encoding: str = "binary_compressed") -> None:
    PointCloud.from_xyz_points(points.astype(np.float32)).save(path, encoding=Encoding(encoding))


def write_text(path: Path, points: np.ndarray, fmt: str = "%.4f", delimiter: str = " ", header: str = "") -> None:
    np.savetxt(path, points, fmt=fmt, delimiter=delimiter, header=header, comments="")


def room_mesh() -> trimesh.Trimesh:
    """Falling floor of 4.2 x 3.1 m as two triangles of odd size, with a box standing on it."""
    corners = np.array([(0, 0), (4.2, 0), (4.2, 3.1), (0, 3.1), (1.3, 0)], dtype=float)
    z = corners @ FALL
    floor = trimesh.Trimesh(np.c_[corners, z], [(0, 4, 3), (4, 1, 2), (4, 2, 3)], process=False)
    box = trimesh.creation.box((0.6, 0.3, 0.35))
    box.apply_translation((1.3, 0.95, 0.5))
    return trimesh.util.concatenate([floor, box])


def write_gltf(path: Path, mesh: trimesh.Trimesh) -> None:
    for name, data in trimesh.Scene(mesh).export(file_type="gltf").items():
        (path if name.endswith(".gltf") else path.parent / name).write_bytes(data)


def write_mesh(path: Path, mesh: trimesh.Trimesh) -> None:
    if path.suffix == ".gltf":
        write_gltf(path, mesh)
    elif path.suffix == ".obj":
        mesh.export(path, digits=8)
    else:
        mesh.export(path)
