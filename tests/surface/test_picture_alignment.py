"""Photos brought to agree: known shifts are found, true poses stay, equal tiles are never mistaken."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.settings import JointSettings
from flatscan.surface.picture.alignment import aligned_photos
from flatscan.surface.picture.build import floor_picture
from flatscan.surface.picture.laid_tone import LaidTone
from flatscan.surface.picture.motion import Motions, carried, left_after, solved
from flatscan.surface.picture.posed_photo import PosedPhoto, posed_photos
from flatscan.surface.picture.shifts import Shifts, shift_between, shifts_between

HEIGHT_MM = 600.0


@pytest.fixture(scope="session")
def photographed():
    path = Path(__file__).parents[1] / "oracles" / "photographed.py"
    spec = importlib.util.spec_from_file_location("photographed", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["photographed"] = module
    spec.loader.exec_module(module)
    return module


def level(x, y):
    return 0.0 * x + 0.0 * y


def tiled(x, y):
    """Plain tiles 150 × 110 mm with joints 4 mm wide: nothing but joints to go by."""
    joint = (np.abs((x - 37.0 + 75.0) % 150.0 - 75.0) < 2.0) | (np.abs((y - 21.0 + 55.0) % 110.0 - 55.0) < 2.0)
    return np.where(joint, 0.12, 0.5)


def capture(photographed, folder, places, wrong=None, paint=tiled, size=(480, 360)):
    """A scan of photos over ``paint``; ``wrong`` (photos, 4): how the poses given differ from the true ones."""
    lens = photographed.Lens(fx=400.0, fy=400.0, cx=(size[0] - 1) / 2, cy=(size[1] - 1) / 2, size=size)
    frames = []
    for number, (x, y) in enumerate(places):
        true = photographed.looking((x, y), HEIGHT_MM, tilt_x_deg=2.0, tilt_y_deg=-1.5, roll_deg=4.0 * number)
        path = folder / f"{number}.png"
        if not path.exists():
            photographed.write_photo(path, photographed.photograph(paint, level, true, lens, samples=2))
        given_pose = true.copy()
        if wrong is not None:
            dx, dy, turn, up = wrong[number]
            cos, sin = np.cos(turn), np.sin(turn)
            given_pose[:3, :3] = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]) @ true[:3, :3]
            given_pose[:3, 3] += (dx, dy, up)
        frames.append(photographed.frame_of(path, given_pose, lens))
    return photographed.scan_of(frames), photographed.surface_of(level, (1400.0, 1000.0), margin_mm=0.0)


def offsets(aligned, scan, surface):
    """(photos, 3) motion along x, y (mm) and turn (rad) that alignment gave."""
    raw = posed_photos(scan, surface)
    out = []
    for before, after in zip(raw, aligned.photos, strict=True):
        turn = after.floor_from_camera[:3, :3] @ before.floor_from_camera[:3, :3].T
        moved = after.floor_from_camera[:2, 3] - before.floor_from_camera[:2, 3]
        out.append((*moved, np.arctan2(turn[1, 0], turn[0, 0])))
    return np.array(out)


GRID = [(400.0 + 300.0 * (k % 3), 350.0 + 300.0 * (k // 3)) for k in range(6)]


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("grid")


def test_true_poses_stay(photographed, folder) -> None:
    scan, surface = capture(photographed, folder, GRID)
    aligned = aligned_photos(scan, surface)
    assert len(aligned.photos) == 6
    moved = offsets(aligned, scan, surface)
    assert np.hypot(moved[:, 0], moved[:, 1]).max() < 0.3
    assert np.degrees(np.abs(moved[:, 2])).max() < 0.05
    assert aligned.residual_mm < 0.3
    assert aligned.caveats == ()
    assert "moved along the floor by 0." in aligned.said[0]


def test_a_known_shift_and_turn_of_one_photo_are_found(photographed, folder) -> None:
    """(3, -2) mm and 0.1 degrees on one of six.

    The mean motion along the floor is 0 by construction, so a sixth of the shift goes to all: differences between
    photos are what is found. A sixth of the turn likewise, and what a common turn carries with it.
    """
    wrong = np.zeros((6, 4))
    wrong[4] = (3.0, -2.0, np.radians(0.1), 0.0)
    scan, surface = capture(photographed, folder, GRID, wrong)
    aligned = aligned_photos(scan, surface)
    moved = offsets(aligned, scan, surface)
    assert moved[:, :2].mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-6)
    others = np.delete(moved, 4, axis=0).mean(axis=0)
    assert moved[4, :2] - others[:2] == pytest.approx([-3.0, 2.0], abs=0.3)
    assert np.degrees(moved[4, 2] - others[2]) == pytest.approx(-0.1, abs=0.03)
    assert aligned.moved_mm[4] > 2.0


def jumps(picture, lines, axis):
    """Where along rows (axis 1) or columns (axis 0) the dark joint near each line lies, less the line, mm."""
    tone = picture.tone if axis == 1 else picture.tone.T
    at = (np.arange(tone.shape[1]) + 0.5) * picture.pixel_mm
    out = []
    for line in lines:
        near = np.abs(at - line) < 25.0
        dark = np.clip(0.4 - tone[:, near], 0.0, None)
        # Rows that are themselves joint are dark all along.
        ok = np.isfinite(dark).all(axis=1) & (dark.sum(axis=1) > 0.2) & ((dark > 0).mean(axis=1) < 0.5)
        out.append((dark[ok] @ at[near]) / dark[ok].sum(axis=1) - line)
    return np.concatenate(out)


def test_joints_run_on_across_seams(photographed, folder) -> None:
    """Poses 2 to 8 mm apart: lines that jump by as much become lines to 0.7 mm."""
    rng = np.random.default_rng(4)
    wrong = np.column_stack([rng.uniform(-4, 4, (6, 2)), rng.normal(0, np.radians(0.08), 6), rng.normal(0, 1.5, 6)])
    scan, surface = capture(photographed, folder, GRID, wrong)
    aligned = aligned_photos(scan, surface)
    raw = replace(aligned, photos=posed_photos(scan, surface))
    spread = []
    for photos in (raw, aligned):
        picture = floor_picture(scan, surface, JointSettings(pixel_mm=1.0), photos=photos)
        off = jumps(picture, [337.0 + 150.0 * k for k in range(5)], 1), jumps(picture, [351.0, 461.0, 571.0], 0)
        spread.append([np.ptp(np.quantile(o, [0.02, 0.98])) for o in off])
    assert min(spread[0]) > 3.0
    # What remains: a scale and a turn that all have in common cost nothing but the prior.
    assert max(spread[1]) < 1.4
    assert aligned.residual_mm < 0.35


def test_one_photo_alone_and_two_apart_stay(photographed, tmp_path) -> None:
    for places in ([(400.0, 350.0)], [(300.0, 300.0), (1100.0, 700.0)]):
        scan, surface = capture(photographed, tmp_path, places)
        aligned = aligned_photos(scan, surface)
        raw = posed_photos(scan, surface)
        assert len(aligned.photos) == len(places)
        for before, after in zip(raw, aligned.photos, strict=True):
            assert (before.floor_from_camera == after.floor_from_camera).all()
        assert aligned.said == ()
        assert np.isnan(aligned.residual_mm)
        for path in tmp_path.glob("*.png"):
            path.unlink()


def test_blank_photos_stay_and_that_is_said(photographed, tmp_path) -> None:
    scan, surface = capture(photographed, tmp_path, GRID[:2], paint=lambda x, y: 0.4 + 0.0 * x * y)
    aligned = aligned_photos(scan, surface)
    assert (aligned.moved_mm == 0.0).all()
    assert "none of 1 overlapping pairs" in aligned.said[0]


def test_no_photo_at_all(photographed) -> None:
    surface = photographed.surface_of(level)
    assert aligned_photos(photographed.scan_of(), surface).photos == ()


def test_a_photo_out_of_reach_is_told(photographed, folder, monkeypatch) -> None:
    """Patches that stay apart are a caveat; the bound is set low, since what is left here is small."""
    monkeypatch.setattr("flatscan.surface.picture.alignment.MOST_LEFT_MM", 0.001)
    scan, surface = capture(photographed, folder, GRID)
    (doubt,) = aligned_photos(scan, surface).caveats
    assert doubt.name == "photos_disagree"


# ---- shifts ----


def made(paint, shift, size=(120, 160), pixel_mm=2.5, noise=0.0, seed=0):
    """Detail of a formula on the lattice, moved by ``shift`` mm: what lies at x is shown at x + shift."""
    y, x = np.mgrid[: size[0], : size[1]] * pixel_mm
    detail = paint(x - shift[0], y - shift[1]).astype(np.float32)
    detail += np.random.default_rng(seed).normal(0, noise, detail.shape).astype(np.float32)
    return LaidTone(detail, np.ones(detail.shape, bool), 0, 0, pixel_mm, (0.0, 0.0))


def soft_grid(pitch):
    def paint(x, y):
        return sum(np.exp(-0.5 * (((v + pitch / 2) % pitch - pitch / 2) / 3.0) ** 2) for v in (x, y))

    return paint


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(-11.0, 11.0), st.floats(-11.0, 11.0))
def test_any_shift_is_found_on_a_grid_of_joints(dx, dy) -> None:
    """To a tenth of a pixel of 2.5 mm; first less second, so the sign is that of the first photo's shift."""
    one, other = made(soft_grid(100.0), (dx, dy), noise=0.05), made(soft_grid(100.0), (0, 0), noise=0.05, seed=1)
    seen = shift_between(one, other, 15.0)
    assert len(seen) == 1
    assert seen.shift_mm[0] == pytest.approx([dx, dy], abs=0.25)


def test_a_whole_tile_is_never_taken() -> None:
    """Mosaic of 20 mm: 3 mm off is 3, not -17; 9.5 mm off could be -10.5 as well, and is not answered."""
    still = made(soft_grid(20.0), (0.0, 0.0))
    near = shift_between(made(soft_grid(20.0), (3.0, 0.0)), still, 15.0)
    assert near.shift_mm[0] == pytest.approx([3.0, 0.0], abs=0.3)
    assert len(shift_between(made(soft_grid(20.0), (9.5, 0.0)), still, 15.0)) == 0


def test_beyond_the_search_nothing_is_found() -> None:
    still = made(soft_grid(100.0), (0.0, 0.0))
    assert len(shift_between(made(soft_grid(100.0), (24.0, 3.0)), still, 15.0)) == 0


def test_noise_alone_says_nothing() -> None:
    blank = lambda x, y: 0.0 * x * y  # noqa: E731 - a formula like the others
    one, other = (made(blank, (0, 0), noise=0.2, seed=s) for s in (1, 2))
    assert len(shift_between(one, other, 15.0)) == 0
    assert len(shifts_between(one, other, 6.0)) == 0


def test_a_lone_joint_tells_of_one_axis_only() -> None:
    """A joint along y fixes x to the floor of 0.2 mm (25 per mm²), and y not at all."""

    def paint(x, y):
        return np.exp(-0.5 * ((x - 190.0) / 3.0) ** 2) + 0.0 * y

    one, other = made(paint, (1.7, 0.0), noise=0.02), made(paint, (0, 0), noise=0.02, seed=1)
    seen = shifts_between(one, other, 6.0)
    assert len(seen) > 1
    assert seen.shift_mm[:, 0] == pytest.approx(1.7, abs=0.2)
    assert (seen.weight[:, 0, 0] > 10.0).all()
    assert (np.abs(seen.weight[:, 1, 1]) < 0.01).all()


# ---- motions ----


def photo_at(photographed, x, y):
    lens = photographed.Lens()
    pose = photographed.looking((x, y), HEIGHT_MM)
    return PosedPhoto(
        0,
        pose,
        lens.fx,
        lens.fy,
        lens.cx,
        lens.cy,
        lens.size,
        lens.k,
        photographed.frame_of(Path("no.png"), pose, lens),
    )


def test_what_a_motion_carries_is_what_the_moved_photo_shows(photographed) -> None:
    """The linear rule against the projection itself: the pixel that showed x shows x + carried · motion afterwards."""
    photo = photo_at(photographed, 300.0, 200.0)
    own = np.array([[1.5, -0.7, 0.002, 3.0]])
    (moved,) = Motions(own).applied([photo])
    at = np.array([[250.0, 280.0], [420.0, 130.0], [300.0, 200.0]])
    there = at + carried(photo, at) @ own[0]
    uv, uv_moved = (p.project(np.column_stack([q, np.zeros(3)]))[0] for p, q in ((photo, at), (moved, there)))
    # Second order: 170 mm · (0.002² / 2 + 0.002 · 3 / 600) = 0.002 mm, half a pixel a millimetre.
    assert uv_moved == pytest.approx(uv, abs=0.003)


def test_exact_shifts_give_exact_motions(photographed) -> None:
    """Shifts computed from motions; one of six pairs lies by a whole tile. Means along the floor are 0."""
    photos = [photo_at(photographed, x, y) for x, y in ((0, 0), (300, 0), (0, 300), (300, 300))]
    rng = np.random.default_rng(3)
    own = np.column_stack([rng.normal(0, 3, (4, 2)), rng.normal(0, 0.001, 4), rng.normal(0, 0.2, 4)])
    own[:, :2] -= own[:, :2].mean(axis=0)
    shifts = {}
    for i in range(4):
        for j in range(i):
            at = rng.uniform(0, 300, (12, 2))
            shift = -(carried(photos[i], at) @ own[i] - carried(photos[j], at) @ own[j])
            shifts[i, j] = Shifts(at, shift, np.repeat(25.0 * np.eye(2)[None], 12, axis=0))
    before = Motions.none(4)
    right = solved(photos, shifts, before)
    assert max(np.abs(left).max() for left in left_after(photos, shifts, before, right).values()) < 0.05
    assert right.own[:, :2].mean(axis=0) == pytest.approx([0, 0], abs=1e-9)
    lie = {**shifts, (3, 0): replace(shifts[3, 0], shift_mm=shifts[3, 0].shift_mm + np.array([12.0, 0.0]))}
    robust = solved(photos, lie, before)
    assert robust.own[:, :2] == pytest.approx(right.own[:, :2], abs=0.3)
