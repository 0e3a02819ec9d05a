"""Joints found on invented floors against their true centre lines: precision and recall of joint length.

A found line is right within 2 mm and half a pixel, and 3 degrees, of a true one.
``python tests/accuracy/test_joint_finding.py``
prints the table over formats, bonds, contrast, pixel, stains and turns.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest

from flatscan.measures.joints.finding.find import find_network
from flatscan.settings import JointSettings


def _drawn_floors():
    path = Path(__file__).parents[1] / "oracles" / "drawn_floors.py"
    spec = importlib.util.spec_from_file_location("drawn_floors", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawn_floors"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


floors = _drawn_floors()

#: Tile, bond and joint: long and short pitch, joint between the walls, mm.
LAID = {
    "stack 300x300": {"bond": "stack", "long_mm": 300.0, "short_mm": 300.0, "joint_mm": 4.0},
    "stack 600x300": {"bond": "stack", "long_mm": 600.0, "short_mm": 300.0, "joint_mm": 2.0},
    "stack 100x100": {"bond": "stack", "long_mm": 100.0, "short_mm": 100.0, "joint_mm": 3.0},
    "half 300x200": {"bond": "half", "long_mm": 300.0, "short_mm": 200.0, "joint_mm": 5.0},
    "third 450x150": {"bond": "third", "long_mm": 450.0, "short_mm": 150.0, "joint_mm": 3.0},
    "half 150x75": {"bond": "half", "long_mm": 150.0, "short_mm": 75.0, "joint_mm": 2.0},
    "quarter 300x150, wide joint": {"bond": "quarter", "long_mm": 300.0, "short_mm": 150.0, "joint_mm": 11.0},
    "herringbone 400x100": {"bond": "herringbone", "long_mm": 400.0, "short_mm": 100.0, "joint_mm": 3.0},
    "herringbone 180x60": {"bond": "herringbone", "long_mm": 180.0, "short_mm": 60.0, "joint_mm": 2.0},
    "boards 900x120": {"bond": "boards", "long_mm": 900.0, "short_mm": 120.0, "joint_mm": 2.0, "grain": 0.03},
}


def options(rng):
    """What differs from floor to floor at moderate contrast: turn, tone, stains, shadow."""
    return {
        "angle_rad": float(rng.choice([0.0, rng.uniform(-0.06, 0.06), rng.uniform(0, math.pi)])),
        "contrast": float(rng.uniform(0.1, 0.25) * rng.choice([-1, 1])),
        "tile_spread": float(rng.uniform(0.0, 0.04)),
        "mottle": float(rng.uniform(0.0, 0.03)),
        "noise": float(rng.uniform(0.005, 0.02)),
        "stains": float(rng.choice([0.0, 0.15])),
        "shadow": float(rng.choice([0.0, 0.4])),
        "hole": bool(rng.random() < 0.3),
    }


def one(seed, laid, **changed):
    rng = np.random.default_rng(seed)
    drawn = floors.draw(rng, **{**LAID[laid], **options(rng), **changed})
    network = find_network([floors.as_picture(drawn.tone, drawn.pixel_mm)], JointSettings())
    found = sum(p.length_mm for p in network.pieces)
    return np.array([*floors.score(network, drawn), found, floors.sample(drawn.joints)[2].sum()]), network, drawn


def pooled(rows):
    """Precision and recall over all the length found and all the true length."""
    rows = np.array(rows)
    precision = np.nansum(rows[:, 0] * rows[:, 2]) / max(rows[:, 2].sum(), 1e-9)
    return precision, (rows[:, 1] * rows[:, 3]).sum() / rows[:, 3].sum()


@pytest.mark.long
def test_thirty_floors_of_moderate_contrast_at_one_millimetre():
    rows = [one(1000 + seed, laid)[0] for seed, laid in enumerate(list(LAID) * 3)]
    precision, recall = pooled(rows)
    assert precision > 0.98
    assert recall > 0.95


def table(seeds):
    def line(name, **changed):
        rows = [one(7 * seed + len(name), laid, **changed)[0] for laid in LAID for seed in range(seeds)]
        print(f"{name:34s} {pooled(rows)[0]:.3f} {pooled(rows)[1]:.3f}")

    print(f"{'':34s} precision recall")
    for laid in LAID:
        rows = [one(100 + seed, laid)[0] for seed in range(3 * seeds)]
        worst = np.argmin(np.array(rows)[:, :2], axis=0)
        print(f"{laid:34s} {pooled(rows)[0]:.3f} {pooled(rows)[1]:.3f}   worst seeds {100 + worst}")
    for pixel in (0.5, 1.0, 2.0, 4.0):
        line(f"pixel {pixel} mm", pixel_mm=pixel)
    for contrast in (0.02, 0.04, 0.08, 0.15, 0.3):
        line(f"contrast {contrast}", contrast=contrast)
    line("grout light and dark", change_grout=True, contrast=0.2)
    line("stains", stains=0.2)
    line("shadow", shadow=0.6)
    line("printed pattern", pattern=0.1)
    line("five times the noise", contrast=0.2, noise=0.05)
    for degrees in (0, 1, 10, 30, 45):
        line(f"turned {degrees} degrees", angle_rad=math.radians(degrees))


if __name__ == "__main__":
    table(int(sys.argv[1]) if len(sys.argv) > 1 else 2)
