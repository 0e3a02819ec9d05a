"""How joints, lips and tiles are told to people: the part of ``wording`` that is about them."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from flatscan.measures.joints.joints import MeasuredJoint, Refusal, Station
    from flatscan.measures.joints.network import FoundIn, TileFormat
    from flatscan.measures.measurement import HeldAgainst
    from flatscan.quantity import Quantity
    from flatscan.report.words.joint_words import JointKind, Worst

KIND_TEXT: Mapping[JointKind, str] = {"joint_width": "width", "joint_depth": "depth", "lip": "lip"}
#: Why a figure is missing, and what to do about it.
REFUSAL_TEXT: Mapping[Refusal, tuple[str, str]] = {
    "no_photo": ("no photo shows the place", "Take a photo of it from straight above"),
    "too_coarse": (
        "too few pixels or readings lie across the joint",
        "Go closer: photos from about half a metre (20 in) above the floor, or a finer scan",
    ),
    "too_blurred": (
        "the photo is too blurred for a joint this narrow",
        "Hold the camera still, in more light, and focus on the floor",
    ),
    "shadow": (
        "a shadow lies in the joint and would count as width",
        "Take it again without sun or a lamp low above the floor",
    ),
    "low_contrast": (
        "tile and joint look alike there",
        "Measure the width by hand, or light the floor from one side for the photo",
    ),
    "steep_view": (
        "it was seen so much from the side that the tile hides the joint's far edge",
        "Take a photo of it from straight above",
    ),
    "no_edges": (
        "no pair of tile edges fits what is seen",
        "Clean the joint and take the photo again, or measure by hand",
    ),
    "too_few_heights": (
        "too few heights were measured on one of the tiles",
        "Scan slower and from both sides of the joint",
    ),
    "smoothed": (
        "the heights were smoothed by whoever made the file",
        "Use the point cloud or the depth frames, or measure by hand",
    ),
}
FOUND_IN_TEXT: Mapping[FoundIn, str] = {
    "picture": "the picture of the floor",
    "heights": "the heights",
    "both": "the picture of the floor and the heights",
}
_FIGURES = ("width", "depth", "lip")


def value(what: JointKind, q: Quantity) -> str:
    """A figure under its name.

    >>> from flatscan.quantity import Quantity
    >>> value("lip", Quantity(1.8, 0.15, "mm")), value("joint_width", Quantity(5.9, 0.4, "mm"))
    ('lip 1.8 ± 0.3 mm', 'width 5.9 ± 0.8 mm')
    """
    return f"{KIND_TEXT[what]} {wording.size(q)}"


def unsigned(q: Quantity) -> Quantity:
    """The size of a lip, whose sign only tells which side is high."""
    return replace(q, value=abs(q.value))


def tiles(tile: TileFormat) -> str:
    """The commonest tile, measured with one joint.

    >>> from flatscan.measures.joints.network import TileFormat
    >>> from flatscan.quantity import Quantity
    >>> tiles(TileFormat(Quantity(600.4, 0.4, "mm"), Quantity(300.2, 0.4, "mm"), 0.0, "running", 1 / 3, 0.9))
    'tiles 600.4 ± 0.8 × 300.2 ± 0.8 mm with one joint, each row shifted by a third of the tile'
    """
    long, short = (wording.quantity(q) for q in (tile.pitch_long, tile.pitch_short))
    unit = f" {said.unit('mm')}"
    size = f"{long} each way" if long == short else f"{long.removesuffix(unit)} × {short}"
    return f"tiles {size} with one joint, {_bond(tile)}"


def low_side(station: Station, joint: MeasuredJoint) -> str:
    """Which side of a lip is the lower one, as seen on the map.

    >>> from flatscan.measures.joints.joints import MeasuredJoint, Station
    >>> from flatscan.quantity import Quantity
    >>> station = Station((0.0, 50.0), 50.0, 100.0, lip=Quantity(1.0, 0.1, "mm"))
    >>> low_side(station, MeasuredJoint("J1", 0, ((0.0, 0.0), (0.0, 100.0)), (station,)))
    'right'
    """
    return places.heading(low_side_rad(station, joint))


def low_side_rad(station: Station, joint: MeasuredJoint) -> float:
    """Direction square to the joint towards the lower side; a positive lip is higher to the left of the way."""
    (x0, y0), (x1, y1) = joint.line[0], joint.line[-1]
    high = math.atan2(y1 - y0, x1 - x0) + math.pi / 2.0
    return high + math.pi if station.lip is None or station.lip.value >= 0.0 else high


def where(worst: Worst) -> str:
    """The place of a worst station, with the lower side of a lip; empty where nothing was measured."""
    if worst.station is None:
        return ""
    told = worst.where
    if worst.what == "lip":
        told += f"; lower side: {low_side(worst.station, worst.joint)}"
    return told


def refused(stations: Iterable[Station]) -> list[tuple[str, Refusal, float]]:
    """(figure, reason, mm of joint), the longest first."""
    lengths: Counter[tuple[str, Refusal]] = Counter()
    for station in stations:
        for figure, why in station.refused:
            lengths[figure, why] += station.stretch_mm  # type: ignore[assignment]
    return [(figure, why, float(mm)) for (figure, why), mm in lengths.most_common()]


def refused_lines(joints: Sequence[MeasuredJoint]) -> list[str]:
    """What could not be measured, on how much joint, why and what to do: one sentence for each reason."""
    found: dict[Refusal, list[str]] = {}
    for figure, why, mm in refused(station for joint in joints for station in joint.stations):
        found.setdefault(why, []).append(f"{figure} on {said.run(mm)}")
    return [
        f"{', '.join(of).capitalize()}: {REFUSAL_TEXT[why][0]}. {REFUSAL_TEXT[why][1]}" for why, of in found.items()
    ]


def refused_words(joint: MeasuredJoint) -> str:
    """The same for one joint, in a table's cell."""
    found = refused(joint.stations)
    return "; ".join(
        f"{figure}: {REFUSAL_TEXT[why][0]} ({said.thickness(mm, 0)})"
        for name in _FIGURES
        for figure, why, mm in found
        if figure == name
    )


def hand_line(held: HeldAgainst, source: str = "capture") -> str:
    """A hand reading that was taken in, and how it compares with the ``source`` of the heights."""
    reading = held.reading
    name = "gap" if reading.what == "gap" else f"joint {KIND_TEXT[reading.what]}" if reading.what != "lip" else "lip"
    laid = f" {wording.under_edge(reading.edge_mm)}" if reading.edge_mm else ""
    of = f" at {reading.joint}" if reading.joint else ""
    label = reading.number or f"line {reading.row}"
    told = f"{label[0].upper()}{label[1:]}: {name}{of} {wording.size(unsigned(reading.value))}{laid}"
    told += f", {places.point(reading.at)}"
    if held.scan is None and held.conflict:
        return f"{told}. Another reading there contradicts it, so this place stays open. Measure it again"
    if held.scan is None and held.taken is not None and held.taken != reading.value:
        return f"{told}. With what else was read there {wording.size(unsigned(held.taken))} is judged"
    if held.scan is None and source == "surface" and reading.what != "gap":
        return told  # no surface made from readings knows of joints
    if held.scan is None:
        return f"{told}. The {source} had no value there; the reading is judged"
    scan = f"{told}. The {source} told {wording.size(unsigned(held.scan))}"
    if held.conflict or held.taken is None:
        return f"{scan}: the two contradict each other, so this place stays open. Measure it again"
    return f"{scan}; judged is {wording.size(unsigned(held.taken))}"


def _bond(tile: TileFormat) -> str:
    named = {"stack": "laid in a square grid", "herringbone": "laid in herringbone", "mixed": "laid in no one pattern"}
    if tile.bond != "running":
        return named[tile.bond]
    if not tile.shift:
        return "laid in running bond"
    return f"each row shifted by {_part(tile.shift)} of the tile"


def _part(share: float) -> str:
    near = {"half": 1 / 2, "a third": 1 / 3, "a quarter": 1 / 4}
    return next((word for word, part in near.items() if abs(share - part) < 0.03), wording.share(share))  # noqa: PLR2004
