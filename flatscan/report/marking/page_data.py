"""What the pages of the sheet hold, as plain data for the template: it only places and draws."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.report.marking import rows
from flatscan.report.marking.clusters import clusters_of
from flatscan.report.marking.drawing import AROUND_MM, detail, overview
from flatscan.report.words import levelling_words, wording
from flatscan.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.levelling.plan import Method
    from flatscan.report.marking.clusters import Cluster
    from flatscan.report.marking.data import MarkingData
    from flatscan.report.words.cautions import Caution
    from flatscan.settings import Paper

#: Paper for the whole floor on page 1, and for one true to scale drawing, width and height in mm.
_OVERVIEW_MM: dict[Paper, tuple[float, float]] = {"a4": (158.0, 132.0), "letter": (163.0, 112.0)}
_DETAIL_MM: dict[Paper, tuple[float, float]] = {"a4": (172.0, 148.0), "letter": (177.0, 130.0)}


def page_data(data: MarkingData, paper: Paper, cautions: Sequence[Caution]) -> dict[str, Any]:
    """All words and figures of the sheet."""
    wide, high = _DETAIL_MM[paper]
    boxes = [(area.corners.min(axis=0), area.corners.max(axis=0)) for area in data.areas]
    clusters = clusters_of(boxes, (wide - 2.0 * AROUND_MM, high - 2.0 * AROUND_MM))
    return {
        "paper": "us-letter" if paper == "letter" else "a4",
        "title": data.title,
        "units": _units(),
        "check": _check_bar(),
        "room": _room(data),
        "way": _way(data),
        "nothing": data.nothing,
        "overview": overview(data, _OVERVIEW_MM[paper]),
        "key": _key(data),
        "area_rows": rows.area_rows(data),
        "pours": rows.pour_rows(data),
        "dams": rows.dam_rows(data),
        "zones": rows.zone_rows(data),
        "details": [_detail(data, cluster) for cluster in clusters],
        "joints": rows.joint_table(data),
        "lips": rows.lip_table(data),
        "cautions": [{"title": caution.title, "text": caution.text} for caution in cautions],
    }


def _room(data: MarkingData) -> str:
    if not data.outline:
        return wording.area(data.floor_m2)
    sides = (data.outline[0].max(axis=0) - data.outline[0].min(axis=0)).tolist()
    return f"Room {said.tapes(*sides, between=' by ')} over all, {wording.area(data.floor_m2)} of floor judged"


def _way(data: MarkingData) -> list[str]:
    """The chosen way, what it takes, and the joints and lips, in a sentence each."""
    told = []
    if data.method is not None:
        told.append(f"The way drawn here: {wording.METHOD_TEXT[data.method.name]}.")
        told += _compound(data, data.method)
        if data.method.ground_l > 0.0:
            off = levelling_words.ground_litres(data.method.ground_l)
            told.append(f"To grind off: {off} of floor, on {wording.area(data.method.ground_m2)}.")
    told += [rows.joints_sentence(data), rows.lips_sentence(data), rows.open_sentence(data)]
    return [sentence for sentence in told if sentence]


def _compound(data: MarkingData, method: Method) -> list[str]:
    """Litres and bags, as the terminal tells them."""
    if not levelling_words.takes_known(method) or method.volume_p_l[2] < levelling_words.LEAST_TOLD_L:
        return []
    areas = sum(area.area.action == "fill" for area in data.areas)
    where = f" in {areas} {'area' if areas == 1 else 'areas'}" if areas else ""
    litres = levelling_words.litres(method)
    if litres.endswith(")"):
        litres = f"{litres[:-1]}, eight floors of ten)"
    elif " to " in litres:
        litres += " (eight floors of ten)"
    told = [f"{litres} of {data.product_name}{where}."]
    return [*told, f"Buy {levelling_words.to_buy(method, data.bag_kg)}."] if method.buy else told


def _units() -> dict[str, str]:
    """What the headings and notes name."""
    metres = "" if said.imperial() else ", m"
    return {
        "area": said.unit("m²"),
        "volume": said.unit("litres"),
        "thick": said.unit("mm"),
        "tape": said.tape_unit(),
        "metres": metres,
        "frame": "feet" if said.imperial() else "metres",
        "contours": "sixteenths of an inch apart, in inches" if said.imperial() else "in mm",
    }


def _check_bar() -> dict[str, Any]:
    """A bar whose length on paper shows whether it was printed true to scale: mm, parts, and how it is called."""
    if said.imperial():
        return {"length": 4.0 * MM_PER["in"], "parts": 8, "text": "4 in"}
    return {"length": 100.0, "parts": 10, "text": "100 mm"}


def _key(data: MarkingData) -> dict[str, bool]:
    """Which signs the drawings use."""
    kinds = {zone.kind for zone in data.zones}
    return {
        "fill": any(area.area.action == "fill" for area in data.areas),
        "grind": any(area.area.action == "grind" for area in data.areas),
        "joints": bool(data.fills()),
        "lips": bool(data.lips()),
        "movement": bool(data.movement_joints),
        "dams": bool(data.dams),
        "doors": bool(data.doors),
        "zones": bool(kinds - {"remove_tiles"}),
        "tiles": "remove_tiles" in kinds,
    }


def _detail(data: MarkingData, cluster: Cluster) -> dict[str, Any]:
    areas = [data.areas[k] for k in cluster.members]
    return {
        "numbers": _numbers([area.area.number for area in areas]),
        "many": len(areas) > 1,
        "with_contours": bool(data.drawn_contours),
        "drawing": detail(data, cluster),
        "tables": [table for area in areas for table in rows.corner_tables(area)],
    }


def _numbers(numbers: Sequence[int]) -> str:
    """``1, 3 to 6, 9``."""
    breaks = np.flatnonzero(np.diff(numbers) != 1) + 1
    runs = np.split(np.asarray(numbers), breaks)
    told = [f"{run[0]}" if len(run) == 1 else f"{run[0]}{' to ' if len(run) > 2 else ', '}{run[-1]}" for run in runs]  # noqa: PLR2004
    return ", ".join(told)
