"""What goes wrong silently with clouds: large offsets, feet, poses, commas, flags, holes."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import laspy
import numpy as np
import pye57
import pytest
import trimesh
from laspy.vlrs.known import GeoKeyDirectoryVlr, GeoKeyEntryStruct, WktCoordinateSystemVlr
from pypcd4 import PointCloud
from pypcd4.pypcd4 import MetaData

from flatscan.errors import InputError
from flatscan.settings import ReadSettings
from flatscan.sources import Scan, read
from flatscan.sources.clouds.las_units import from_wkt
from flatscan.sources.hand.field_table import is_read_by_hand
from flatscan.sources.hand.read_field import read_field_readings

UTM = np.array([487_321.0, 5_423_871.0, 212.0])
US_SURVEY_FOOT_MM = 1.2e6 / 3937.0


def absolute(scan: Scan) -> np.ndarray:
    return scan.points_mm + scan.origin_mm


def caveats(scan: Scan) -> set[str]:
    return {c.name for c in scan.caveats}


@pytest.mark.parametrize(
    ("suffix", "write", "options", "half_step_mm"),
    [
        (".laz", "write_las", {}, 0.05),
        (".ply", "write_ply", {"order": ">"}, 0.0),
        (".xyz", "write_text", {}, 0.05),
    ],
)
def test_map_coordinates_keep_their_millimetres(
    tmp_path: Path, cloud_files: ModuleType, suffix: str, write: str, options: dict[str, str], half_step_mm: float
) -> None:
    file = tmp_path / f"site{suffix}"
    truth = cloud_files.TRUTH + UTM
    getattr(cloud_files, write)(file, truth, **options)
    off = absolute(read(file)) - 1000.0 * truth
    # Half the file's step, half a float32 step at 4.2 m (2^-12 mm) and float64 at 5.4e9 mm (2^-21 mm, three sums).
    assert np.abs(off).max() <= half_step_mm + 2.0**-12 + 3 * 2.0**-20


def test_single_precision_at_map_coordinates_is_called_coarse(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "site.ply"
    cloud_files.write_ply(file, cloud_files.TRUTH + UTM, kind="f4")
    scan = read(file)
    # float32 between 2^22 and 2^23 m steps by half a metre.
    assert scan.step_mm == 500.0
    assert "coarse_step" in caveats(scan)


def test_las_header_scale_of_a_centimetre_is_called_coarse(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.las"
    cloud_files.write_las(file, cloud_files.TRUTH, scale=0.01)
    scan = read(file)
    assert scan.step_mm == pytest.approx(10.0)
    assert "coarse_step" in caveats(scan)


def test_las_heights_rounded_under_a_fine_header_scale_are_called_coarse(
    tmp_path: Path, cloud_files: ModuleType
) -> None:
    file = tmp_path / "room.las"
    points = cloud_files.TRUTH.copy()
    points[:, 2] = np.round(points[:, 2] / 0.005) * 0.005
    cloud_files.write_las(file, points, scale=0.0005)
    scan = read(file)
    assert scan.step_mm == pytest.approx(5.0)
    assert "coarse_step" in caveats(scan)
    cloud_files.write_las(file, cloud_files.TRUTH, scale=0.0005)
    assert "coarse_step" not in caveats(read(file))


def test_text_written_in_centimetres_of_a_metre_is_called_coarse(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.xyz"
    cloud_files.write_text(file, cloud_files.TRUTH, fmt="%.2f")
    scan = read(file)
    assert scan.step_mm == pytest.approx(10.0)
    assert "coarse_step" in caveats(scan)


def add_crs_record(file: Path, record: object, *, wkt: bool) -> None:
    las = laspy.read(file)
    las.header.vlrs.append(record)
    las.header.global_encoding.wkt = wkt
    las.write(file)


def geo_keys(**keys: int) -> GeoKeyDirectoryVlr:
    record = GeoKeyDirectoryVlr()
    record.geo_keys = [GeoKeyEntryStruct(id=int(k[1:]), count=1, value_offset=v) for k, v in keys.items()]
    record.geo_keys_header.number_of_keys = len(keys)
    return record


def test_las_in_feet_by_its_geotiff_keys(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.las"
    feet = cloud_files.TRUTH / 0.3048
    cloud_files.write_las(file, feet, point_format=1)
    add_crs_record(file, geo_keys(k1024=1, k3076=9002), wkt=False)
    scan = read(file)
    assert np.abs(absolute(scan) - 1000.0 * cloud_files.TRUTH).max() < 0.05 * 0.3048 + 0.001
    assert "unit_inferred" not in caveats(scan)


STATE_PLANE = (
    'COMPD_CS["local",PROJCS["x",GEOGCS["g",DATUM["d",SPHEROID["s",6378137,298.257]],'
    'PRIMEM["p",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],'
    'UNIT["US survey foot",0.304800609601219],AXIS["X",EAST]],'
    'VERT_CS["v",VERT_DATUM["vd",2005],UNIT["metre",1],AXIS["Up",UP]]]'
)


def test_las_heights_may_have_another_unit_than_its_plan(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.las"
    mixed = cloud_files.TRUTH.copy()
    mixed[:, :2] *= 1000.0 / US_SURVEY_FOOT_MM
    cloud_files.write_las(file, mixed)
    add_crs_record(file, WktCoordinateSystemVlr(STATE_PLANE), wkt=True)
    off = absolute(read(file)) - 1000.0 * cloud_files.TRUTH
    assert np.abs(off[:, 2]).max() <= 0.05 + 0.001
    assert np.abs(off[:, :2]).max() <= 0.05 * 0.3048 + 0.01


@pytest.mark.parametrize("unit", ["ft", "m"])
def test_one_unit_stated_for_a_las_file_with_two_is_said(tmp_path: Path, cloud_files: ModuleType, unit: str) -> None:
    """A stated unit is that of all axes: heights in metres become feet, or the plan becomes metres."""
    file = tmp_path / "room.las"
    cloud_files.write_las(file, cloud_files.TRUTH)
    add_crs_record(file, WktCoordinateSystemVlr(STATE_PLANE), wkt=True)
    assert "unit_overruled" in caveats(read(file, ReadSettings(unit=unit)))
    one_unit = STATE_PLANE.replace('UNIT["metre",1]', 'UNIT["US survey foot",0.304800609601219]')
    cloud_files.write_las(file, cloud_files.TRUTH)
    add_crs_record(file, WktCoordinateSystemVlr(one_unit), wkt=True)
    # International and survey feet differ by 2 ppm: no contradiction.
    assert ("unit_overruled" in caveats(read(file, ReadSettings(unit=unit)))) == (unit == "m")


def test_well_known_text_of_both_versions() -> None:
    version_2 = (
        'PROJCRS["p",BASEGEOGCRS["b",DATUM["d",ELLIPSOID["e",6378137,298.257,LENGTHUNIT["metre",1]]],'
        'ANGLEUNIT["degree",0.0174532925199433]],CONVERSION["c",METHOD["m"],PARAMETER["k",0,LENGTHUNIT["metre",1]]],'
        'CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["foot",0.3048]]'
    )
    found = from_wkt(Path("a.las"), version_2)
    assert found is not None
    assert (found.unit.mm, found.z_mm) == (304.8, 304.8)
    found = from_wkt(Path("a.las"), STATE_PLANE)
    assert found is not None
    assert found.unit.mm == pytest.approx(US_SURVEY_FOOT_MM, abs=1e-9)
    assert found.z_mm == 1000.0
    with pytest.raises(InputError, match="degrees"):
        from_wkt(Path("a.las"), 'GEOGCS["g",DATUM["d",SPHEROID["s",6378137,298.257]],UNIT["degree",0.01745]]')


def test_las_withheld_points_are_left_out_and_stations_told_apart(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.laz"
    n = len(cloud_files.TRUTH)
    withheld = np.arange(n) % 7 == 0
    station = np.where(np.arange(n) < 1000, 40, 700).astype(np.uint16)
    cloud_files.write_las(
        file, cloud_files.TRUTH, withheld=withheld, point_source_id=station, red=np.full(n, 0x80FF, dtype=np.uint16)
    )
    scan = read(file)
    assert len(scan.points_mm) == n - np.count_nonzero(withheld)
    assert scan.view_of_point is not None
    assert np.array_equal(scan.view_of_point, (station[~withheld] == 700).astype(int))
    assert scan.viewpoints_mm is None
    assert scan.colour is not None
    assert tuple(scan.colour[0]) == (0x80, 0, 0)


def test_e57_poses_are_applied_and_invalid_points_dropped(tmp_path: Path, cloud_files: ModuleType) -> None:
    """Two stations that each saw the room in their own frame: a quarter turn about z, 1.5 m up."""
    file = tmp_path / "room.e57"
    quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    pose_w = np.sqrt(0.5)
    stations = np.array([[1.0, 0.5, 1.5], [3.0, 2.5, 1.6]])
    truth = cloud_files.TRUTH
    invalid = np.zeros(len(truth), dtype=np.int8)
    invalid[::5] = 1
    with pye57.E57(str(file), mode="w") as out:
        for station in stations:
            local = (truth - station) @ quarter  # inverse of p -> quarter p + station
            rotation = (pose_w, 0.0, 0.0, pose_w)
            cloud_files.add_e57_scan(out, local, rotation, station, cartesianInvalidState=invalid)
    scan = read(file)
    good = truth[invalid == 0]
    assert scan.view_of_point is not None
    assert scan.viewpoints_mm is not None
    for number, station in enumerate(stations):
        got = absolute(scan)[scan.view_of_point == number]
        assert got.shape == good.shape
        # float32 of up to 4.3 m in the file, three products of it, float32 again.
        assert np.abs(got - 1000.0 * good).max() < 0.002
        assert np.allclose(scan.viewpoints_mm[number] + scan.origin_mm, 1000.0 * station)


def test_gltf_node_transforms_are_applied(tmp_path: Path, cloud_files: ModuleType) -> None:
    """A floor modelled z up, laid down by its node, next to one that is moved: both must be level about y."""
    file = tmp_path / "room.glb"
    slab = trimesh.creation.box((4.0, 3.0, 0.001))
    scene = trimesh.Scene()
    lay_down = trimesh.transformations.rotation_matrix(-np.pi / 2, (1, 0, 0))
    scene.add_geometry(slab, transform=lay_down)
    away = lay_down.copy()
    away[:3, 3] = (4.0, 0.25, 0.0)
    scene.add_geometry(slab.copy(), transform=away)
    scene.export(file)
    scan = read(file, ReadSettings(mesh_points_per_m2=100))
    points = absolute(scan)
    assert scan.up is not None
    assert tuple(scan.up) == (0.0, 1.0, 0.0)
    assert not scan.gravity_known
    first, second = points[:, 0] < 1999.0, points[:, 0] > 2001.0
    assert np.abs(points[first, 1]).max() <= 0.5 + 0.001
    assert np.abs(points[second, 1] - 250.0).max() <= 0.5 + 0.001
    assert points[:, 0].max() == pytest.approx(6000.0, abs=150.0)


def test_stl_in_millimetres(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.stl"
    mesh = cloud_files.room_mesh()
    mesh.apply_scale(1000.0)
    mesh.export(file)
    scan = read(file, ReadSettings(mesh_points_per_m2=500))
    spread = np.ptp(scan.points_mm, axis=0)
    assert spread[:2] == pytest.approx((4200.0, 3100.0), rel=0.02)
    assert any("unit mm" in line for line in scan.inferences)
    # Points per real square metre, not per square of file units.
    assert len(scan.points_mm) == pytest.approx(500 * (4.2 * 3.1 + 2 * 0.18 + 1.8 * 0.35), rel=0.01)


TEXTS = {
    "decimal commas and semicolons": ("X;Y;Z;Intensity\n", "{0:.4f};{1:.4f};{2:.4f};17", True),
    "decimal commas and blanks": ("", "{0:.4f} {1:.4f} {2:.4f}", True),
    "decimal commas and tabs": ("y\tx\tz\n", "{1:.4f}\t{0:.4f}\t{2:.4f}", True),
    "point count first": ("{n}\n", "{0:.4f} {1:.4f} {2:.4f} -1200 10 20 30", False),
    "names in a comment": ("//Northing,Easting,Elevation\n", "{1:.4f},{0:.4f},{2:.4f}", False),
    "other columns first": ("# scan of a room\n# id r g b x y z\n", "7 1 2 3 {0:.4f} {1:.4f} {2:.4f}", False),
    "numbered points": ("", "{i} {0:.4f} {1:.4f} {2:.4f}", False),
    "empty last field": ("x,y,z,label\n", "{0:.4f},{1:.4f},{2:.4f},", False),
    "windows line ends": ("x y z\r\n", "{0:.4f} {1:.4f} {2:.4f}\r", False),
    "byte order mark": ("\ufeffx;y;z\n", "{0:.4f};{1:.4f};{2:.4f}", False),
    "units apart between blanks": ("x [m] y [m] z [m]\n", "{0:.4f} {1:.4f} {2:.4f}", False),
    "units apart, columns turned": ("# R Y ( m ) X ( m ) Z ( m )\n", "9 {1:.4f} {0:.4f} {2:.4f}", False),
    "runs of blanks": ("", "   {0:.4f}     {1:.4f}   {2:.4f}  ", False),
}


@pytest.mark.parametrize("name", TEXTS)
def test_text_layouts(tmp_path: Path, cloud_files: ModuleType, name: str) -> None:
    header, row, commas = TEXTS[name]
    truth = cloud_files.TRUTH
    rows = [row.format(*p, i=i) for i, p in enumerate(truth, start=3)]
    body = "\n".join(rows)
    text = header.format(n=len(truth)) + (body.replace(".", ",") if commas else body) + "\n"
    file = tmp_path / "room.txt"
    file.write_bytes(text.encode())
    scan = read(file)
    assert np.abs(absolute(scan) - 1000.0 * truth).max() <= 0.05 + 2.0**-12
    assert scan.step_mm == pytest.approx(0.1)
    if name == "point count first":
        assert scan.colour is not None
        assert tuple(scan.colour[5]) == (10, 20, 30)


@pytest.mark.parametrize(("delimiter", "header"), [(",", "x (cm),y (cm),z (cm)"), (" ", "x ( cm ) y ( cm ) z ( cm )")])
def test_unit_in_a_header_row_is_believed(tmp_path: Path, cloud_files: ModuleType, delimiter: str, header: str) -> None:
    file = tmp_path / "room.csv"
    cloud_files.write_text(file, cloud_files.TRUTH * 100.0, fmt="%.2f", delimiter=delimiter, header=header)
    scan = read(file)
    assert np.abs(absolute(scan) - 1000.0 * cloud_files.TRUTH).max() <= 0.05 + 2.0**-12
    assert "unit_inferred" not in caveats(scan)


def test_pcd_without_readings_and_with_a_viewpoint(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.pcd"
    points = cloud_files.TRUTH.astype(np.float32)
    points[::3] = np.nan
    points[1::3] = 0.0
    cloud = PointCloud.from_xyz_points(points)
    cloud.metadata = MetaData(**cloud.metadata.model_dump() | {"viewpoint": (1.0, 2.0, 1.5, 1.0, 0.0, 0.0, 0.0)})
    cloud.save(file)
    scan = read(file)
    assert np.abs(absolute(scan) - 1000.0 * points[2::3].astype(float)).max() < 0.001
    assert scan.viewpoints_mm is not None
    assert np.allclose(scan.viewpoints_mm + scan.origin_mm, (1000.0, 2000.0, 1500.0))
    assert any("0 0 0" in line for line in scan.inferences)
    assert any("without finite" in line for line in scan.inferences)


def test_ply_colours_and_a_mesh_told_from_a_cloud(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.ply"
    cloud_files.write_ply(file, cloud_files.TRUTH)
    colour = read(file).colour
    assert colour is not None
    assert tuple(colour[-1]) == (10, 20, 30)
    cloud_files.write_mesh(file, cloud_files.room_mesh())
    assert read(file, ReadSettings(mesh_points_per_m2=100)).kind == "mesh"


def test_airborne_las_is_no_room_whatever_its_unit(tmp_path: Path, cloud_files: ModuleType) -> None:
    """Four kilometres without a unit were once taken for a room in mm, and a unit's long name broke the message."""
    file = tmp_path / "flight.las"
    cloud_files.write_las(file, cloud_files.TRUTH * 1000.0, scale=0.01)
    with pytest.raises(InputError, match="not the size of a floor in m"):
        read(file)
    add_crs_record(file, WktCoordinateSystemVlr(STATE_PLANE), wkt=True)
    with pytest.raises(InputError, match=r"US survey foot .* across"):
        read(file)
    shipped = Path(__file__).parents[1] / "outside" / "laspy_data" / "plane.laz"
    scan = read(shipped)
    assert scan.step_mm == pytest.approx(10.0)
    assert "coarse_step" in caveats(scan)


def test_las_units_agree_with_pyproj_on_a_published_file() -> None:
    """Laspy's own test file: metres in plan, US survey feet in height."""
    pyproj = pytest.importorskip("pyproj")
    with laspy.open(Path(__file__).parents[1] / "outside" / "laspy_data" / "simple.copc.laz") as file:
        wkt = next(v.string for v in file.header.vlrs if isinstance(v, WktCoordinateSystemVlr))
    east, _north, height = pyproj.CRS(wkt).axis_info
    found = from_wkt(Path("a.laz"), wkt)
    assert found is not None
    assert found.unit.mm == pytest.approx(1000.0 * east.unit_conversion_factor, rel=1e-9)
    assert found.z_mm == pytest.approx(1000.0 * height.unit_conversion_factor, rel=1e-9)


@pytest.mark.parametrize(
    ("header", "said"), [("", True), ("point east_of_door north_of_door up\n", True), ("x y z\n", False)]
)
def test_columns_without_known_names_are_said(tmp_path: Path, cloud_files: ModuleType, header: str, said: bool) -> None:
    file = tmp_path / "room.xyz"
    cloud_files.write_text(file, cloud_files.TRUTH)
    file.write_text(header + file.read_text())
    assert any("columns 1, 2, 3" in line for line in read(file).inferences) is said


def test_x_and_y_without_z_is_no_cloud(tmp_path: Path, cloud_files: ModuleType) -> None:
    file = tmp_path / "room.csv"
    cloud_files.write_text(file, cloud_files.TRUTH, delimiter=",", header="x,y,intensity")
    with pytest.raises(InputError, match="first bytes"):
        read(file)


@pytest.mark.parametrize(
    ("header", "levels"),
    [("x,y,height", True), ("x [m],y [m],staff [m]", True), ("X [m],Y [m],Z [m]", False), ("x,y,z", False)],
)
def test_levels_and_clouds_as_text_are_told_apart_by_their_header(tmp_path: Path, header: str, levels: bool) -> None:
    file = tmp_path / "room.csv"
    rows = [f"{x / 10},{y / 10},{(x + y) / 1000}" for x in range(14) for y in range(9)]
    file.write_text("\n".join([header, *rows]) + "\n")
    assert is_read_by_hand(file) is levels
    if levels:
        with pytest.raises(InputError, match="table of readings by hand, not a capture"):
            read(file, ReadSettings(unit="m"))
        assert len(read_field_readings(file, ReadSettings(unit="m")).levels) == 14 * 9
    else:
        scan = read(file, ReadSettings(unit="m"))
        assert (scan.kind, len(scan.points_mm)) == ("cloud", 14 * 9)
