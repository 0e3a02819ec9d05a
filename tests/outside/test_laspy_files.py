"""Scanned files that the laspy project publishes with its source (BSD-2-Clause, licence beside them).

``plane.laz``: a hand-sized real patch, coordinates in the millions of metres, height step 10 mm.
``extrabytes.las``, ``simple.copc.laz``: airborne format variants; their points are no floor at all.
"""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest

import flatscan
from flatscan.errors import InputError
from flatscan.settings import ReadSettings, SurfaceSettings
from flatscan.surface import find_surface
from flatscan.surface.planes import fit_least_squares

FOLDER = Path(__file__).parent / "laspy_data"


@pytest.fixture(scope="module")
def patch() -> flatscan.sources.scan.Scan:
    return flatscan.read(FOLDER / "plane.laz")


def test_large_coordinates_keep_their_millimetres(patch: flatscan.sources.scan.Scan) -> None:
    """Coordinates up to 4.2e9 mm: narrowed as they are, float32 would round them to 256 mm."""
    ours = patch.origin_mm + patch.points_mm.astype(np.float64)
    theirs = laspy.read(FOLDER / "plane.laz").xyz * 1000.0
    # float32 about a local origin less than 4 m away: half a unit in the last place is 0.00013 mm.
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=0.001)


def test_the_step_of_the_file_is_reported_as_too_coarse(patch: flatscan.sources.scan.Scan) -> None:
    assert patch.step_mm == pytest.approx(10.0)
    assert "coarse_step" in {caveat.name for caveat in patch.caveats}


def test_its_plane_is_numpys_plane(patch: flatscan.sources.scan.Scan) -> None:
    """Numpy's SVD of the file's own points against the plane of what was read, and the floor found in it."""
    xyz = laspy.read(FOLDER / "plane.laz").xyz * 1000.0
    _, scatter, axes = np.linalg.svd(xyz - xyz.mean(axis=0), full_matrices=False)
    normal = axes[2] * np.sign(axes[2][2])
    plane = fit_least_squares(*patch.points_mm.astype(np.float64).T).plane
    # Vertical against orthogonal least squares differ by slope · (scatter/extent)²: 0.0028 · (8.3/528)² < 1e-6.
    assert [plane.a, plane.b] == pytest.approx([-normal[0] / normal[2], -normal[1] / normal[2]], abs=1e-6)
    assert scatter[2] / np.sqrt(len(xyz)) == pytest.approx(8.26, abs=0.01)

    surface = find_surface(patch, SurfaceSettings(), seed_rng=np.random.default_rng(1))
    tilt = np.arccos(min(1.0, float(surface.floor_from_scan[2, :3] @ normal)))
    # The floor's plane leaves the patch's rough places out, so it may differ: by less than the scatter of 8.3 mm
    # over the patch's half width of 1.1 m.
    assert tilt < 8.3 / 1100.0
    # The step alone, 10 mm/√12, is in the doubt of every height: nothing finer is claimed.
    assert surface.noise.height_sigma_mm >= 10.0 / np.sqrt(12.0)


@pytest.mark.parametrize(("name", "across"), [("extrabytes.las", "4,567"), ("simple.copc.laz", "4,567 m across")])
def test_airborne_files_are_read_whole_and_refused_as_floors(name: str, across: str) -> None:
    with pytest.raises(InputError, match=across):
        flatscan.read(FOLDER / name)
    scan = flatscan.read(FOLDER / name, ReadSettings(unit="mm"))
    theirs = laspy.read(FOLDER / name).xyz
    np.testing.assert_allclose(scan.origin_mm + scan.points_mm, theirs, rtol=0, atol=0.006)
    with pytest.raises(InputError):
        find_surface(scan, SurfaceSettings(), seed_rng=np.random.default_rng(1))
