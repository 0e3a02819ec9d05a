"""Joints and lips on one page: find them, then width, lip and depth at stations, each with its doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.measures.joints.finding.find import find_network
from flatscan.measures.joints.joints import Joints, MeasuredJoint, Station
from flatscan.measures.joints.lips.faces import measured_faces
from flatscan.measures.joints.lips.measure import measure_depths, measure_lips
from flatscan.measures.joints.stations import Stations, stations_along
from flatscan.measures.joints.widths.edge_definition import between_walls_and_tops
from flatscan.measures.joints.widths.lone import without_lone
from flatscan.measures.joints.widths.measure import measure_widths
from flatscan.progress import SILENT, Progress
from flatscan.quantity import Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Literal

    import numpy as np

    from flatscan.measures.joints.joints import Refusal
    from flatscan.measures.joints.lips.measure import Depths, Lips
    from flatscan.measures.joints.network import JointNetwork
    from flatscan.measures.joints.widths.measure import Widths
    from flatscan.settings import JointSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.picture.alignment import AlignedPhotos
    from flatscan.surface.picture.floor_picture import FloorPicture
    from flatscan.surface.surface import Surface


def measure_joints(
    scan: Scan,
    surface: Surface,
    pictures: Sequence[FloorPicture],
    photos: AlignedPhotos,
    settings: JointSettings,
    *,
    rng: np.random.Generator,
    progress: Progress = SILENT,
) -> Joints:
    """Find the joints in the floor's pictures and measure them.

    Parameters
    ----------
    scan : its height samples give lips and depths, its photos the widths
    surface : the floor's height map
    pictures : photos or colours, and local heights, seen from straight above; none: no joints are found
    photos : brought to agree with each other, for the widths
    settings : how they are looked for
    rng : for what is sampled
    progress : told about photos and points
    """
    network = find_network(pictures, settings, progress=progress)
    stations = stations_along(network, settings.station_mm)
    # A picture of photos tells these itself; without one they would be lost.
    doubts = () if any(one.kind == "photos" for one in pictures) else photos.caveats
    if not network.pieces:
        return Joints(network, (), caveats=doubts)
    lips = measure_lips(scan, surface, network, stations, progress=progress)
    widths = measure_widths(
        photos.photos,
        surface,
        stations,
        lip_mm=lips.lip_mm,
        lip_u_mm=lips.u_mm,
        rng=rng,
        progress=progress,
    )
    widths = without_lone(widths, stations)
    depths = measure_depths(scan, surface, network, stations, widths.wall_width_mm, smooth=lips.smooth)
    return Joints(
        network=network,
        joints=_joints(network, stations, (widths, lips, depths), settings),
        faces=measured_faces(surface, network),
        caveats=doubts if lips.smooth is None else (*doubts, lips.smooth),
    )


def _joints(
    network: JointNetwork, stations: Stations, figures: tuple[Widths, Lips, Depths], settings: JointSettings
) -> tuple[MeasuredJoint, ...]:
    """A record per piece, numbered in the network's order."""
    of_piece: list[list[Station]] = [[] for _ in network.pieces]
    for row in range(len(stations)):
        of_piece[int(stations.piece[row])].append(_station(row, stations, figures, settings))
    return tuple(
        MeasuredJoint(id=f"J{index + 1}", piece=index, line=(piece.start, piece.end), stations=tuple(of_piece[index]))
        for index, piece in enumerate(network.pieces)
    )


def _station(row: int, stations: Stations, figures: tuple[Widths, Lips, Depths], settings: JointSettings) -> Station:
    widths, lips, depths = figures
    x, y = stations.at_mm[row].tolist()
    wall_width = width = None
    if widths.refused[row] is None:
        parts = {name: float(values[row]) for name, values in widths.budget.items()}
        wall_width = Quantity(
            float(widths.wall_width_mm[row]), float(widths.u_mm[row]), "mm", budget=tuple(parts.items())
        )
        value, u, definition = between_walls_and_tops(
            wall_width.value, wall_width.u, tile_edge_mm=settings.tile_edge_mm
        )
        width = Quantity(value, u, "mm", budget=tuple(definition.items()))
    named: tuple[tuple[Literal["width", "depth", "lip"], Refusal | None], ...] = (
        ("width", widths.refused[row]),
        ("depth", depths.refused[row]),
        ("lip", lips.refused[row]),
    )
    return Station(
        at=(x, y),
        along_mm=float(stations.along_mm[row]),
        stretch_mm=float(stations.stretch_mm[row]),
        wall_width=wall_width,
        width=width,
        depth=_quantity(depths.depth_mm, depths.u_mm, depths.refused, row),
        lip=_quantity(lips.lip_mm, lips.u_mm, lips.refused, row),
        refused=tuple((what, why) for what, why in named if why is not None),
    )


def _quantity(values: np.ndarray, u: np.ndarray, refused: Sequence[Refusal | None], row: int) -> Quantity | None:
    return None if refused[row] is not None else Quantity(float(values[row]), float(u[row]), "mm")
