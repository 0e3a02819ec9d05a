"""Clouds and meshes that cannot be used: one sentence each, and nothing but ``InputError``."""

from __future__ import annotations

import struct
import sys
import tempfile
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.errors import FlatscanError, InputError, MissingPackageError
from flatscan.settings import ReadSettings
from flatscan.sources import read
from flatscan.sources.table import READERS

FEW = ReadSettings(mesh_points_per_m2=100)
BINARY = ("las", "laz", "e57", "ply", "pcd", "stl", "glb", "mesh_ply")


def write(cloud_files: ModuleType, folder: Path, name: str) -> Path:
    """A sound small file of that kind."""
    file = folder / f"room.{name.removeprefix('mesh_')}"
    small = cloud_files.TRUTH[::5]
    if name in {"las", "laz"}:
        cloud_files.write_las(file, small)
    elif name in {"ply", "pcd", "e57"}:
        getattr(cloud_files, f"write_{name}")(file, small)
    else:
        cloud_files.write_mesh(file, cloud_files.room_mesh())
    return file


@pytest.fixture(scope="module")
def sound(cloud_files: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return Sound({name: write(cloud_files, tmp_path_factory.mktemp(name), name).read_bytes() for name in BINARY})


class Sound(dict[str, bytes]):
    """Sound files by kind, without their bytes in every message."""

    def __repr__(self) -> str:
        return "sound files"


def check_sentence(error: FlatscanError, file: str) -> None:
    text = str(error)
    assert file in text
    assert "\n" not in text
    assert text.endswith(".")
    assert error.advice[0].isupper()


@pytest.mark.parametrize("name", BINARY)
@given(share=st.floats(0.0, 0.999))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_cut_file_is_one_sentence(sound: dict[str, bytes], name: str, share: float) -> None:
    whole = sound[name]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"room.{name.removeprefix('mesh_')}"
        file.write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(InputError) as caught:
            read(file, FEW)
    check_sentence(caught.value, file.name)


@pytest.mark.parametrize("name", BINARY)
@given(where=st.floats(0.0, 1.0), junk=st.binary(min_size=1, max_size=12))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_bytes_written_over_never_raise_anything_else(
    sound: dict[str, bytes], name: str, where: float, junk: bytes
) -> None:
    """Spoilt points may still read as points; what must not happen is another exception."""
    whole = bytearray(sound[name])
    at = int(where * (len(whole) - len(junk)))
    whole[at : at + len(junk)] = junk
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"room.{name.removeprefix('mesh_')}"
        file.write_bytes(whole)
        try:
            read(file, FEW)
        except InputError as error:
            check_sentence(error, file.name)


@pytest.mark.parametrize("suffix", [s for row in READERS if row.group == "cloud" for s in row.suffixes])
def test_empty_and_foreign_content(tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"room{suffix}"
    file.write_bytes(b"")
    with pytest.raises(InputError, match="is empty") as caught:
        read(file)
    check_sentence(caught.value, file.name)
    file.write_bytes(b"\x00\x01\x02 not a cloud at all \xff" * 40)
    with pytest.raises(InputError, match="first bytes") as caught:
        read(file)
    check_sentence(caught.value, file.name)


def test_unknown_suffix_names_the_known_kinds_in_two_lines(tmp_path: Path) -> None:
    file = tmp_path / "room.docx"
    file.write_bytes(b"some words")
    with pytest.raises(InputError) as caught:
        read(file)
    assert all(row.kind in caught.value.advice for row in READERS)
    assert len(caught.value.advice) < 2 * 80


def test_paths_that_are_not_there_or_hold_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no such file"):
        read(tmp_path / "nothing.las")
    with pytest.raises(InputError, match="no capture"):
        read(tmp_path)
    with pytest.raises(InputError, match="nothing to read"):
        read([])

    def refuse(self: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", refuse)
    with pytest.raises(InputError, match="permission denied") as caught:
        read(tmp_path)
    check_sentence(caught.value, tmp_path.name)


def text_cloud(folder: Path, points: np.ndarray, fmt: str = "%.4f") -> Path:
    file = folder / "room.xyz"
    np.savetxt(file, points, fmt=fmt)
    return file


def test_three_points(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="only 3 points"):
        read(text_cloud(tmp_path, np.array([(0, 0, 0), (4, 0, 0.0), (0, 3, 0)])))


def test_nothing_but_nan(tmp_path: Path, cloud_files: ModuleType) -> None:
    gone = np.full((500, 3), np.nan)
    with pytest.raises(InputError, match="finite"):
        read(text_cloud(tmp_path, gone))
    for name in ("ply", "pcd"):
        getattr(cloud_files, f"write_{name}")(tmp_path / f"room.{name}", gone)
        with pytest.raises(InputError, match="finite"):
            read(tmp_path / f"room.{name}")


def test_all_on_a_line_at_any_slant(tmp_path: Path) -> None:
    along = np.linspace(0.0, 5.0, 400)[:, None] * np.array([0.6, 0.7, 0.39])
    noise = np.random.default_rng(0).normal(0.0, 0.001, along.shape)
    with pytest.raises(InputError, match="one line"):
        read(text_cloud(tmp_path, along + noise))
    strip = along + np.random.default_rng(0).uniform(-0.05, 0.05, (400, 1)) * np.array([0.76, -0.65, 0.0])
    assert len(read(text_cloud(tmp_path, strip)).points_mm) == 400


def test_one_point_many_times(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        read(text_cloud(tmp_path, np.full((300, 3), 1.5)), ReadSettings(unit="m"))


def test_headers_that_promise_far_too_much_do_not_allocate(tmp_path: Path, sound: dict[str, bytes]) -> None:
    huge = 1_000_000_000_000
    ply = sound["ply"].split(b"\n")
    ply = [b"element vertex %d" % huge if line.startswith(b"element vertex") else line for line in ply]
    (tmp_path / "a.ply").write_bytes(b"\n".join(ply))
    pcd = sound["pcd"].split(b"\n")
    for key in (b"POINTS", b"WIDTH"):
        pcd = [key + b" %d" % huge if line.startswith(key + b" ") else line for line in pcd]
    (tmp_path / "a.pcd").write_bytes(b"\n".join(pcd))
    for name in ("las", "laz"):
        # LAS 1.4, table 3: number of point records, unsigned long long at byte 247.
        las = bytearray(sound[name])
        las[247:255] = struct.pack("<Q", huge)
        (tmp_path / f"a.{name}").write_bytes(las)
    ascii_ply = b"ply\nformat ascii 1.0\nelement vertex %d\n" % huge
    ascii_ply += b"property float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n"
    (tmp_path / "b.ply").write_bytes(ascii_ply)
    mesh = b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
    mesh += b"element face %d\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n" % huge
    (tmp_path / "c.ply").write_bytes(mesh)
    for file in sorted(tmp_path.iterdir()):
        with pytest.raises(InputError) as caught:
            read(file)
        check_sentence(caught.value, file.name)


def test_pcd_that_unpacks_to_far_more_than_it_can(tmp_path: Path, sound: dict[str, bytes]) -> None:
    data = sound["pcd"]
    at = data.index(b"binary_compressed\n") + len(b"binary_compressed\n")
    bomb = data[: at + 4] + struct.pack("<I", 0xFFFFFFF0) + data[at + 8 :]
    (tmp_path / "a.pcd").write_bytes(bomb)
    with pytest.raises(InputError, match="promises"):
        read(tmp_path / "a.pcd")


def test_a_broken_text_line_is_named_by_its_number(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = text_cloud(tmp_path, cloud_files.TRUTH)
    lines = file.read_text().splitlines()
    lines[716] = "1.0 oops 2.0"
    file.write_text("x y z\n" + "\n".join(lines) + "\n")
    with pytest.raises(InputError, match="line 718 "):
        read(file)


def test_fewer_rows_than_the_first_line_promises(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = text_cloud(tmp_path, cloud_files.TRUTH)
    file.write_text(f"{len(cloud_files.TRUTH) + 1}\n" + file.read_text())
    with pytest.raises(InputError, match="promises"):
        read(file)


def test_mesh_faces_without_area_or_with_missing_corners(tmp_path: Path) -> None:
    file = tmp_path / "room.obj"
    file.write_text("v 0 0 0\nv 1 1 1\nv 2 2 2\nf 1 2 3\n")
    with pytest.raises(InputError, match="no area"):
        read(file)
    file.write_text("v 0 0 0\nv 4 1 0\nv 0 3 0\nf 1 2 9\n")
    with pytest.raises(InputError):
        read(file)
    # trimesh asks for the buffer that a .gltf names; a path out of the folder or a missing one is an input error.
    (tmp_path / "room.gltf").write_text('{"asset":{"version":"2.0"},"buffers":[{"uri":"gone.bin","byteLength":9}]}')
    with pytest.raises(InputError):
        read(tmp_path / "room.gltf")


def test_e57_without_its_package_says_how_to_get_it(
    tmp_path: Path, sound: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "room.e57"
    file.write_bytes(sound["e57"])
    monkeypatch.setitem(sys.modules, "pye57", None)
    with pytest.raises(MissingPackageError, match="pip install"):
        read(file)


def test_stray_points_do_not_decide_the_unit_and_do_not_stay(tmp_path: Path, cloud_files: ModuleType) -> None:
    spoilt = cloud_files.TRUTH.copy()
    spoilt[100] = (1e30, 0.0, 0.0)
    spoilt[200] = (4.0, -1e300, 0.0)
    spoilt[300] = (0.0, 0.0, 9e5)
    cloud_files.write_ply(tmp_path / "room.ply", spoilt)
    scan = read(tmp_path / "room.ply")
    sound = np.delete(cloud_files.TRUTH, (100, 200, 300), axis=0)
    assert np.abs(scan.points_mm + scan.origin_mm - 1000.0 * sound).max() < 0.001
    assert scan.colour is not None
    assert len(scan.colour) == len(sound)
    assert any("stray" in line for line in scan.inferences)


def test_las_counts_that_would_hang_or_end_the_process(tmp_path: Path, sound: dict[str, bytes]) -> None:
    """Both were found by spoiling bytes: the libraries loop for hours, or abort, on these numbers."""
    file = tmp_path / "room.laz"
    records = bytearray(sound["laz"])
    records[100:104] = struct.pack("<I", 0xFFFFFFF0)  # number of variable length records
    file.write_bytes(records)
    with pytest.raises(InputError, match="more records"):
        read(file)
    packed = bytearray(sound["laz"])
    start = struct.unpack_from("<I", packed, 96)[0]
    table_at = struct.unpack_from("<q", packed, start)[0]
    packed[table_at + 4 : table_at + 8] = struct.pack("<I", 0xFFFFFFF0)  # number of chunks
    file.write_bytes(packed)
    with pytest.raises(InputError, match="packed chunks"):
        read(file)
    whole = bytearray(sound["laz"])
    at = whole.index(struct.pack("<I", 50_000))  # points per chunk, in the LASzip record
    whole[at : at + 4] = struct.pack("<I", 0x4D000000)
    file.write_bytes(whole)
    with pytest.raises(InputError, match="packed chunks"):
        read(file)
