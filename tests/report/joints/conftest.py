"""A tiled L-shaped room whose joints are measured by hand: widths, depths and lips from closed forms and a seed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from flatscan.judgement.findings import worst_first
from flatscan.judgement.joint_findings import joint_findings
from flatscan.judgement.joint_places import JointPlaces
from flatscan.judgement.limits import Limit, LimitSet, LimitSource
from flatscan.measures.joints.joints import Joints, MeasuredFace, MeasuredJoint, Station
from flatscan.measures.joints.network import Face, JointNetwork, JointPiece, TileFormat
from flatscan.measures.measurement import HeldAgainst
from flatscan.quantity import Quantity
from flatscan.report.report import Report
from flatscan.sources.hand.hand_reading import HandReading
from flatscan.surface.picture.floor_picture import FloorPicture

Piece = tuple[tuple[float, float], tuple[float, float]]
SIZE, NOTCH = (4600.0, 3100.0), (1500.0, 1150.0)

LIMITS = LimitSet(
    id="over-old-tiles",
    title="Thin covering over old tiles",
    source=LimitSource(document="common practice, no source", mark="common practice, no source"),
    limits=(
        Limit(what="joint_width", limit_mm=5.0),
        Limit(what="joint_depth", limit_mm=2.0),
        Limit(what="lip", limit_mm=1.0),
    ),
)


def in_room(x: float, y: float) -> bool:
    return 0 < x < SIZE[0] and 0 < y < SIZE[1] and not (x > SIZE[0] - NOTCH[0] and y > SIZE[1] - NOTCH[1])


def running_bond(pitch: tuple[float, float]) -> list[Piece]:
    """Centre lines from node to node, each row shifted by half a tile."""
    wide, high = pitch
    rows = math.ceil(SIZE[1] / high)
    uprights = [np.arange(0.5 * wide * (row % 2), SIZE[0] + wide, wide) for row in range(rows + 1)]
    found: list[Piece] = []
    for row in range(rows):
        low, top = row * high, min((row + 1) * high, SIZE[1])
        found += [((x, low), (x, top)) for x in uprights[row].tolist() if in_room(x, 0.5 * (low + top))]
        if row > 0:
            nodes = np.unique(np.concatenate([uprights[row - 1], uprights[row], [0.0]])).tolist()
            wall = SIZE[0] - NOTCH[0] * (low > SIZE[1] - NOTCH[1])
            found += [((a, low), (min(b, wall), low)) for a, b in pairwise(nodes) if a < wall]
    return found


def stations_of(piece: Piece, rng: np.random.Generator, *, wide_mm: float, lip_mm: float, fine: bool) -> list[Station]:
    start, end = np.array(piece[0]), np.array(piece[1])
    length = float(np.hypot(*(end - start)))
    count = max(1, math.ceil(length / 50.0))
    stations = []
    for number in range(count):
        along = (number + 0.5) * length / count
        x, y = (start + (end - start) * along / length).tolist()
        base = {"at": (x, y), "along_mm": along, "stretch_mm": length / count}
        if y < 250.0:
            refused = (("width", "shadow"), ("depth", "too_coarse"), ("lip", "too_few_heights"))
            stations.append(Station(**base, refused=refused))  # type: ignore[arg-type]
            continue
        wall = wide_mm + 0.2 * rng.standard_normal()
        width = Quantity.from_budget(wall + 0.4, "mm", picture=0.15, edge_shape=0.3)
        lip = Quantity.from_budget(lip_mm + 0.05 * rng.standard_normal(), "mm", repeat=0.1, systematic=0.08)
        depth = Quantity(1.3 + 0.3 * math.sin(x / 900.0) + 0.5 * (y > 2600.0), 0.25, "mm") if fine else None
        refused = () if fine else (("depth", "too_coarse"),)
        stations.append(
            Station(**base, wall_width=Quantity(wall, 0.15, "mm"), width=width, depth=depth, lip=lip, refused=refused)  # type: ignore[arg-type]
        )
    return stations


def make_joints(*, pitch: tuple[float, float] = (450.0, 450.0), fine: bool = True, seed: int = 3) -> Joints:
    """Every joint about 3 mm wide and nearly level, some wide, some with a lip."""
    rng = np.random.default_rng(seed)
    pieces = running_bond(pitch)
    wide = 3.0 + 0.4 * rng.standard_normal(len(pieces)) + np.where(rng.random(len(pieces)) < 0.05, 3.0, 0.0)
    lips = 0.25 * rng.standard_normal(len(pieces))
    lips += np.where(rng.random(len(pieces)) < 0.05, 1.3 * rng.choice([-1.0, 1.0], len(pieces)), 0.0)
    network = JointNetwork(
        pieces=tuple(JointPiece(a, b, (None, None), 0.9) for a, b in pieces),
        faces=(Face(np.array([(0, 0), (450, 0), (450, 450), (0, 450)], dtype=np.float64), whole=True),),
        format=TileFormat(Quantity(pitch[0], 0.3, "mm"), Quantity(pitch[1], 0.3, "mm"), 0.0, "running", 0.5, 0.92),
        found_in="picture",
        how="Joints were looked for in the photos, 0.5 mm of floor per pixel",
    )
    joints = tuple(
        MeasuredJoint(
            f"J{number + 1}",
            number,
            piece,
            tuple(stations_of(piece, rng, wide_mm=float(wide[number]), lip_mm=float(lips[number]), fine=fine)),
        )
        for number, piece in enumerate(pieces)
    )
    faces = (MeasuredFace(0, Quantity(0.8, 0.3, "mm/m"), None),)
    return Joints(network, joints, faces, notes=("Widths were read from 41 photos, 0.5 mm of floor per pixel",))


def make_hand() -> tuple[HeldAgainst, ...]:
    """One reading that agrees, one that contradicts the scan."""
    lip = HandReading(3, "lip", (450.0, 700.0), Quantity(1.4, 0.1, "mm"), None, "J7", "feeler gauge")
    gap = HandReading(4, "gap", (1380.0, 1054.0), Quantity(1.0, 0.2, "mm"), 2000.0, None, "")
    return (
        HeldAgainst(lip, Quantity(1.2, 0.3, "mm"), Quantity(1.38, 0.1, "mm"), conflict=False),
        HeldAgainst(gap, Quantity(5.1, 0.2, "mm"), None, conflict=True),
    )


def make_picture(pixel_mm: float = 2.0) -> FloorPicture:
    """Tiles by closed form: bright faces, dark joints, brighter to the right; not seen beyond the walls."""
    rows, cols = round(SIZE[1] / pixel_mm), round(SIZE[0] / pixel_mm)
    x, y = np.meshgrid((np.arange(cols) + 0.5) * pixel_mm, (np.arange(rows) + 0.5) * pixel_mm)
    shift = 225.0 * (np.floor(y / 450.0) % 2)
    off = np.minimum(np.abs((x - shift + 225.0) % 450.0 - 225.0), np.abs((y + 225.0) % 450.0 - 225.0))
    tone = np.where(off < 2.5, 0.15, 0.4 + 0.3 * x / SIZE[0]).astype(np.float32)
    outside = (x > SIZE[0] - NOTCH[0]) & (y > SIZE[1] - NOTCH[1])
    tone[outside] = np.nan
    rgb = (255 * np.nan_to_num(tone)[..., None] * np.array([1.0, 0.9, 0.8])).astype(np.uint8)
    coarse = np.ones((max(1, rows // 50), max(1, cols // 50)), dtype=np.float32)
    return FloorPicture(
        kind="photos", tone=tone, rgb=rgb, pixel_mm=pixel_mm, origin_mm=(0.0, 0.0), map_cell_mm=50 * pixel_mm,
        source_mm=0.5 * coarse, view_tan=0.3 * coarse, photo=np.zeros(coarse.shape, dtype=np.int16),
    )  # fmt: skip


def judged(bare: Report, joints: Joints, limits: tuple[LimitSet, ...]) -> Report:
    """The report with these joints, judged by the stage that judges them."""
    held = replace(bare.measurement, joints=joints, hand=make_hand())
    places = JointPlaces.of(joints.network, bare.surface)
    found, tally = joint_findings(joints, limits, bare.settings.judge, places, held.hand)
    gaps = [finding for finding in bare.verdict.findings if finding.what != "lip"]
    verdict = replace(bare.verdict, findings=worst_first((*gaps, *found)), joint_tally=tally)
    return replace(bare, measurement=held, limits=(*bare.limits[:1], *limits), verdict=verdict)


@pytest.fixture(scope="session")
def joints() -> Callable[..., Joints]:
    """``make_joints``, for other tiles."""
    return make_joints


@pytest.fixture(scope="session")
def tile(build: Callable[..., Report]) -> Callable[..., Report]:
    """A report of the L-shaped room with these joints."""

    def made(of: Joints | None = None, *, limits: tuple[LimitSet, ...] = (LIMITS,)) -> Report:
        return judged(build(), of or make_joints(), limits)

    return made


@pytest.fixture(scope="session")
def tiled(tile: Callable[..., Report]) -> Report:
    """About two hundred joints."""
    return tile()


@pytest.fixture(scope="session")
def picture() -> FloorPicture:
    """The floor from above."""
    return make_picture()
