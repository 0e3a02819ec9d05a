"""The network of joints of one picture on plain arrays: nodes, pieces and how clearly each piece is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flatscan.measures.joints.finding.candidates import trial_lines, without_doubles
from flatscan.measures.joints.finding.crossings import cut_at_crossings
from flatscan.measures.joints.finding.directions import line_directions
from flatscan.measures.joints.finding.graph import (
    Graph,
    closed_gaps,
    dissolved,
    without_dangling,
    without_doubled_ends,
    without_islands,
    without_slivers,
)
from flatscan.measures.joints.finding.proof import Proof, proof_of
from flatscan.measures.joints.finding.ridges import evidence
from flatscan.measures.joints.finding.seen import Seen
from flatscan.measures.joints.finding.segments import lines_in
from flatscan.measures.joints.finding.settle import settled
from flatscan.measures.joints.finding.spacing import at_tile_distance
from flatscan.measures.joints.finding.strips import Strips, strips_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.progress import Progress

#: Finer pictures are averaged to pixels of about this size before looking, mm.
_WORK_MM = 0.9
#: A piece this clear stays; one less clear stays where it closes the network.
STRONG_Z = 5.0
WEAK_Z = 2.5
_STRONG_AGREE = 0.65
_WEAK_AGREE = 0.6
#: Less clear but steady: seen in nearly every cell of a piece this long, with the contrast of others.
_STEADY_Z = 2.8
_STEADY_AGREE = 0.85
_STEADY_MM = 60.0
_STEADY_OF_USUAL = 0.6
#: Less contrast than this share of what is usual nearby: no joint.
_LEAST_OF_USUAL = 0.35
_NEIGHBOURS = 15
#: With a known tile faint lines are believed this many tiles out from clear ones.
_ROWS_OUT = 2
#: Gaps shorter than this are closed, mm; faces thinner than the others (mm, pixels) are two lines on one joint.
_CLOSE_MM = 250.0
_THIN_MM = 14.0
_THIN_PX = 7.0
#: Nodes closer than this are one, mm and pixels, whichever is more.
_SNAP_MM = 4.0
_SNAP_PX = 1.5
#: Free ends shorter than this are cut off, mm.
DANGLING_MM = 45.0
_DANGLING_INSIDE_MM = 130.0
_BORDER_MM = 40.0


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What was found in one picture: its graph in picture mm and the pixel it was looked for at."""

    graph: Graph
    pixel_mm: float


def find_lines(
    tone: NDArray[np.float32],
    pixel_mm: float,
    *,
    heights: bool,
    tile_mm: tuple[float, float] | None = None,
    progress: Progress,
) -> Found:
    """Find the joints in a picture seen from straight above.

    Parameters
    ----------
    tone : (rows, cols) float32, NaN unseen; brightness in any unit, or with ``heights`` relief in mm
    pixel_mm : side of a pixel; the outer corner of pixel [0, 0] is the origin
    heights : steps from one side to the other count as well
    tile_mm : size of the tiles where it is known: fainter lines are believed a tile away from clear ones
    """
    tone, pixel_mm = work_size(tone, pixel_mm)
    known = tone[np.isfinite(tone)]
    if known.size:
        # Single precision holds small differences about 0, not on top of a large tone.
        tone = tone - np.median(known[:: max(1, known.size // 100_000)])
    del known
    strips, segments, strengths = list[Strips](), list[np.ndarray](), list[float]()
    turns = [a + quarter for a in line_directions(tone) for quarter in (0.0, math.pi / 2.0)]
    for turn in progress.track(turns, label="looking for joints", total=len(turns)):
        one = strips_along(tone, pixel_mm, turn)
        strips.append(one)
        z, _ = evidence(one, steps=heights)
        for line in lines_in(one, z):
            ends = np.array([line.start, line.end])
            segments.append(one.to_picture(ends[:, 0], ends[:, 1]))
            strengths.append(line.z)
    if not segments:
        return Found(Graph.empty(), pixel_mm)
    lines = without_doubles(np.array(segments), np.array(strengths), pixel_mm)
    nodes, links = cut_at_crossings(trial_lines(lines, pixel_mm), max(_SNAP_MM, _SNAP_PX * pixel_mm))
    proof = proof_of(nodes[links], strips, steps=heights)
    thin_mm = max(_THIN_MM, _THIN_PX * pixel_mm)
    graph = proven(nodes, links, proof, Seen(tone, pixel_mm), thin_mm=thin_mm, tile_mm=tile_mm, alike=not heights)
    return Found(settled(graph, strips, steps=heights), pixel_mm)


def proven(
    nodes: NDArray[np.float64],
    links: NDArray[np.int64],
    proof: Proof,
    seen: Seen,
    *,
    thin_mm: float = _THIN_MM,
    tile_mm: tuple[float, float] | None = None,
    alike: bool,
) -> Graph:
    """Keep clear pieces, and less clear ones that join clear ones; then cut free ends and what touches no network.

    ``alike``: joints near each other differ alike from the tiles (not so with lips), so a piece with much less
    contrast than those around it is none.
    """
    strong = (proof.z >= STRONG_Z) & (proof.agree >= _STRONG_AGREE)
    if not strong.any():
        return Graph.empty()
    length = np.linalg.norm(nodes[links[:, 1]] - nodes[links[:, 0]], axis=1)
    usual = usual_nearby(nodes[links].mean(axis=1), proof.contrast, strong & (length > DANGLING_MM / 2.0))
    like = proof.contrast >= (_LEAST_OF_USUAL * usual if alike else 0.0)
    # In grain nothing is far above the noise, but a joint goes on where grain comes and goes.
    steady = (proof.z >= _STEADY_Z) & (proof.agree >= _STEADY_AGREE) & (length > _STEADY_MM)
    keep = (strong & like) | (steady & (proof.contrast >= _STEADY_OF_USUAL * usual))
    may = (proof.z >= WEAK_Z) & (proof.agree >= _WEAK_AGREE) & like
    if tile_mm is not None:
        # Row after row: what is believed now stands for the next.
        for _ in range(_ROWS_OUT):
            keep = keep | (may & at_tile_distance(nodes[links], keep, tile_mm))
    for _ in range(4):
        touched = np.zeros(len(nodes), dtype=np.bool_)
        touched[links[keep].ravel()] = True
        keep = keep | (may & touched[links].all(axis=1))
    keep = closed_gaps(nodes, links, without_dangling(nodes, links, keep, np.full(len(nodes), DANGLING_MM)), _CLOSE_MM)
    graph = without_doubled_ends(without_slivers(Graph(nodes, links[keep], proof.z[keep]), thin_mm), thin_mm)
    graph = without_islands(dissolved(graph))
    # Joints end within the floor only where they are hidden; at the border of what was seen they may.
    least = np.where(seen.near_border(graph.nodes_mm, _BORDER_MM), DANGLING_MM, _DANGLING_INSIDE_MM)
    keep = without_dangling(graph.nodes_mm, graph.links, np.ones(len(graph.links), np.bool_), least)
    return dissolved(without_islands(graph.only(keep)))


def usual_nearby(
    at_mm: NDArray[np.float64], contrast: NDArray[np.float64], strong: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Median contrast of the strong pieces nearest to each piece."""
    from scipy.spatial import cKDTree

    if not strong.any():
        return np.zeros(len(at_mm))
    count = min(_NEIGHBOURS, int(strong.sum()))
    _, index = cKDTree(at_mm[strong]).query(at_mm, k=count)
    return np.asarray(np.median(contrast[strong][index.reshape(len(at_mm), count)], axis=1), dtype=np.float64)


def work_size(tone: NDArray[np.float32], pixel_mm: float) -> tuple[NDArray[np.float32], float]:
    """Means over whole pixels, so that one is about as fine as is needed to find (not to measure) a joint."""
    times = max(1, math.ceil(_WORK_MM / pixel_mm - 0.25))
    if times == 1:
        return np.ascontiguousarray(tone, dtype=np.float32), pixel_mm
    rows, cols = (-(-n // times) for n in tone.shape)
    padded = np.full((rows * times, cols * times), np.nan, np.float32)
    padded[: tone.shape[0], : tone.shape[1]] = tone
    blocks = padded.reshape(rows, times, cols, times)
    seen = np.isfinite(blocks).sum(axis=(1, 3))
    total = np.nansum(blocks, axis=(1, 3))
    mean = np.divide(total, seen, out=np.full((rows, cols), np.nan, np.float32), where=2 * seen > times * times)
    return mean.astype(np.float32), pixel_mm * times
