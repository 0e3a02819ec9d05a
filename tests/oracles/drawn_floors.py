"""Invented floors drawn as seen from straight above: every tile a polygon, every joint's centre line known.

Plain on purpose: tiles are filled polygons at twice the resolution; nothing of the finding is used. Lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter

from flatscan.surface.picture.floor_picture import FloorPicture

FINER = 2


@dataclass(frozen=True)
class Drawn:
    """``tone`` (rows, cols) float32, ``joints`` (n, 2, 2) centre lines mm within what is seen, ``tiles`` (n, 4, 2)."""

    tone: np.ndarray
    joints: np.ndarray
    tiles: list
    pixel_mm: float


def rectangle(x, y, w, h):
    return np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], float)


def lay(bond, long_mm, short_mm, reach_mm, rng):
    """Cells (tile with its half joints) that cover a square of +-reach about the origin."""
    cells = []
    n_short, n_long = math.ceil(reach_mm / short_mm) + 1, math.ceil(reach_mm / long_mm) + 2
    if bond == "herringbone":
        # Pairs of an upright and a lying tile step by (short, short) along and (long, -long) across.
        ratio = long_mm / short_mm
        n = math.ceil(2 * reach_mm / short_mm) + 2
        for i in range(-n, n + 1):
            for j in range(-n, n + 1):
                x, y = i * short_mm + j * long_mm, i * short_mm - j * long_mm
                if max(abs(x), abs(y)) < reach_mm + 2 * long_mm:
                    cells.append(rectangle(x, y, long_mm, short_mm))
                    cells.append(rectangle(x, y + short_mm, short_mm, long_mm))
        assert ratio > 1
        return cells
    for row in range(-n_short, n_short + 1):
        if bond == "boards":
            x = -reach_mm - rng.uniform(0, long_mm)
            while x < reach_mm:
                length = rng.uniform(0.5, 1.0) * long_mm
                cells.append(rectangle(x, row * short_mm, length, short_mm))
                x += length
            continue
        shift = {"stack": 0.0, "half": 0.5, "third": 1 / 3, "quarter": 0.25}[bond] * row % 1.0
        cells.extend(
            rectangle((c + shift) * long_mm, row * short_mm, long_mm, short_mm) for c in range(-n_long, n_long)
        )
    return cells


def turned(points, angle_rad, at):
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return points @ np.array([[c, s], [-s, c]]) + at


def shared_edges(cells):
    """Centre lines: every edge of every cell, cut at corners of others on it, each once."""
    lines = shapely.union_all([shapely.LinearRing(np.round(c, 4)) for c in cells], grid_size=0.01)
    parts = [p for p in shapely.get_parts(lines) if p.length > 0.5]
    return np.array([[p.coords[0], p.coords[-1]] for part in parts for p in _straight(part)])


def _straight(part):
    xy = np.array(part.coords)
    return [shapely.LineString(xy[i : i + 2]) for i in range(len(xy) - 1)]


def draw(
    rng,
    *,
    size_mm=(1500.0, 1200.0),
    pixel_mm=1.0,
    bond="stack",
    long_mm=300.0,
    short_mm=200.0,
    joint_mm=4.0,
    contrast=0.15,
    angle_rad=0.0,
    tile_spread=0.02,
    mottle=0.02,
    noise=0.01,
    grain=0.0,
    stains=0.0,
    shadow=0.0,
    change_grout=False,
    pattern=0.0,
    hole=False,
):
    """A picture of the floor in tones about 0.5. ``contrast``: the joint is darker by this (negative: lighter)."""
    w, h = size_mm
    reach = math.hypot(w, h) / 2 + 10
    middle = np.array([w, h]) / 2 + rng.uniform(-0.5, 0.5, 2) * short_mm
    cells = [turned(c, angle_rad, middle) for c in lay(bond, long_mm, short_mm, reach, rng)]
    frame = shapely.box(0, 0, w, h)
    cells = [c for c in cells if shapely.Polygon(c).intersects(frame)]
    finer = FINER / pixel_mm
    shape = (round(h * finer), round(w * finer))
    rows, cols = shape
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32) / np.float32(finer)
    grout = np.full(shape, 0.5 - contrast, np.float32)
    if change_grout:
        wave = np.sin(2 * np.pi * (x / w * rng.uniform(0.5, 1.5) + rng.uniform()))
        grout = (0.5 - contrast * np.sign(wave) * np.clip(np.abs(wave) * 2, 0.4, 1.0)).astype(np.float32)
    index = np.zeros(shape, np.int32)
    for number, cell in enumerate(cells, start=1):
        tile = shapely.Polygon(cell).buffer(-joint_mm / 2, join_style="mitre")
        xy = np.array(tile.exterior.coords)
        cv2.fillPoly(index, [np.round((xy * finer - 0.5) * 256).astype(np.int32)], number, cv2.LINE_8, 8)
    tones = 0.5 + tile_spread * rng.standard_normal(len(cells) + 1)
    face = tones[index].astype(np.float32)
    scale = 2.0 / 1.0 / pixel_mm  # pixels of the fine grid per mm
    face += mottle * texture(rng, shape, 6.0 * scale)
    if grain:
        face += grain * grains(rng, shape, scale, angle_rad)
    if pattern:
        face += pattern * printed(cells, index, finer, shape)
    picture = np.where(index > 0, face, grout)
    if stains:
        blotch = texture(rng, shape, 60.0 * scale)
        picture = picture - stains * np.clip((blotch - 0.8) * 4, 0, 1)
    if shadow:
        edge = np.cos(rng.uniform(0, 6.3)) * (x - w / 2) + np.sin(rng.uniform(0, 6.3)) * (y - h / 2)
        picture = picture * (1 - shadow * np.clip(edge / 4 + 0.5, 0, 1))
    tone = picture.reshape(rows // FINER, FINER, cols // FINER, FINER).mean(axis=(1, 3))
    tone = gaussian_filter(tone, 0.4) + noise * rng.standard_normal(tone.shape)
    tone = tone.astype(np.float32)
    seen = frame
    if hole:
        tone[: tone.shape[0] // 2, tone.shape[1] * 2 // 3 :] = np.nan
        seen = frame.difference(shapely.box(w * 2 / 3, 0, w, h / 2))
        r, c = tone.shape[0] * 3 // 4, tone.shape[1] // 3
        k = round(60 / pixel_mm)
        tone[r - k : r + k, c - k : c + k] = np.nan
        seen = seen.difference(
            shapely.box((c - k) * pixel_mm, (r - k) * pixel_mm, (c + k) * pixel_mm, (r + k) * pixel_mm)
        )
    joints = clip(shared_edges(cells), seen.buffer(-joint_mm / 2 - 6.0))
    return Drawn(tone, joints, cells, pixel_mm)


def clip(segments, area):
    lines = shapely.linestrings(segments)
    parts = shapely.get_parts(shapely.intersection(lines, area))
    parts = parts[(shapely.length(parts) > 1.0)]
    return np.array([[p.coords[0], p.coords[-1]] for p in parts])


def texture(rng, shape, length_px):
    """Smooth noise of unit spread, made small and enlarged."""
    small = max(1, int(length_px / 3))
    few = tuple(n // small + 4 for n in shape)
    field = gaussian_filter(rng.standard_normal(few), length_px / small)
    field = field / field.std()
    big = cv2.resize(field.astype(np.float32), (few[1] * small, few[0] * small), interpolation=cv2.INTER_CUBIC)
    return big[: shape[0], : shape[1]]


def grains(rng, shape, scale, angle_rad):
    """Streaks along the boards: thin across (2 mm), long along (200 mm), slightly wavy."""
    side = int(math.hypot(*shape)) + 8
    field = gaussian_filter(rng.standard_normal((side, max(8, int(side / scale / 20)))), (1.0 * scale, 5.0))
    field = cv2.resize((field / field.std()).astype(np.float32), (side, side), interpolation=cv2.INTER_CUBIC)
    wave = 3.0 * scale * np.sin(np.arange(side) / (300.0 * scale) * 2 * np.pi + rng.uniform(0, 6)).astype(np.float32)
    rows, cols = np.mgrid[0:side, 0:side].astype(np.float32)
    field = cv2.remap(field, cols, rows + wave[None, :], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), -math.degrees(angle_rad), 1.0)
    field = cv2.warpAffine(field, turn, (side, side), borderMode=cv2.BORDER_REFLECT)
    r, c = (side - shape[0]) // 2, (side - shape[1]) // 2
    return field[r : r + shape[0], c : c + shape[1]]


def printed(cells, index, finer, shape):
    """On every tile a frame 25 mm inside, a diamond and a ring: 3 mm lines, darker."""
    ink = np.zeros(shape, np.uint8)
    wide = max(1, round(3 * finer))
    for cell in cells:
        inner = np.array(shapely.Polygon(cell).buffer(-25.0, join_style="mitre").exterior.coords)
        middles = (inner[:-1] + inner[1:]) / 2
        for shape_xy in (inner, middles):
            cv2.polylines(
                ink, [np.round((shape_xy * finer - 0.5) * 256).astype(np.int32)], True, 255, wide, cv2.LINE_8, 8
            )
        at = np.round((cell.mean(axis=0) * finer - 0.5) * 256).astype(np.int32)
        cv2.circle(ink, tuple(map(int, at)), int(20 * finer * 256), 255, wide, cv2.LINE_8, 8)
    return np.where(index > 0, -(ink > 0).astype(np.float32), 0.0)


def as_picture(tone, pixel_mm, *, origin_mm=(0.0, 0.0), kind="photos"):
    tone = np.array(tone, np.float32)
    few = (max(1, tone.shape[0] // 100), max(1, tone.shape[1] // 100))
    return FloorPicture(
        kind=kind,
        tone=tone,
        rgb=None,
        pixel_mm=pixel_mm,
        origin_mm=origin_mm,
        map_cell_mm=pixel_mm * 100,
        source_mm=np.full(few, pixel_mm, np.float32),
        view_tan=np.zeros(few, np.float32),
        photo=np.zeros(few, np.int16),
    )


def sample(segments, step_mm=2.0):
    """Points along segments, their unit directions and the length each stands for."""
    at, way, length = [np.empty((0, 2))], [np.empty((0, 2))], [np.empty(0)]
    for a, b in np.asarray(segments, float).reshape(-1, 2, 2):
        d = float(np.hypot(*(b - a)))
        if d < 1e-6:
            continue
        n = max(1, round(d / step_mm))
        t = (np.arange(n) + 0.5) / n
        at.append(a + t[:, None] * (b - a))
        way.append(np.tile((b - a) / d, (n, 1)))
        length.append(np.full(n, d / n))
    return np.concatenate(at), np.concatenate(way), np.concatenate(length)


def share_near(segments, others, within_mm, turn_deg=3.0):
    """Share of the length of ``segments`` that lies within reach of ``others`` of nearly the same direction."""
    at, way, length = sample(segments)
    if len(at) == 0:
        return math.nan
    others = np.asarray(others, float).reshape(-1, 2, 2)
    if len(others) == 0:
        return 0.0
    lines = shapely.linestrings(others)
    tree = shapely.STRtree(lines)
    mine, theirs = tree.query(shapely.points(at), predicate="dwithin", distance=within_mm)
    d = others[:, 1] - others[:, 0]
    d = d / np.linalg.norm(d, axis=1)[:, None]
    along = np.abs((way[mine] * d[theirs]).sum(axis=1)) >= math.cos(math.radians(turn_deg))
    near = np.zeros(len(at), bool)
    near[mine[along]] = True
    return float((length * near).sum() / length.sum())


def score(network, drawn):
    """Precision and recall of joint length, within 2 mm + half a pixel and 3 degrees.

    Found lines are judged where the truth is kept too: a strip of 6 mm and half a joint along the border is left out.
    """
    found = [(p.start, p.end) for p in network.pieces]
    reach = 2.0 + drawn.pixel_mm / 2
    all_edges = shared_edges(drawn.tiles)
    return share_near(found, all_edges, reach), share_near(drawn.joints, found, reach)
