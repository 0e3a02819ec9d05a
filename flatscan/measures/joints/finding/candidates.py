"""Lines made ready to be joined: no line twice, gaps bridged for a trial, ends drawn on to crossings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Lines this close side by side are one, mm and pixels, whichever is more.
_SAME_MM = 5.0
_SAME_PX = 2.5
#: Of two lines of nearly one direction, radians.
_SAME_TURN = 0.06
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
    for weak in sorted(strips):
        for strong in strips[weak]:
            if kept[strong].is_empty:
                continue
            near = kept[strong].buffer(beside, cap_style="flat")
            kept[weak] = kept[weak].difference(near)
    parts = shapely.get_parts(np.array(kept))
    parts = parts[shapely.length(parts) > 2.0 * beside]
    return np.array([(p.coords[0], p.coords[-1]) for p in parts], dtype=np.float64).reshape(-1, 2, 2)


def bridges(segments: NDArray[np.float64], pixel_mm: float) -> NDArray[np.float64]:
    """Straight links over gaps between lines on one straight: each end to the nearest line ahead of it."""
    import shapely

    if len(segments) == 0:
        return segments
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
    fits = facing & (ahead > 1.0) & (np.maximum(off_one, off_other) < off_most + 0.01 * ahead)
    one, other, ahead = one[fits], other[fits], ahead[fits]
    order = np.argsort(ahead)
    nearest: dict[int, int] = {}
    for index in order:
        nearest.setdefault(int(one[index]), int(other[index]))
    pairs = sorted({(min(a, b), max(a, b)) for a, b in nearest.items() if nearest.get(b) == a})
    return np.array([(ends[a], ends[b]) for a, b in pairs], dtype=np.float64).reshape(-1, 2, 2)


def drawn_on(segments: NDArray[np.float64], reach_mm: float) -> NDArray[np.float64]:
    """Each line longer by ``reach_mm`` at both ends."""
    if len(segments) == 0:
        return segments
    way = segments[:, 1] - segments[:, 0]
    way = way / np.linalg.norm(way, axis=1)[:, None]
    return np.stack([segments[:, 0] - reach_mm * way, segments[:, 1] + reach_mm * way], axis=1)
