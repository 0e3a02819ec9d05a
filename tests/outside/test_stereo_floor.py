"""A real room: the stereo pair with structured-light disparity that scikit-image carries.

Source: Scharstein et al., High-resolution stereo datasets with subpixel-accurate ground truth, GCPR 2014,
scene Motorcycle, as ``skimage.data.stereo_motorcycle``; calibration from its docstring: focal length
994.978 px, principal point (311.193, 254.877), offset of the two 31.086 px, baseline 193.001 mm, and
depth = f · B / (disparity + offset). A motorcycle, shelves and a wall stand on a concrete floor.
"""

from __future__ import annotations

import json

import cv2
import numpy as np
import pytest
import skimage.data

import flatscan
from flatscan.settings import ReadSettings, SurfaceSettings
from flatscan.surface import find_surface

F, CX, CY, OFFSET, BASELINE = 994.978, 311.193, 254.877, 31.086, 193.001


@pytest.fixture(scope="module")
def depth_mm():
    disparity = skimage.data.stereo_motorcycle()[2].astype(np.float64)
    with np.errstate(invalid="ignore"):
        return np.where(np.isfinite(disparity), F * BASELINE / (disparity + OFFSET), 0.0)


@pytest.fixture(scope="module")
def independent_plane(depth_mm):
    """Normal (towards the camera's side), camera height, middle and rms of the floor, without the package.

    Triples of pixels of the lower half, the plane with the most pixels within 15 mm, then least squares on them.
    """
    v, u = np.indices(depth_mm.shape)
    low = (v > 250) & (depth_mm > 0)
    z = depth_mm[low]
    xyz = np.column_stack([(u[low] - CX) * z / F, (v[low] - CY) * z / F, z])
    rng = np.random.default_rng(1)
    best = np.zeros(len(xyz), bool)
    for _ in range(300):
        a, b, c = xyz[rng.integers(0, len(xyz), 3)]
        normal = np.cross(b - a, c - a)
        length = np.linalg.norm(normal)
        if length > 0 and abs(normal[1]) > 0.8 * length:
            near = np.abs((xyz - a) @ normal) < 15.0 * length
            best = near if near.sum() > best.sum() else best
    middle = xyz[best].mean(axis=0)
    normal = np.linalg.svd(xyz[best] - middle, full_matrices=False)[2][2]
    normal *= -np.sign(normal[1])
    return normal, -middle @ normal, middle, np.std((xyz[best] - middle) @ normal)


@pytest.fixture(scope="module")
def surface(depth_mm, tmp_path_factory):
    folder = tmp_path_factory.mktemp("room")
    (folder / "depth").mkdir()
    # A tenth of a millimetre a count: the floor's own step of 47 mm depth per pixel of disparity is not hidden.
    cv2.imwrite(str(folder / "depth" / "0.png"), np.round(np.minimum(depth_mm * 10, 65535)).astype(np.uint16))
    height, width = depth_mm.shape
    record = {
        "camera_model": "OPENCV",
        "fl_x": F,
        "fl_y": F,
        "cx": CX,
        "cy": CY,
        "w": width,
        "h": height,
        "depth_unit_scale_factor": 0.0001,
        "frames": [{"depth_file_path": "depth/0.png", "transform_matrix": np.eye(4).tolist()}],
    }
    (folder / "transforms.json").write_text(json.dumps(record))
    scan = flatscan.read(folder, ReadSettings(up="y"))
    return find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(0))


#: Camera axes (x right, y down, z forward) to the axes of a pose that is the identity (y up, z back).
FLIP = np.array([1.0, -1.0, -1.0])


def test_floor_is_found_among_wheels_and_shelves(surface, independent_plane):
    normal, height, middle, rms = independent_plane
    assert rms == pytest.approx(4.3, abs=1.0)
    on_floor = surface.floor_from_scan @ np.array([*(middle * FLIP), 1.0])
    # The concrete and the disparity's own bend leave 10 mm waves: two planes fitted with other weights differ by
    # less than the rms in the middle, by 10 mm over 1.5 m (0.4°) in tilt, and so by 19 mm at the camera, 2.7 m off:
    # 23.1 mm with the rms in the middle.
    assert abs(on_floor[2]) < rms
    assert np.rad2deg(np.arccos(surface.floor_from_scan[2, :3] @ (normal * FLIP))) < 0.4
    camera = surface.floor_from_scan @ np.array([0.0, 0.0, 0.0, 1.0])
    assert camera[2] == pytest.approx(height, abs=23.1)
    assert camera[2] == pytest.approx(1067.0, abs=23.1)


def test_only_floor_is_kept(surface):
    """About 3.4 m x 1.9 m of concrete at most, less what the wheels and the picture's edge hide."""
    assert 2.0 < surface.area_m2 < 3.4 * 1.9
    # Tyres, stand and shelves are left out: what is kept lies within the waves of the concrete.
    assert np.nanmax(np.abs(surface.height_mm)) < 30.0


def test_it_is_called_far_too_coarse(surface):
    assert {"too_coarse", "single_view", "gravity_unknown"} <= {c.name for c in surface.caveats}
    # A plane through single pixels leaves 4.3 mm rms; whatever the cells average, mm cannot be stated. The disparity
    # is smooth from pixel to pixel, so that only the assumed bend of a single depth image tells.
    assert surface.noise.height_sigma_mm > 1.5
    assert surface.slope is None
