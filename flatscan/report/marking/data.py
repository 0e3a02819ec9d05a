"""Everything that is to be marked out on a floor, in one record: the sheet, the drawing file and the tables show it."""

from __future__ import annotations

from dataclasses import dataclass
from string import ascii_lowercase
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.levelling.marking.contours import contours_of
from flatscan.levelling.marking.outlines import marking_rings, rings_of
from flatscan.levelling.marking.walls import marked_out, walls_of
from flatscan.report.words.levelling_words import joint_work_of
from flatscan.report.words.plain_text import clean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from flatscan.levelling.joints.joint_work import JointFill, JointWork, LipDown, WorkWord
    from flatscan.levelling.marking.contours import Contour
    from flatscan.levelling.plan import Area, Dam, LevellingPlan, MarkedOut, Method, Pour, Wall
    from flatscan.settings import Segment
    from flatscan.sources.survey.survey import Survey, Zone
    from flatscan.surface.surface import Surface

Rings = tuple["NDArray[np.float64]", ...]
#: Longer names do not fit on a drawing.
_MOST_NAME = 40


@dataclass(frozen=True, slots=True, eq=False)
class MarkedArea:
    """One area with the outline that is marked out. ``rings``: closed, (k, 2) float64 floor-frame mm.

    ``marked``: None where no two walls are known; then its corners are found from corner 0 alone.
    """

    area: Area
    rings: Rings
    marked: MarkedOut | None

    @property
    def corners(self) -> NDArray[np.float64]:
        """(k, 2) corners of all rings, in the order of their letters."""
        return np.concatenate([ring[:-1] for ring in self.rings])

    @property
    def letters(self) -> list[str]:
        """a, b, … z, aa, ab, …: one for each corner."""
        return [letter(index) for index in range(len(self.corners))]


@dataclass(frozen=True, slots=True, eq=False)
class NamedLine:
    """A line on the floor, (k, 2) float64 floor-frame mm, and what it is called."""

    name: str
    line: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class NamedPlace:
    """A zone of the survey, or tiles that come out. ``kind``: as ``sources.survey.Zone``; ``rings``: closed."""

    kind: str
    name: str
    rings: Rings
    value_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MarkingData:
    """What is marked out. All positions floor-frame mm, rings closed, names free of control signs.

    ``outline``: the floor's rings. ``fill_contours``, ``grind_contours``: every millimetre, within numbered areas.
    ``drawn_contours``: both at the step that the reader of the sheet is used to.
    """

    title: str
    floor_m2: float
    outline: Rings
    walls: tuple[Wall, ...]
    method: Method | None
    areas: tuple[MarkedArea, ...]
    fill_contours: tuple[Contour, ...]
    grind_contours: tuple[Contour, ...]
    drawn_contours: tuple[Contour, ...]
    joint_work: JointWork | None
    doors: tuple[NamedLine, ...]
    movement_joints: tuple[NamedLine, ...]
    dams: tuple[Dam, ...]
    pours: tuple[Pour, ...]
    zones: tuple[NamedPlace, ...]
    product_name: str
    bag_kg: float

    def fills(self, word: WorkWord = "over") -> tuple[JointFill, ...]:
        """The joints to fill, or those that are not decided: only the first are an order."""
        return tuple(fill for fill in (self.joint_work.fills if self.joint_work else ()) if fill.word == word)

    def lips(self, word: WorkWord = "over") -> tuple[tuple[int, LipDown], ...]:
        """The lips to take down, or those that are not decided, each with its number: those to take down first."""
        lips = sorted(self.joint_work.lips if self.joint_work else (), key=lambda lip: lip.word != "over")
        return tuple((number, lip) for number, lip in enumerate(lips, start=1) if lip.word == word)

    @property
    def nothing(self) -> bool:
        """There is nothing to mark out; what is not decided yet is none of it."""
        no_joints = not (self.fills() or self.lips())
        takes_out = any(zone.kind == "remove_tiles" for zone in self.zones)
        return not self.areas and not self.dams and no_joints and not takes_out


def marking_data(
    plan: LevellingPlan,
    surface: Surface,
    *,
    survey: Survey | None = None,
    doors_mm: Sequence[Segment] = (),
    title: str = "",
) -> MarkingData:
    """Put together what the plan's chosen way asks to be marked out on the floor.

    ``doors_mm``: doors drawn on the map that the survey does not name. ``title``: place or room, as a person calls it.
    """
    outline = tuple(_closed(ring) for ring in surface.outline)
    walls = walls_of(outline)
    areas = tuple(_marked(area, outline, walls) for area in plan.areas)
    grind_mm = np.zeros(plan.fill_mm.shape) if plan.grind_mm is None else plan.grind_mm
    filled, ground = ([area for area in areas if area.area.action == action] for action in ("fill", "grind"))
    return MarkingData(
        title=name_of(title, most=80),
        floor_m2=surface.area_m2,
        outline=outline,
        walls=walls,
        method=next((m for m in plan.methods if m.name == plan.chosen), None),
        areas=areas,
        fill_contours=_within(contours_of(plan.fill_mm, surface.cell_mm, surface.origin_mm), filled),
        grind_contours=_within(contours_of(grind_mm, surface.cell_mm, surface.origin_mm), ground),
        drawn_contours=(
            *_within(contours_of(plan.fill_mm, surface.cell_mm, surface.origin_mm, said.drawn_step_mm()), filled),
            *_within(contours_of(grind_mm, surface.cell_mm, surface.origin_mm, said.drawn_step_mm()), ground),
        ),
        joint_work=joint_work_of(plan),
        doors=_doors(survey, doors_mm),
        movement_joints=tuple(
            NamedLine("movement joint", np.asarray(line, dtype=np.float64))
            for line in (survey.movement_joints_mm if survey else ())
        ),
        dams=plan.dams,
        pours=plan.pours,
        zones=zones_of(survey, plan, surface),
        product_name=name_of(plan.product.name, most=80),
        bag_kg=plan.product.bag_kg,
    )


def letter(index: int) -> str:
    """The letter of a corner.

    >>> letter(0), letter(25), letter(26), letter(27)
    ('a', 'z', 'aa', 'ab')
    """
    count = len(ascii_lowercase)
    first = letter(index // count - 1) if index >= count else ""
    return first + ascii_lowercase[index % count]


def name_of(text: str, *, most: int = _MOST_NAME) -> str:
    """A name from a file as it may stand on a drawing: one line, no control signs, not too long.

    >>> name_of("hall   door", most=6)
    'hall …'
    """
    line = " ".join(clean(" ".join(text.split())).split())
    return line if len(line) <= most else line[: most - 1] + "…"


def _marked(area: Area, outline: Rings, walls: tuple[Wall, ...]) -> MarkedArea:
    if area.marked is not None and area.marked.rings:
        return MarkedArea(area, area.marked.rings, area.marked)
    rings = marking_rings(area.rings, outline)
    return MarkedArea(area, rings, marked_out(rings, walls))


def _within(contours: tuple[Contour, ...], areas: Sequence[MarkedArea]) -> tuple[Contour, ...]:
    """The lines that run in a numbered area; specks without a number have no line either."""
    import shapely

    if not areas:
        return ()
    # A line runs up to half a cell outside its cells; what is marked out is wider than that or nearly.
    room = shapely.union_all([shapely.Polygon(a.rings[0]) for a in areas])
    shapely.prepare(room)
    found = ((level, tuple(ln for ln in lines if room.intersects(shapely.LineString(ln)))) for level, lines in contours)
    return tuple((level, lines) for level, lines in found if lines)


def _doors(survey: Survey | None, doors_mm: Sequence[Segment]) -> tuple[NamedLine, ...]:
    named = [(name_of(door.name), door.line_mm) for door in (survey.doors if survey else ())]
    known = {line for _, line in named}
    named += [("door", line) for line in doors_mm if line not in known]
    return tuple(NamedLine(name, np.asarray(line, dtype=np.float64)) for name, line in named)


def zones_of(survey: Survey | None, plan: LevellingPlan, surface: Surface) -> tuple[NamedPlace, ...]:
    """All zones that bind the levelling, and the tiles that come out, each connected place by itself."""
    return (*_zones(survey, plan, surface), *_tiles_out(plan, surface))


def _zones(survey: Survey | None, plan: LevellingPlan, surface: Surface) -> list[NamedPlace]:
    """Zones of the survey, those that are tiles by the cells they cover; tiles that come out are found apart."""
    found = []
    for zone in survey.zones if survey else ():
        if zone.kind == "remove_tiles":
            continue
        for rings in _zone_rings(zone, plan, surface):
            found.append(NamedPlace(zone.kind, name_of(zone.name), rings, zone.value_mm))  # noqa: PERF401 - two loops
    return found


def _zone_rings(zone: Zone, plan: LevellingPlan, surface: Surface) -> list[Rings]:
    if zone.polygon_mm is not None:
        return [(_closed(zone.polygon_mm),)]
    rules = plan.bounds.rules if plan.bounds is not None else ()
    masks = [rule.mask for rule in rules if (rule.kind, rule.name) == (zone.kind, zone.name)]
    return [rings for mask in masks for rings in _pieces(mask, surface)]


def _tiles_out(plan: LevellingPlan, surface: Surface) -> list[NamedPlace]:
    if plan.bounds is None:
        return []
    depth = plan.bounds.void_mm
    return [
        NamedPlace("remove_tiles", "tiles out", rings, float(level))
        for level in np.unique(depth[depth > 0])
        for rings in _pieces(depth == level, surface)
    ]


def _pieces(mask: NDArray[np.bool_], surface: Surface) -> list[Rings]:
    """Rings of each connected set of cells."""
    from scipy import ndimage

    labels, _ = ndimage.label(mask)
    x0, y0 = surface.origin_mm
    cell = surface.cell_mm
    return [
        rings_of(labels[box] == number, cell_mm=cell, corner_mm=(x0 + box[1].start * cell, y0 + box[0].start * cell))
        for number, box in enumerate(ndimage.find_objects(labels), start=1)
    ]


def _closed(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    points = np.asarray(ring, dtype=np.float64)
    return points if np.array_equal(points[0], points[-1]) else np.concatenate([points, points[:1]])
