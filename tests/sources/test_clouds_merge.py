"""Several files as one capture, folders, and wrong names."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources import read


def test_clouds_merge_into_one_frame_with_a_view_each(tmp_path: Path, cloud_files: ModuleType) -> None:
    truth = cloud_files.TRUTH + np.array([500_000.0, 4_000_000.0, 50.0])
    left = truth[:, 0] < truth[:, 0].mean()
    cloud_files.write_las(tmp_path / "a.laz", truth[left])
    cloud_files.write_ply(tmp_path / "b.ply", truth[~left])
    scan = read([tmp_path / "a.laz", str(tmp_path / "b.ply")])
    got = scan.points_mm + scan.origin_mm
    assert np.abs(got - 1000.0 * np.r_[truth[left], truth[~left]]).max() < 0.05 + 0.001
    assert scan.view_of_point is not None
    assert np.array_equal(scan.view_of_point, np.repeat([0, 1], [left.sum(), (~left).sum()]))
    assert [i.kind for i in scan.inputs] == ["las", "ply"]
    assert any("share one coordinate frame" in line for line in scan.inferences)
    # The LAS file knows up; the PLY file does not promise that it is plumb.
    assert scan.up is not None
    assert not scan.gravity_known


def test_stations_of_merged_files_stay_apart(tmp_path: Path, cloud_files: ModuleType) -> None:
    half = len(cloud_files.TRUTH) // 2
    for name, where in (("a", (1.0, 1.0, 1.5)), ("b", (3.0, 1.0, 1.5))):
        cloud_files.write_e57(tmp_path / f"{name}.e57", cloud_files.TRUTH[:half] - where, translation=where)
    scan = read([tmp_path / "a.e57", tmp_path / "b.e57"])
    assert scan.viewpoints_mm is not None
    assert scan.view_of_point is not None
    assert np.allclose(scan.viewpoints_mm + scan.origin_mm, [(1000, 1000, 1500), (3000, 1000, 1500)])
    assert np.bincount(scan.view_of_point).tolist() == [half, half]
    assert scan.gravity_known


def test_parts_kilometres_apart_are_no_common_frame(tmp_path: Path, cloud_files: ModuleType) -> None:
    cloud_files.write_ply(tmp_path / "a.ply", cloud_files.TRUTH)
    cloud_files.write_ply(tmp_path / "b.ply", cloud_files.TRUTH + np.array([5000.0, 0.0, 0.0]))
    with pytest.raises(InputError, match="files taken together"):
        read([tmp_path / "a.ply", tmp_path / "b.ply"])


def test_kinds_that_cannot_be_one_capture(tmp_path: Path, cloud_files: ModuleType) -> None:
    cloud_files.write_ply(tmp_path / "a.ply", cloud_files.TRUTH)
    (tmp_path / "levels.csv").write_text("x,y,reading\n0,0,1\n1,0,2\n0,1,3\n1,1,2\n2,2,2\n")
    with pytest.raises(InputError, match=r"levels\.csv.* table of readings by hand, not a capture"):
        read([tmp_path / "a.ply", tmp_path / "levels.csv"])
    cloud_files.write_mesh(tmp_path / "b.stl", cloud_files.room_mesh())
    with pytest.raises(InputError, match="one capture"):
        read([tmp_path / "a.ply", tmp_path / "b.stl"], ReadSettings(mesh_points_per_m2=100))


def test_a_folder_gives_what_lies_in_it(tmp_path: Path, cloud_files: ModuleType) -> None:
    (tmp_path / "README.md").write_text("An invented room.\n")
    (tmp_path / "notes.txt").write_text("read with a scanner\n")
    cloud_files.write_las(tmp_path / "a.laz", cloud_files.TRUTH)
    one = read(tmp_path)
    assert [i.path.name for i in one.inputs] == ["a.laz"]
    assert any("a.laz" in line and "folder" in line for line in one.inferences)
    cloud_files.write_las(tmp_path / "b.laz", cloud_files.TRUTH + 0.01)
    assert len(read(tmp_path).points_mm) == 2 * len(one.points_mm)
    (tmp_path / "levels.csv").write_text("x,y,reading\n0,0,1\n1,0,2\n0,1,3\n1,1,2\n2,2,2\n")
    assert len(read(tmp_path).points_mm) == 2 * len(one.points_mm)  # what was read by hand is no capture


@pytest.mark.parametrize("name", ["room.ply", "room.scan", "room"])
def test_unmistakable_content_is_believed_over_its_name_and_said(
    tmp_path: Path, cloud_files: ModuleType, name: str
) -> None:
    cloud_files.write_las(tmp_path / "room.las", cloud_files.TRUTH)
    (tmp_path / "room.las").rename(tmp_path / name)
    scan = read(tmp_path / name)
    assert scan.inputs[0].kind == "las"
    assert any("first bytes" in line for line in scan.inferences)


def test_a_mesh_under_a_wrong_name(tmp_path: Path, cloud_files: ModuleType) -> None:
    cloud_files.write_mesh(tmp_path / "room.glb", cloud_files.room_mesh())
    (tmp_path / "room.glb").rename(tmp_path / "room.obj")
    scan = read(tmp_path / "room.obj", ReadSettings(mesh_points_per_m2=100))
    assert scan.inputs[0].kind == "glb"
    assert scan.up is not None
    assert tuple(scan.up) == (0.0, 1.0, 0.0)


def test_one_file_under_two_names_is_no_second_capture(tmp_path: Path, cloud_files: ModuleType) -> None:
    """A copy would pass for a second look at the floor and halve the variance of every height."""
    cloud_files.write_las(tmp_path / "a.laz", cloud_files.TRUTH)
    copy = tmp_path / "monday" / "again.laz"
    copy.parent.mkdir()
    copy.write_bytes((tmp_path / "a.laz").read_bytes())
    with pytest.raises(InputError, match="same file twice") as caught:
        read([tmp_path / "a.laz", copy])
    assert "a.laz" in str(caught.value)
    assert "again.laz" in str(caught.value)
    copy.rename(tmp_path / "b.laz")
    with pytest.raises(InputError, match=r"a\.laz.*b\.laz.*same file twice"):
        read(tmp_path)
    # As long, but another capture.
    cloud_files.write_ply(tmp_path / "c.ply", cloud_files.TRUTH)
    cloud_files.write_ply(tmp_path / "d.ply", cloud_files.TRUTH + 0.001)
    assert (tmp_path / "c.ply").stat().st_size == (tmp_path / "d.ply").stat().st_size
    assert len(read([tmp_path / "c.ply", tmp_path / "d.ply"]).points_mm) == 2 * len(cloud_files.TRUTH)


def test_a_capture_one_or_two_folders_deeper_is_named(tmp_path: Path, cloud_files: ModuleType) -> None:
    photos, kitchen = tmp_path / "images", tmp_path / "export" / "kitchen"
    for folder in (photos, kitchen):
        folder.mkdir(parents=True)
    (photos / "photo.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(64))
    with pytest.raises(InputError, match="no capture that can be read"):
        read(tmp_path)
    cloud_files.write_ply(kitchen / "room.ply", cloud_files.TRUTH)
    with pytest.raises(InputError, match="one of its folders does") as caught:
        read(tmp_path)
    assert str(caught.value).endswith(f"Give that one: {kitchen}.")
    (tmp_path / "hall").mkdir()
    (tmp_path / "hall" / "transforms.json").write_text("{}")
    with pytest.raises(InputError, match="2 of its folders do") as caught:
        read(tmp_path)
    assert str(caught.value).endswith(f"Give one of them, such as {tmp_path / 'hall'}.")
