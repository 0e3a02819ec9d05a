"""Unit and up axis: stated, promised by the format, or inferred, and always said."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from flatscan.errors import InputError, SettingsError
from flatscan.settings import ReadSettings, UpAxis
from flatscan.sources import read
from flatscan.sources.inference import infer_unit
from flatscan.sources.orientation import axis_vector
from flatscan.sources.up_axis import infer_up

Z = np.array([0.0, 0.0, 1.0])
Y = np.array([0.0, 1.0, 0.0])


def room(size_mm=(5300.0, 3700.0, 2500.0), *, ceiling=False, walls=4, seed=0, per_m2=1500.0) -> np.ndarray:
    """(n, 3) mm: floor, some walls, perhaps a ceiling, 2 mm of noise; z up, floor at 0."""
    rng = np.random.default_rng(seed)
    w, d, h = size_mm

    def patch(area_mm2: float, make) -> np.ndarray:  # type: ignore[no-untyped-def]
        u, v = rng.random((2, int(area_mm2 / 1e6 * per_m2)))
        return np.c_[make(u, v)]

    parts = [patch(w * d, lambda u, v: (u * w, v * d, 0 * u))]
    sides = [
        (w * h, lambda u, v: (u * w, 0 * u, v * h)),
        (d * h, lambda u, v: (0 * u, u * d, v * h)),
        (w * h, lambda u, v: (u * w, 0 * u + d, v * h)),
        (d * h, lambda u, v: (0 * u + w, u * d, v * h)),
    ]
    parts += [patch(*side) for side in sides[:walls]]
    if ceiling:
        parts.append(patch(w * d, lambda u, v: (u * w, v * d, 0 * u + h)))
    points = np.concatenate(parts)
    return points + rng.normal(0.0, 2.0, points.shape)


def up_of(points: np.ndarray, usual: np.ndarray = Z, viewpoints: np.ndarray | None = None) -> np.ndarray | None:
    guess = infer_up(points.astype(np.float32), viewpoints, usual)
    return None if guess is None else guess.direction


@pytest.mark.parametrize("name", ["x", "y", "z", "-x", "-y", "-z"])
def test_any_axis_may_be_up(name: UpAxis) -> None:
    up = axis_vector(name)
    turned = room() @ Rotation.align_vectors([up], [Z])[0].as_matrix().T
    found = up_of(turned)
    assert found is not None
    assert np.array_equal(found, up)


@pytest.mark.parametrize("degrees", [30.0, 45.0, 70.0])
def test_a_frame_turned_anyhow_gives_the_floor_normal(degrees: float) -> None:
    turn = Rotation.from_rotvec(np.radians(degrees) * np.array([0.6, 0.64, 0.48])).as_matrix()
    found = up_of(room() @ turn.T)
    assert found is not None
    # The mean of thousands of patch normals (2 mm noise over some 150 mm each) is good to well under a degree.
    assert found @ (turn @ Z) > np.cos(np.radians(1.0))


def test_dense_points_near_the_scanner_do_not_make_a_wall_the_floor() -> None:
    """What counts is area: nine in ten points lie on one wall here."""
    rng = np.random.default_rng(3)
    many = np.c_[rng.random(200_000) * 1500, rng.normal(0, 2, 200_000), rng.random(200_000) * 1500]
    found = up_of(np.r_[room(walls=2), many])
    assert found is not None
    assert np.array_equal(found, Z)


def test_a_ceiling_larger_than_the_seen_floor_does_not_turn_the_room_over() -> None:
    points = room(ceiling=True)
    hidden = (points[:, 2] < 20.0) & (points[:, 0] > 2000.0)
    found = up_of(points[~hidden])
    assert found is not None
    assert np.array_equal(found, Z)


def test_the_sensor_stands_above_the_floor() -> None:
    """A bare floor seen from its underside by the numbers (y down, as cameras have it)."""
    flat = room(walls=0)[:, [0, 2, 1]]
    seen_from = np.array([[2000.0, -1500.0, 1000.0]])
    found = up_of(flat, Z, seen_from)
    assert found is not None
    assert np.array_equal(found, -Y)
    assert np.array_equal(up_of(flat, Z), Y)


def test_a_cube_of_a_room_is_left_to_convention_and_a_turned_one_to_the_floor_finder() -> None:
    cube = room((2500.0, 2500.0, 2500.0), ceiling=True)
    found = up_of(cube, Y)
    assert found is not None
    assert np.array_equal(found, Y)
    turn = Rotation.from_rotvec([0.5, 0.5, 0.3]).as_matrix()
    assert up_of(cube @ turn.T, Y) is None


def test_points_in_a_ball_have_no_up() -> None:
    ball = np.random.default_rng(0).normal(0.0, 500.0, (5000, 3))
    assert up_of(ball) is None


@given(
    size=st.tuples(st.floats(2500, 9000), st.floats(2600, 9000)),
    tilt=st.floats(-2.0, 2.0),
    seed=st.integers(0, 99),
)
@settings(max_examples=12, deadline=None)
def test_up_is_found_in_rooms_of_any_size_and_small_tilt(size: tuple[float, float], tilt: float, seed: int) -> None:
    points = room((*size, 2400.0), walls=3, seed=seed, per_m2=400.0)
    turn = Rotation.from_euler("x", tilt, degrees=True).as_matrix()
    found = up_of(points @ turn.T)
    assert found is not None
    assert np.array_equal(found, Z)


@pytest.mark.parametrize(
    ("across", "unit"), [(0.4, "m"), (5.0, "m"), (120.0, "m"), (400.0, "mm"), (5000.0, "mm"), (90_000.0, "mm")]
)
def test_unit_from_the_size_of_a_room(across: float, unit: str) -> None:
    found, doubt = infer_unit(Path("a.ply"), across, "sizes")
    assert found.name == unit
    assert found.said_by is None
    assert unit in doubt.text


@pytest.mark.parametrize("across", [0.004, 4_000_000.0])
def test_no_unit_makes_that_a_room(across: float) -> None:
    with pytest.raises(InputError, match="--unit"):
        infer_unit(Path("a.ply"), across, "sizes")


def test_the_inference_names_feet_when_they_would_do_as_well() -> None:
    assert "in ft it would be 3.993 m across" in infer_unit(Path("a.ply"), 13.1, "")[1].text


def test_a_stated_unit_wins_over_format_and_inference(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.e57"
    cloud_files.write_e57(file, cloud_files.TRUTH)
    scan = read(file, ReadSettings(unit="ft"))
    assert np.abs(scan.points_mm + scan.origin_mm - 304.8 * cloud_files.TRUTH).max() < 0.001
    said = "file says m (the E57 format); ft was taken because --unit says so"
    assert any(said in line for line in scan.inferences)
    assert [said in c.text for c in scan.caveats if c.name == "unit_overruled"] == [True]
    with pytest.raises(SettingsError, match="not a unit"):
        read(file, ReadSettings(unit="yards"))


@pytest.mark.parametrize(
    ("header", "unit", "is_overruled"),
    [("x [m],y [m],z [m]", "ft", True), ("x [m],y [m],z [m]", "m", False), ("x,y,z", "ft", False)],
)
def test_a_unit_against_the_header_is_said(
    tmp_path: Path, cloud_files: ModuleType, header: str, unit: str, *, is_overruled: bool
) -> None:
    file = tmp_path / "room.csv"
    np.savetxt(file, cloud_files.TRUTH, fmt="%.4f", delimiter=",", header=header, comments="")
    scan = read(file, ReadSettings(unit=unit))
    assert ("unit_overruled" in {c.name for c in scan.caveats}) == is_overruled


@pytest.mark.parametrize(("factor", "unit"), [(1000.0, "m"), (0.001, "m"), (1.0, "mm")])
def test_a_stated_unit_off_by_a_thousand_is_refused(
    tmp_path: Path, cloud_files: ModuleType, factor: float, unit: str
) -> None:
    file = tmp_path / "room.ply"
    cloud_files.write_ply(file, cloud_files.TRUTH * factor)
    with pytest.raises(InputError, match=f"with unit {unit} .* across"):
        read(file, ReadSettings(unit=unit))


def test_las_promise_of_plumb_can_be_taken_back_but_not_moved_to_another_axis(
    tmp_path: Path, cloud_files: ModuleType
) -> None:
    file = tmp_path / "room.las"
    cloud_files.write_las(file, cloud_files.TRUTH)
    assert read(file).gravity_known
    assert not read(file, ReadSettings(gravity=False)).gravity_known
    assert read(file, ReadSettings(up="z")).gravity_known
    assert not read(file, ReadSettings(up="y")).gravity_known
    assert read(file, ReadSettings(up="y", gravity=True)).gravity_known


def test_gravity_is_an_axis_never_the_floors_own_normal(tmp_path: Path) -> None:
    file = tmp_path / "room.ply"
    turn = Rotation.from_euler("x", 8.0, degrees=True).as_matrix()
    tilted = room(walls=0) @ turn.T / 1000.0
    np.savetxt(file.with_suffix(".xyz"), tilted, fmt="%.4f")
    scan = read(file.with_suffix(".xyz"), ReadSettings(gravity=True))
    assert scan.up is not None
    assert np.array_equal(scan.up, Z)
    turn = Rotation.from_euler("x", 40.0, degrees=True).as_matrix()
    np.savetxt(file.with_suffix(".xyz"), room(walls=0) @ turn.T / 1000.0, fmt="%.4f")
    with pytest.raises(SettingsError, match="--up"):
        read(file.with_suffix(".xyz"), ReadSettings(gravity=True))


def test_obj_is_y_up_by_habit_when_the_points_cannot_tell(tmp_path: Path) -> None:
    import trimesh

    mesh = trimesh.creation.box((2.5, 2.5, 2.5))
    mesh.export(tmp_path / "cube.obj")
    mesh.export(tmp_path / "cube.stl")
    few = ReadSettings(mesh_points_per_m2=400)
    for suffix, up in (("obj", Y), ("stl", Z)):
        scan = read(tmp_path / f"cube.{suffix}", few)
        assert scan.up is not None
        assert np.array_equal(scan.up, up)
        assert "up_inferred" in {c.name for c in scan.caveats}


def corridor(*, ceiling: bool = False) -> np.ndarray:
    """4.5 m long, 1.3 m wide, walls of 2.2 m: floor 5.85 m², each long wall 9.9 m²; z up."""
    return room((4500.0, 1300.0, 2200.0), ceiling=ceiling)


def floor_in_crumbs(*, wall_y_mm: float, seen: float = 0.02, seed: int = 0) -> np.ndarray:
    """A floor of 6 by 5 m of which few points are left, and one whole wall of 6 by 2 m; z up."""
    rng = np.random.default_rng(seed)
    u, v = rng.random((2, int(30 * 1500 * seen)))
    s, t = rng.random((2, 12 * 1500))
    points = np.r_[np.c_[u * 6000, v * 5000, 0 * u], np.c_[s * 6000, 0 * s + wall_y_mm, t * 2000]]
    return points + rng.normal(0.0, 2.0, points.shape)


@pytest.mark.parametrize("ceiling", [False, True])
@pytest.mark.parametrize(("columns", "up"), [((0, 1, 2), "z"), ((1, 2, 0), "y"), ((2, 0, 1), "x")])
def test_walls_of_a_corridor_larger_than_its_floor(columns: tuple[int, ...], up: UpAxis, *, ceiling: bool) -> None:
    """Once taken for y up: each wall has 1.7 times the floor's area, and 1.3 m between them looks like a low room."""
    found = up_of(corridor(ceiling=ceiling)[:, columns])
    assert found is not None
    assert np.array_equal(found, axis_vector(up))


@pytest.mark.parametrize("wall_y_mm", [0.0, 5000.0])
@pytest.mark.parametrize(("columns", "up"), [((0, 1, 2), "z"), ((1, 2, 0), "y")])
def test_a_floor_seen_in_crumbs_beside_a_whole_wall(wall_y_mm: float, columns: tuple[int, ...], up: UpAxis) -> None:
    """Once taken for y or -y up: the wall holds twenty times the points."""
    found = up_of(floor_in_crumbs(wall_y_mm=wall_y_mm)[:, columns])
    assert found is not None
    assert np.array_equal(found, axis_vector(up))


def test_a_partition_larger_than_the_floors_beside_it_is_no_floor() -> None:
    """Half the capture stands on either side of it; 12 m² of wall over 2.4 m, two floors of 6 by 1.2 m."""
    rng = np.random.default_rng(2)
    u, v, s, t = (rng.random(20_000) for _ in range(4))
    points = np.r_[np.c_[u * 6000, (v - 0.5) * 2400, 0 * u], np.c_[s * 6000, 0 * s, t * 2500]]
    x_up = points[:, [2, 0, 1]]
    assert np.array_equal(up_of(x_up, Y), axis_vector("x"))


@pytest.mark.parametrize("ceiling", [False, True])
@pytest.mark.parametrize("columns", [(1, 2, 0), (0, 2, 1)])
def test_a_room_with_y_up_in_a_file_that_usually_has_z(
    tmp_path: Path, cloud_files: ModuleType, columns: tuple[int, ...], *, ceiling: bool
) -> None:
    cloud_files.write_ply(tmp_path / "room.ply", room(ceiling=ceiling)[:, columns] / 1000.0)
    scan = read(tmp_path / "room.ply")
    assert scan.up is not None
    assert np.array_equal(scan.up, Y)
    assert "up_inferred" in {c.name for c in scan.caveats}


def test_walls_four_metres_apart_do_not_hold_the_usual_axis_against_a_floor() -> None:
    """3 m high, 4 m deep, y up: the walls across z score (3 / 4)^2 = 0.56 of the floor, more than half of it."""
    assert np.array_equal(up_of(room((5300.0, 4000.0, 3000.0))[:, (0, 2, 1)]), Y)


def test_what_is_as_likely_goes_by_the_usual_axis_and_says_so() -> None:
    """Two sheets at a right angle, 4 m long, 2 and 1.5 m wide: a floor and a wall, either way round."""
    rng = np.random.default_rng(4)
    u, v, s, t = (rng.random(6000) for _ in range(4))
    points = np.r_[np.c_[u * 4000, v * 1500, 0 * u], np.c_[s * 4000, 0 * s, t * 2000]].astype(np.float32)
    for usual in (Z, Y):
        guess = infer_up(points, None, usual)
        assert guess is not None
        assert np.array_equal(guess.direction, usual)
    guess = infer_up(points, None, Z)
    assert guess is not None
    assert "usual axis" in guess.reason


def test_a_stated_up_goes_before_all_that(tmp_path: Path, cloud_files: ModuleType) -> None:
    cloud_files.write_ply(tmp_path / "room.ply", corridor() / 1000.0)
    scan = read(tmp_path / "room.ply", ReadSettings(up="y"))
    assert scan.up is not None
    assert np.array_equal(scan.up, Y)
    assert "up_inferred" not in {c.name for c in scan.caveats}
