"""The network of joints of one floor, from the pictures of it seen from straight above."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import Caveat, caveat
from flatscan.measures.joints.finding.faces import faces_of
from flatscan.measures.joints.finding.format import boxes_about, tile_format
from flatscan.measures.joints.finding.graph import Graph
from flatscan.measures.joints.finding.lines import find_lines
from flatscan.measures.joints.finding.scale import tile_size_doubt
from flatscan.measures.joints.finding.uniting import united
from flatscan.measures.joints.network import Face, FoundIn, JointNetwork, JointPiece
from flatscan.progress import SILENT, Progress

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.settings import JointSettings
    from flatscan.surface.picture.floor_picture import FloorPicture, PictureKind

#: Larger faces are no tiles but what is left between them, mm².
_MOST_FACE_MM2 = 4.0e6
#: Evidence is 1/2 at this many standard deviations.
_HALF_EVIDENCE_Z = 6.0

_KIND_WORDS: dict[PictureKind, str] = {
    "photos": "the photos",
    "colours": "the colours of the points",
    "heights": "the heights",
}


def find_network(
    pictures: Sequence[FloorPicture], settings: JointSettings, *, progress: Progress = SILENT
) -> JointNetwork:
    """Find the joints in the pictures and join them to a network in floor-frame mm.

    Parameters
    ----------
    pictures : none, one or two (photos or colours, and heights) of one floor
    settings : ``tile_mm``, where known, is held against the size that is found

    Notes
    -----
    A joint shows as a line that differs from both its sides; steps (edges of shadows) do not count in photos, and do
    as lips in heights. What is no network is not returned: empty ``pieces`` is a result, and ``how`` says what was
    looked at.
    """
    graphs: list[Graph] = []
    for picture in pictures:
        found = find_lines(
            picture.tone,
            picture.pixel_mm,
            heights=picture.kind == "heights",
            tile_mm=settings.tile_mm,
            progress=progress,
        )
        graphs.append(_in_floor_frame(found.graph, picture))
    graph, found_in = _together(graphs, pictures)
    if len(graph.links) == 0:
        # Without a picture nothing was looked for, which ``how`` says.
        nothing = (_nothing_found(pictures),) if pictures else ()
        return JointNetwork((), (), None, found_in, _how(pictures, 0), nothing)
    rings, sides = faces_of(graph.nodes_mm, graph.links, _MOST_FACE_MM2)
    pixel_mm = min(picture.pixel_mm for picture in pictures)
    boxes = boxes_about(rings)
    tile, whole = tile_format(boxes, pixel_mm)
    doubts = tuple(d for d in (tile_size_doubt(tile, settings.tile_mm),) if d is not None)
    return JointNetwork(
        pieces=_pieces(graph, sides),
        faces=tuple(Face(ring, bool(w)) for ring, w in zip(rings, whole, strict=True)),
        format=tile,
        found_in=found_in,
        how=_how(pictures, len(graph.links)),
        caveats=doubts,
    )


def _in_floor_frame(graph: Graph, picture: FloorPicture) -> Graph:
    return Graph(graph.nodes_mm + np.array(picture.origin_mm), graph.links, graph.z)


def _together(graphs: list[Graph], pictures: Sequence[FloorPicture]) -> tuple[Graph, FoundIn]:
    """One graph of all pictures, positions from the finer one, and which of them it came from."""
    with_joints = [(g, p) for g, p in zip(graphs, pictures, strict=True) if len(g.links)]
    if not with_joints:
        return Graph.empty(), "heights" if [p.kind for p in pictures] == ["heights"] else "picture"
    with_joints.sort(key=lambda pair: pair[1].pixel_mm)
    graph = with_joints[0][0]
    for other, picture in with_joints[1:]:
        graph = united(graph, other, picture.pixel_mm)
    heights = [p.kind == "heights" for _, p in with_joints]
    if any(heights) and not all(heights):
        return graph, "both"
    return graph, "heights" if all(heights) else "picture"


def _pieces(graph: Graph, sides: np.ndarray) -> tuple[JointPiece, ...]:
    ends = graph.nodes_mm[graph.links]
    clear = graph.z / (graph.z + _HALF_EVIDENCE_Z)
    return tuple(
        JointPiece(
            start=(float(a[0]), float(a[1])),
            end=(float(b[0]), float(b[1])),
            faces=(int(left) if left >= 0 else None, int(right) if right >= 0 else None),
            evidence=float(z),
        )
        for (a, b), (left, right), z in zip(ends, sides, clear, strict=True)
    )


def _how(pictures: Sequence[FloorPicture], pieces: int) -> str:
    if not pictures:
        return "No picture of the floor could be made, so joints were not looked for"
    looked = " and ".join(f"{_KIND_WORDS[p.kind]} at {_pixel(p)}" for p in pictures)
    return f"Joints were looked for in {looked}; {pieces or 'no'} pieces were found"


def _pixel(picture: FloorPicture) -> str:
    return f"{said.about(picture.pixel_mm)} a pixel"


def _nothing_found(pictures: Sequence[FloorPicture]) -> Caveat:
    looked = " and ".join(f"{_KIND_WORDS[p.kind]} ({_pixel(p)})" for p in pictures)
    return caveat("no_joints_found", looked=looked)
