"""Do stated widths of joints hold, and are doubtful photos refused? Photos of invented tiled floors, truth exact.

    python tests/accuracy/test_joint_widths.py [floors] [first seed] [light]

Floors of 0.9 x 0.7 m, tiles and joints by chance (dark and light grout, rounded edges, lips, prints, stains), three
photos each from 450 to 750 mm, lips known to 0.3 mm. Light: "diffuse" or "sun" (share, height and direction by chance).
"""

from __future__ import annotations

import importlib.util
import sys
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.measures.joints.network import JointNetwork, JointPiece
from flatscan.measures.joints.stations import Stations, stations_along
from flatscan.measures.joints.widths.measure import Widths, measure_widths
from flatscan.synth.baked import bake
from flatscan.synth.camera import Pinhole
from flatscan.synth.outline import rectangle
from flatscan.synth.rectangle_truth import pieces
from flatscan.synth.scene import Scene
from flatscan.synth.tile_paint import draw_tile_paint
from flatscan.synth.tile_photo import Lens, Light, photograph_tiles
from flatscan.synth.tiled_room import tiled_scene

ROOM_MM = (900.0, 700.0)
CAMERA = Pinhole(1920, 1440, 1590.0)
LEAST_PIECE_MM = 30.0


def photo_tools():
    path = Path(__file__).parents[1] / "oracles" / "joint_photos.py"
    spec = importlib.util.spec_from_file_location("joint_photos", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["joint_photos"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


TOOLS = photo_tools()


@dataclass
class Run:
    """Errors and stated uncertainties (n,), NaN where refused, and the reasons."""

    error: np.ndarray
    u: np.ndarray
    refused: tuple


def floor_of(rng: np.random.Generator) -> Scene:
    joint = rng.uniform(3.5, 7.0)
    return tiled_scene(
        rng,
        pattern=str(rng.choice(["stack", "running"])),
        size_mm=(rng.uniform(100.0, 250.0), rng.uniform(100.0, 250.0)),
        outline_mm=rectangle(*ROOM_MM),
        joint_mm=joint,
        joint_sd_mm=0.5,
        depth_mm=rng.uniform(1.0, 3.0),
        depth_sd_mm=0.2,
        radius_mm=rng.uniform(0.2, 0.8),
        lip_sd_mm=rng.uniform(0.1, 0.6),
        turn_rad=rng.uniform(-0.4, 0.4),
    )


def light_of(kind: str, rng: np.random.Generator) -> Light:
    if kind == "diffuse":
        return Light()
    return Light(
        sun=rng.uniform(0.3, 0.8),
        elevation_rad=np.deg2rad(rng.uniform(10.0, 50.0)),
        azimuth_rad=rng.uniform(0.0, 2.0 * np.pi),
    )


def lips_of(scene: Scene, stations: Stations) -> np.ndarray:
    """Left face minus right face, 6 mm either side of the line."""
    field = scene.floor.tiles

    def top(points):
        at = field.place(points[:, 0], points[:, 1])
        return field.face_of(at.row, at.col, points[:, 0], points[:, 1])

    return top(stations.at_mm + 6.0 * stations.left) - top(stations.at_mm - 6.0 * stations.left)


def run(seed: int, kind: str, *, photos: int = 3, camera: Pinhole = CAMERA) -> Run:
    rng = np.random.default_rng(seed)
    scene = floor_of(rng)
    paint = draw_tile_paint(
        rng,
        printed=bool(rng.random() < 0.25),
        stains=int(rng.integers(0, 5)),
        area_mm=ROOM_MM,
        grout=str(rng.choice(["light", "dark"])),
    )
    light, baked, shots = light_of(kind, rng), bake(scene.floor), []
    for index in range(photos):
        at = (450.0 + rng.uniform(-150, 150), 350.0 + rng.uniform(-120, 120), rng.uniform(450.0, 750.0))
        aim = (450.0 + rng.uniform(-60, 60), 350.0 + rng.uniform(-60, 60))
        pose = TOOLS.pose(at, aim, rng.uniform(-3.0, 3.0))
        lens = Lens(blur_px=rng.uniform(0.6, 1.6), noise=rng.uniform(1.5, 4.0))
        image = photograph_tiles(scene, paint, camera, pose, rng=rng, light=light, lens=lens, baked=baked)
        shots.append(TOOLS.StandInPhoto(index, pose, camera.focal, image))
    found = [
        p
        for p in pieces(scene.floor.tiles, rectangle(*ROOM_MM))
        if np.hypot(*np.subtract(p.end_mm, p.start_mm)) > LEAST_PIECE_MM
    ]
    lines = tuple(JointPiece(p.start_mm, p.end_mm, (None, None), 1.0) for p in found)
    stations = stations_along(JointNetwork(lines, (), None, "picture", "true lines"), 50.0)
    truth = np.array([p.width_mm for p in found])[stations.piece]
    lip = lips_of(scene, stations)
    # Centre lines as a finder gives them, half a millimetre off.
    off = replace(stations, at_mm=stations.at_mm + rng.normal(0.0, 0.5, len(truth))[:, None] * stations.left)
    widths: Widths = measure_widths(
        shots,
        TOOLS.flat_surface(2000.0),
        off,
        lip_mm=lip + rng.normal(0.0, 0.3, len(lip)),
        lip_u_mm=np.full(len(lip), 0.3),
        rng=rng,
    )
    return Run(widths.wall_width_mm - truth, widths.u_mm, widths.refused)


def summary(runs: list[Run]) -> dict[str, float]:
    error, u = np.concatenate([r.error for r in runs]), np.concatenate([r.u for r in runs])
    said = np.isfinite(error)
    error, u = error[said], u[said]
    if not len(error):
        raise ValueError("nothing was measured")
    reasons = Counter(reason for r in runs for reason in r.refused)
    return {
        "stations": float(len(said)),
        "measured": float(said.mean()),
        "bias_mm": float(error.mean()),
        "sd_mm": float(error.std()),
        "p95_mm": float(np.quantile(np.abs(error), 0.95)),
        "u_mm": float(u.mean()),
        "held": float(np.mean(np.abs(error) < 2.0 * u)),
        "wrong_by_1_mm": float(np.mean(np.abs(error) > 1.0)),
    } | {str(reason): float(count) for reason, count in reasons.items() if reason}


def coverage_of(kind: str, floors: int, first: int, **options) -> dict[str, float]:
    runs = []
    for seed in range(first, first + floors):
        runs.append(run(seed, kind, **options))
        one = runs[-1]
        said = np.isfinite(one.error)
        worst = np.abs(one.error[said]).max(initial=0.0)
        held = np.mean(np.abs(one.error[said]) < 2.0 * one.u[said]) if said.any() else np.nan
        print(f"{kind} {seed}: {said.sum()}/{len(said)} bias {np.mean(one.error[said]) if said.any() else np.nan:.2f} "
              f"worst {worst:.2f} held {held:.2f} {dict(Counter(one.refused))}", flush=True)  # fmt: skip
    return summary(runs)


def test_widths_of_one_floor_hold():
    """One photo of a floor in even light: 95 % intervals hold at nine of ten stations, none is a millimetre wrong."""
    found = summary([run(2, "diffuse", photos=1, camera=Pinhole(1280, 960, 2000.0))])
    assert found["measured"] > 0.08
    assert found["held"] > 0.9
    assert found["wrong_by_1_mm"] == 0.0


@pytest.mark.long
@pytest.mark.parametrize(("kind", "least"), [("diffuse", 0.93), ("sun", 0.65)])
def test_stated_widths_hold(kind: str, least: float):
    """Direct sun shades rounded edges by more than is stated; its bound guards against regress, set after 0.75."""
    found = coverage_of(kind, 20, 7000)
    print(found)
    assert found["held"] > least
    assert found["wrong_by_1_mm"] < 0.01


if __name__ == "__main__":
    count, start = (int(value) for value in (sys.argv[1:3] + ["10", "9000"][len(sys.argv) - 1 :])[:2])
    for light in sys.argv[3:4] or ["diffuse", "sun"]:
        print(light, {name: round(value, 3) for name, value in coverage_of(light, count, start).items()})
