"""Lines made ready to be joined: no line twice, gaps bridged for a trial, ends drawn on to crossings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Lines this close side by side are one joint (no tile fits between), mm and pixels, whichever is more.
_SAME_MM = 14.0
_SAME_PX = 7.0
#: Two lines are the edges of one wide joint where they lie this far apart, overlap and are alike in strength.
_EDGES_APART_MM = (6.0, 14.0)
_EDGES_OVERLAP = 0.8
_EDGES_ALIKE = 0.6
#: Of two lines of nearly one direction, radians.
_SAME_TURN = 0.06
#: What is left of a line beside a stronger one is a line of its own from this length on, mm.
_REST_MM = 40.0
#: Ends are drawn on by this much to meet other lines, mm.
REACH_MM = 70.0
#: A gap between two lines on one straight is tried up to this length, mm.
_BRIDGE_MM = 700.0
#: A bridge may bend by this much off either line, mm and pixels, whichever is more.
_BRIDGE_OFF_MM = 2.0


def without_doubles(segments: NDArray[np.float64], z: NDArray[np.float64], pixel_mm: float) -> NDArray[np.float64]:
    """Keep stronger lines whole and cut from weaker ones what runs beside a stronger one.

    Parameters
    ----------
    segments : (n, 2, 2) ends in mm; ``z``: (n,) strength times length decides which is kept
    """
    import shapely

    if len(segments) == 0:
        return segments
    segments, z = _edges_made_one(segments, z)
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    order = np.argsort(-z * length)
    segments = segments[order]
    way = (segments[:, 1] - segments[:, 0]) / length[order][:, None]
    lines = shapely.linestrings(segments)
    beside = max(_SAME_MM, _SAME_PX * pixel_mm)
    tree = shapely.STRtree(lines)
    one, other = tree.query(lines, predicate="dwithin", distance=beside)
    alike = (other < one) & (np.abs((way[one] * way[other]).sum(axis=1)) > np.cos(_SAME_TURN))
    strips: dict[int, list[int]] = {}
    for weak, strong in zip(one[alike], other[alike], strict=True):
        strips.setdefault(int(weak), []).append(int(strong))
    kept = list(lines)
    least = np.full(len(lines), 2.0 * beside)
    for weak in sorted(strips):
        for strong in strips[weak]:
            if kept[strong].is_empty:
                continue
            near = kept[strong].buffer(beside, cap_style="flat")
            if kept[weak].intersects(near):
                kept[weak] = kept[weak].difference(near)
                least[weak] = _REST_MM
    parts, source = shapely.get_parts(np.array(kept), return_index=True)
    parts = parts[shapely.length(parts) > least[source]]
    return np.array([(p.coords[0], p.coords[-1]) for p in parts], dtype=np.float64).reshape(-1, 2, 2)


def _edges_made_one(
    segments: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Put the middle line in place of the two edges of a joint whose grout looks like the tile."""
    import shapely

    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    way = (segments[:, 1] - segments[:, 0]) / length[:, None]
    lines = shapely.linestrings(segments)
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_EDGES_APART_MM[1])
    strength = z * length
    alike = np.minimum(strength[one], strength[other]) > _EDGES_ALIKE * np.maximum(strength[one], strength[other])
    alike &= (one < other) & (np.abs((way[one] * way[other]).sum(axis=1)) > np.cos(_SAME_TURN / 2.0))
    gone = np.zeros(len(segments), dtype=np.bool_)
    middle: list[NDArray[np.float64]] = []
    middle_z: list[float] = []
    for a, b in zip(one[alike].tolist(), other[alike].tolist(), strict=True):
        off = segments[b] - segments[a, 0]
        aside = off @ (-way[a, 1], way[a, 0])
        along = np.sort(off @ way[a])
        shared = min(along[1], length[a]) - max(along[0], 0.0)
        within = _EDGES_APART_MM[0] <= np.abs(aside).min() and np.abs(aside).max() <= _EDGES_APART_MM[1]
        if gone[a] or gone[b] or not within or shared < _EDGES_OVERLAP * max(length[a], length[b]):
            continue
        gone[[a, b]] = True
        ends = segments[b] if way[a] @ way[b] > 0 else segments[b][::-1]
        middle.append(0.5 * (segments[a] + ends))
        middle_z.append(float(z[a] + z[b]))
    if not middle:
        return segments, z
    return np.concatenate([segments[~gone], np.array(middle)]), np.concatenate([z[~gone], np.array(middle_z)])


def trial_lines(segments: NDArray[np.float64], pixel_mm: float) -> NDArray[np.float64]:
    """Lines, links over the gaps between those on one straight, and free ends drawn on to meet other lines."""
    linked = _facing_ends(segments, pixel_mm)
    ends = np.concatenate([segments[:, 0], segments[:, 1]])
    out = np.concatenate([segments[:, 0] - segments[:, 1], segments[:, 1] - segments[:, 0]])
    out = out / np.maximum(np.linalg.norm(out, axis=1)[:, None], 1e-9)
    gap = np.linalg.norm(ends[linked[:, 0]] - ends[linked[:, 1]], axis=1)
    bridges = np.stack([ends[linked[:, 0]], ends[linked[:, 1]]], axis=1)
    free = np.ones(len(ends), dtype=np.bool_)
    # Beyond a long gap the line may have ended at a crossing just past its end: the bridge runs through it.
    free[linked.ravel()] = False
    drawn = np.stack([ends[free], ends[free] + REACH_MM * out[free]], axis=1)
    return np.concatenate([segments, bridges[gap > 0.0], drawn])


def _facing_ends(segments: NDArray[np.float64], pixel_mm: float) -> NDArray[np.int64]:
    """(k, 2) numbers of ends (starts, then ends of lines) that face each other on one straight, each the nearest."""
    import shapely

    off_most = max(_BRIDGE_OFF_MM, pixel_mm)
    ends = np.concatenate([segments[:, 0], segments[:, 1]])
    out = np.concatenate([segments[:, 0] - segments[:, 1], segments[:, 1] - segments[:, 0]])
    out = out / np.linalg.norm(out, axis=1)[:, None]
    tree = shapely.STRtree(shapely.points(ends))
    one, other = tree.query(shapely.points(ends), predicate="dwithin", distance=_BRIDGE_MM)
    gap = ends[other] - ends[one]
    ahead = (gap * out[one]).sum(axis=1)
    off_one = np.abs(gap[:, 0] * out[one, 1] - gap[:, 1] * out[one, 0])
    off_other = np.abs(gap[:, 0] * out[other, 1] - gap[:, 1] * out[other, 0])
    facing = (out[one] * out[other]).sum(axis=1) < -np.cos(_SAME_TURN)
    fits = facing & (ahead > 0.0) & (np.maximum(off_one, off_other) < off_most + 0.01 * ahead)
    one, other, ahead = one[fits], other[fits], ahead[fits]
    nearest: dict[int, int] = {}
    for index in np.argsort(ahead):
        nearest.setdefault(int(one[index]), int(other[index]))
    pairs = sorted((a, b) for a, b in nearest.items() if a < b and nearest.get(b) == a)
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)
