"""The plan as a drawing file: DXF R2010, millimetres, one layer for each kind of thing."""

from __future__ import annotations

import io
import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan import said
from flatscan.report.marking.data import name_of
from flatscan.report.marking.rows import high_side

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.joints.joint_work import WorkWord
    from flatscan.levelling.marking.contours import Contour
    from flatscan.report.marking.data import MarkedArea, MarkingData

#: Layer, its colour by number (AutoCAD colour index: 5 blue, 30 orange, 3 green, 6 magenta), its line.
LAYERS: tuple[tuple[str, int, str], ...] = (
    ("Walls", 7, "CONTINUOUS"),
    ("Wall numbers", 7, "CONTINUOUS"),
    ("Doors", 8, "CONTINUOUS"),
    ("Fill areas", 5, "CONTINUOUS"),
    ("Grind areas", 30, "CONTINUOUS"),
    ("Marking outlines", 7, "CONTINUOUS"),
    ("Marking corners", 7, "CONTINUOUS"),
    ("Marking distances", 8, "CONTINUOUS"),
    ("Area numbers", 7, "CONTINUOUS"),
    ("Fill contours 1 mm", 140, "CONTINUOUS"),
    ("Grind contours 1 mm", 40, "CONTINUOUS"),
    ("Joints to fill", 1, "CONTINUOUS"),
    ("Joints not decided", 1, "DASHED"),
    ("Lips to take down", 6, "CONTINUOUS"),
    ("Lips not decided", 6, "DASHED"),
    ("Movement joints", 3, "DASHDOT"),
    ("Dams", 32, "DASHED"),
    ("Zones", 9, "DASHED"),
    ("Tiles to take out", 200, "CONTINUOUS"),
)
#: Verdict, layer of its joints, layer of its lips.
_WORK_LAYERS: tuple[tuple[WorkWord, str, str], ...] = (
    ("over", "Joints to fill", "Lips to take down"),
    ("not_decided", "Joints not decided", "Lips not decided"),
)
#: Heights of letters, floor mm: read at 1:50 on paper.
_NUMBER_MM, _TEXT_MM, _SMALL_MM = 120.0, 60.0, 40.0
#: Distances stand beside every corner, where corners are near: read when zoomed in.
_TINY_MM = 12.0
#: DXF reference: colour 256 is the layer's. Lines of a hatch are 3.175 mm apart at scale 1.
_BY_LAYER, _HATCH_SCALE = 256, 25.0
#: A lip's mark, floor mm.
_MARK_MM = 40.0
_CORNER_0_MM = 100.0
#: Where a code begins in a text: %%u (underline), \U+202E and \M+1826A (a sign by its number), ^J (a line's end).
_CODE = re.compile(r"(%(?=%)|\\(?=[UuMm]\+)|\^)")


def plan_dxf(data: MarkingData) -> bytes:
    """The drawing. The same plan gives the same bytes.

    Areas are closed polylines on "Fill areas" and "Grind areas", each hole a polyline of its own, with a hatch that
    leaves the holes out. Contours lie at the height of their thickness (z, mm).
    """
    with _fixed_stamps():
        from ezdxf.filemanagement import new

        drawing = new("R2010", setup=["linetypes"], units=4)  # 4: millimetres
        space = drawing.modelspace()
        for name, colour, line in LAYERS:
            drawing.layers.add(name, color=colour, linetype=line)
        drawing.header["$INSUNITS"] = 4
        drawing.header["$MEASUREMENT"] = 1
        drawing.header["$LTSCALE"] = 20.0
        _room(space, data)
        for area in data.areas:
            _area(space, area)
        _contours(space, data.fill_contours, "Fill contours 1 mm")
        _contours(space, data.grind_contours, "Grind contours 1 mm")
        _joint_work(space, data)
        _zones(space, data)
        _lines(space, data)
        text = io.StringIO()
        drawing.write(text)
        return text.getvalue().encode(drawing.output_encoding, errors="dxfreplace")


@contextmanager
def _fixed_stamps() -> Iterator[None]:
    """No time of day and no chance identifiers, so that two runs agree; the library's setting is put back after."""
    import ezdxf

    options = ezdxf.options  # type: ignore[attr-defined] # documented, though not in its __all__
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _room(space: Any, data: MarkingData) -> None:
    for ring in data.outline:
        _polyline(space, ring[:-1], "Walls", closed=True)
    for wall in data.walls:
        (ax, ay), (bx, by) = wall.start, wall.end
        length = float(np.hypot(bx - ax, by - ay))
        # The room lies to the left of each wall.
        at = (
            (ax + bx) / 2.0 + 1.5 * _NUMBER_MM * (by - ay) / length,
            (ay + by) / 2.0 - 1.5 * _NUMBER_MM * (bx - ax) / length,
        )
        _text(space, f"W{wall.number} {said.tape(length, fine=True)}", at, "Wall numbers", _TEXT_MM)
    if data.outline:
        space.add_circle((0.0, 0.0), _CORNER_0_MM / 2.0, dxfattribs={"layer": "Wall numbers"})
        _text(space, "0", (-_CORNER_0_MM, -_CORNER_0_MM), "Wall numbers", _NUMBER_MM)
    for door in data.doors:
        _polyline(space, door.line, "Doors")
        _text(space, door.name, tuple(door.line.mean(axis=0)), "Doors", _TEXT_MM)


def _area(space: Any, marked: MarkedArea) -> None:
    import shapely

    area = marked.area
    layer = "Grind areas" if area.action == "grind" else "Fill areas"
    hatch = space.add_hatch(color=_BY_LAYER, dxfattribs={"layer": layer})
    hatch.set_pattern_fill("ANSI37" if area.action == "grind" else "ANSI31", color=_BY_LAYER, scale=_HATCH_SCALE)
    for index, ring in enumerate(area.rings):
        _polyline(space, ring[:-1], layer, closed=True)
        # Flags of a boundary (DXF reference, HATCH): 1 external, 16 outermost, 0 default.
        hatch.paths.add_polyline_path(ring[:-1].tolist(), is_closed=True, flags=1 if index == 0 else 16)
    whole = shapely.Polygon(area.rings[0], area.rings[1:])
    x, y = shapely.maximum_inscribed_circle(whole, tolerance=5.0).coords[0]
    figures = (
        f"{area.action}, {said.area(area.area_m2).replace('²', '2')}, mean {said.thickness(area.mean_mm)}, "
        f"most {said.thickness(area.max_mm)}, least {said.thickness(area.min_mm)}"
    )
    _text(space, str(area.number), (x, y), "Area numbers", _NUMBER_MM)
    _text(space, figures, (x, y - 0.8 * _NUMBER_MM), "Area numbers", _TINY_MM)
    for ring in marked.rings:
        _polyline(space, ring[:-1], "Marking outlines", closed=True)
    for letter, (x, y), told in zip(marked.letters, marked.corners, _dimensions(marked), strict=True):
        _text(space, letter, (x, y), "Marking corners", _SMALL_MM)
        _text(space, f"{area.number}{letter}{told}", (x, y - _SMALL_MM), "Marking distances", _TINY_MM)


def _dimensions(marked: MarkedArea) -> list[str]:
    """What stands beside each corner: its distances from two walls."""
    if marked.marked is None:
        return ["" for _ in marked.letters]
    one, other = marked.marked.walls
    return [
        f": W{one.number} {said.tape(float(a), fine=True)}, W{other.number} {said.tape(float(b), fine=True)}"
        for a, b in np.concatenate(marked.marked.from_mm)
    ]


def _contours(space: Any, contours: Sequence[Contour], layer: str) -> None:
    for level, lines in contours:
        for line in lines:
            _polyline(space, line[:-1], layer, closed=True, z=level)
        longest = max(lines, key=len)
        _text(space, f"{level:g}", tuple(longest[0]), layer, _SMALL_MM)


def _joint_work(space: Any, data: MarkingData) -> None:
    for word, joints, lips in _WORK_LAYERS:
        for fill in data.fills(word):
            _polyline(space, np.asarray(fill.line), joints)
        for number, lip in data.lips(word):
            x, y = lip.at
            space.add_circle((x, y), _MARK_MM, dxfattribs={"layer": lips})
            space.add_line((x, y), lip.high_at, dxfattribs={"layer": lips})
            told = f"L{number} {lip.lip.text()}, high side {high_side(lip)}"
            _text(space, told.replace("±", "+/-"), (x, y + 1.8 * _MARK_MM), lips, _SMALL_MM)


def _zones(space: Any, data: MarkingData) -> None:
    for zone in data.zones:
        layer = "Tiles to take out" if zone.kind == "remove_tiles" else "Zones"
        for ring in zone.rings:
            _polyline(space, ring[:-1], layer, closed=True)
        told = f"{zone.name} ({zone.kind.replace('_', ' ')})"
        _text(space, told, tuple(zone.rings[0][:-1].mean(axis=0)), layer, _TEXT_MM)


def _lines(space: Any, data: MarkingData) -> None:
    for joint in data.movement_joints:
        _polyline(space, joint.line, "Movement joints")
    for dam in data.dams:
        _polyline(space, dam.line, "Dams")
        told = f"dam {said.thickness(dam.height_mm, 0)}, {name_of(dam.where)}"
        _text(space, told, tuple(np.asarray(dam.line).mean(axis=0)), "Dams", _SMALL_MM)


def _polyline(space: Any, points: NDArray[np.float64], layer: str, *, closed: bool = False, z: float = 0.0) -> None:
    pairs = [(float(x), float(y)) for x, y in points]
    space.add_lwpolyline(pairs, close=closed, dxfattribs={"layer": layer, "elevation": z})


def _text(space: Any, text: str, at: Sequence[float], layer: str, height_mm: float) -> None:
    r"""One line. ``%%``, ``\U+``, ``\M+`` and ``^`` begin a code in DXF text, so a name's own are parted."""
    from ezdxf.enums import TextEntityAlignment

    shown = _CODE.sub(r"\1 ", name_of(text, most=120))
    entity = space.add_text(shown, height=height_mm, dxfattribs={"layer": layer})
    entity.set_placement((float(at[0]), float(at[1])), align=TextEntityAlignment.MIDDLE_CENTER)
