"""Every cloud and mesh format gives back the points that were written, to its own step."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from flatscan.settings import ReadSettings
from flatscan.sources import read
from flatscan.sources.table import READERS


@dataclass(frozen=True)
class Case:
    row: str
    suffix: str
    #: Writer in oracles/cloud_files.py with its options.
    write: str
    options: dict[str, str]
    #: Half the last digit or step written, mm; float32 of 4.2 m: half of 2^-22 m = 0.00024 mm.
    half_step_mm: float


SINGLE = 0.00024
CLOUDS = [
    Case("las", ".las", "write_las", {}, 0.05),
    Case("las", ".laz", "write_las", {}, 0.05),
    Case("e57", ".e57", "write_e57", {}, SINGLE),
    Case("ply", ".ply", "write_ply", {}, 0.0),
    Case("ply", ".ply", "write_ply", {"order": ">"}, 0.0),
    Case("ply", ".ply", "write_ply", {"order": ">", "kind": "f4"}, SINGLE),
    Case("ply", ".ply", "write_ply_ascii", {}, 0.005),
    Case("pcd", ".pcd", "write_pcd", {"encoding": "ascii"}, SINGLE),
    Case("pcd", ".pcd", "write_pcd", {"encoding": "binary"}, SINGLE),
    Case("pcd", ".pcd", "write_pcd", {"encoding": "binary_compressed"}, SINGLE),
    Case("text", ".xyz", "write_text", {}, 0.05),
    Case("text", ".csv", "write_text", {"delimiter": ",", "header": "X,Y,Z"}, 0.05),
    Case("text", ".txt", "write_text", {"delimiter": "\t", "header": '"x [m]"\t"y [m]"\t"z [m]"'}, 0.05),
    Case("text", ".asc", "write_text", {"fmt": "%.3e"}, 0.5),
]
MESHES = ("obj", "stl", "ply", "glb", "gltf")


@pytest.mark.parametrize("case", CLOUDS, ids=lambda c: f"{c.row}{c.suffix}")
def test_points_come_back_to_the_formats_step(tmp_path: Path, cloud_files: ModuleType, case: Case) -> None:
    file = tmp_path / f"room{case.suffix}"
    getattr(cloud_files, case.write)(file, cloud_files.TRUTH, **case.options)
    scan = read(file)
    got = scan.points_mm + scan.origin_mm
    assert got.shape == cloud_files.TRUTH.shape
    # Our own narrowing to float32 of at most 4200 mm from the origin: half of 2^-11 mm.
    assert np.abs(got - 1000.0 * cloud_files.TRUTH).max() <= case.half_step_mm + 2.0**-12 + 1e-9
    assert scan.kind == "cloud"
    assert scan.inputs[0].kind == case.row
    assert len(scan.inputs[0].sha256) == 64
    assert scan.up is not None
    assert np.allclose(scan.up, (0, 0, 1))
    assert scan.gravity_known is (case.row in {"las", "e57"})


@pytest.mark.parametrize("name", MESHES)
def test_mesh_samples_lie_on_the_mesh_evenly_by_area(tmp_path: Path, cloud_files: ModuleType, name: str) -> None:
    file = tmp_path / f"room.{name}"
    cloud_files.write_mesh(file, cloud_files.room_mesh())
    density = 2500.0
    scan = read(file, ReadSettings(mesh_points_per_m2=density, unit="m"))
    points = scan.points_mm + scan.origin_mm
    on_floor = points[:, 2] < 200.0
    off_mm = points[on_floor, 2] - points[on_floor, :2] @ cloud_files.FALL
    # Heights are small, so single precision costs them nothing; x and y to 2^-12 mm times a fall of 0.006 neither.
    assert np.abs(off_mm).max() < 0.002
    assert scan.kind == "mesh"
    assert "mesh_smoothed" in {c.name for c in scan.caveats}
    # Each face gets its share to within one point (systematic sampling); the floor has three faces.
    assert abs(np.count_nonzero(on_floor) - density * 4.2 * 3.1 * np.sqrt(1 + 0.006**2 + 0.004**2)) <= 3
    # 2500 points per m2 is 25 in a 100 mm square: independent draws would spread by 5, this must be far more even.
    per_cell = np.histogram2d(points[on_floor, 0], points[on_floor, 1], bins=(42, 31), range=((0, 4200), (0, 3100)))[0]
    assert per_cell.std() < 2.5
    assert len(scan.inputs) == (3 if name == "gltf" else 1)


def test_mesh_sampling_repeats_with_its_seed_and_changes_with_another(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.obj"
    cloud_files.write_mesh(file, cloud_files.room_mesh())
    few = ReadSettings(mesh_points_per_m2=500.0)
    again = read(file, few)
    assert np.array_equal(read(file, few).points_mm, again.points_mm)
    other = read(file, ReadSettings(mesh_points_per_m2=500.0, mesh_seed=7))
    assert not np.array_equal(other.points_mm, again.points_mm)


def test_every_cloud_row_of_the_table_is_written_and_read_here() -> None:
    rows = {row.name for row in READERS if row.group == "cloud"}
    assert rows == {case.row for case in CLOUDS} | set(MESHES)
