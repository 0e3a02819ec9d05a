"""What the survey file and the doors on the map allow, cell by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.bounds import Bounds
from flatscan.levelling.binding.rules import UPPER_KINDS, RuledFloor
from flatscan.levelling.binding.zone_cells import cells_of_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from shapely import Geometry

    from flatscan.levelling.basis import Basis
    from flatscan.levelling.plan import Product
    from flatscan.measures.measurement import Point
    from flatscan.settings import Segment
    from flatscan.sources.survey.survey import Door, Survey, Zone

#: How far into the room a door's greatest build-up holds. Common practice, no source.
DOOR_BAND_MM = 100.0
HOLLOW_TILES = "tiles that sounded hollow or loose"


def asbestos_found(survey: Survey | None) -> bool:
    """Whether a laboratory found some: then nothing of the old floor is ground, broken or taken up."""
    return survey is not None and survey.site.old.asbestos == "found"


def bounds_of(survey: Survey | None, basis: Basis, product: Product) -> Bounds:
    """What binds the levelling of this floor, on its grid.

    A cell belongs to a zone if its centre lies in it; of thin zones see ``zone_cells``. A door binds
    ``DOOR_BAND_MM`` of the floor that is judged, so the strip along the walls is reached across. Where asbestos was
    found nothing is ground and no tile comes out.

    Raises
    ------
    InputError
        for a zone, door or line beside the floor, a tile that is not found, and rules that contradict each other
    """
    floor = RuledFloor(survey.file.path.name if survey else "", basis.surface)
    doors = list(basis.doors_mm)
    if survey is not None:
        _lay_rules(floor, survey, basis)
        doors += [door.line_mm for door in survey.doors]
    return _as_bounds(floor, doors, product)


def _lay_rules(floor: RuledFloor, survey: Survey, basis: Basis) -> None:
    if survey.greatest_build_up_mm is not None:
        floor.add_whole("greatest_build_up", survey.greatest_build_up_mm)
    stays = asbestos_found(survey)
    if stays:
        floor.add_whole("no_grind", None)
    for zone in survey.zones:
        if stays and zone.kind == "remove_tiles":
            continue
        floor.add_zone(zone.kind, zone.name, _region_of(zone, floor, basis), zone.value_mm)
    if survey.remove_hollow_mm is not None and basis.bad_taps and not stays:
        hollow = _tiles_at(basis.bad_taps, HOLLOW_TILES, floor, basis)
        floor.add_zone("remove_tiles", HOLLOW_TILES, hollow, survey.remove_hollow_mm)
    for door in survey.doors:
        _add_door(floor, door)
    for number, joint in enumerate(survey.movement_joints_mm, start=1):
        floor.add_line("movement_joint", f"movement joint {number}", joint)
    for number, dam in enumerate(survey.dams_mm, start=1):
        floor.add_line("dam", f"dam {number}", dam)
    floor.check_contradictions()


def _add_door(floor: RuledFloor, door: Door) -> None:
    import shapely

    reach = DOOR_BAND_MM + floor.surface.strip_mm
    band = shapely.LineString(door.line_mm).buffer(reach, cap_style="flat")
    if door.greatest_build_up_mm is None:
        floor.refuse_beside(door.name, band)
    else:
        floor.add_zone("door", door.name, band, door.greatest_build_up_mm)


def _region_of(zone: Zone, floor: RuledFloor, basis: Basis) -> Geometry:
    """The zone's polygon, or the tiles that hold its places."""
    import shapely

    if zone.polygon_mm is not None:
        return shapely.Polygon(zone.polygon_mm)
    return _tiles_at(zone.tiles_at_mm, zone.name, floor, basis)


def _tiles_at(places: Sequence[Point], name: str, floor: RuledFloor, basis: Basis) -> Geometry:
    """The tiles that hold the places, as one region. Without the tile nothing says how far the hole reaches."""
    import shapely

    corners = "Give the corners of what comes out or is meant, in a [[zone]] of its own"
    if not basis.tiles:
        raise InputError(floor.file, f"'{name}' are tiles, but no tiles were found on this floor", corners)
    rings = np.array([shapely.Polygon(ring) for ring in basis.tiles])
    found = []
    for at in places:
        holding = rings[shapely.covers(rings, shapely.Point(at))]
        if holding.size == 0:
            raise InputError(floor.file, f"'{name}': no tile was found {place_in_words(at)}", corners)
        found.append(holding[0])
    return shapely.union_all(found)


def _as_bounds(floor: RuledFloor, doors_mm: Iterable[Segment], product: Product) -> Bounds:
    surface = floor.surface
    shape = surface.inside.shape
    least, most = np.zeros(shape, dtype=np.float32), np.full(shape, np.inf, dtype=np.float32)
    void = np.zeros(shape, dtype=np.float32)
    for rule in floor.of_kind(*UPPER_KINDS):
        most[rule.mask] = np.minimum(most[rule.mask], rule.value_mm)
    # Where fixed heights share the cells of a seam, the one that was written first has them.
    for rule in reversed(list(floor.of_kind("fixed_height"))):
        least[rule.mask] = most[rule.mask] = rule.value_mm
    for rule in floor.of_kind("remove_tiles"):
        void[rule.mask & surface.inside] = np.maximum(void[rule.mask & surface.inside], rule.value_mm)
    unground = _cells_of(floor, "no_grind", "fixed_height")
    joints = _cells_of(floor, "movement_joint")
    dams = joints | _cells_of(floor, "dam")
    for line in doors_mm:
        dams |= cells_of_line(surface, line)
    return Bounds(
        inside=surface.inside & ~_edges_of_slopes(floor),
        blocked=joints & surface.inside,
        least_fill_mm=least,
        most_fill_mm=most,
        most_grind_mm=np.where(unground, 0.0, product.greatest_grind_mm).astype(np.float32),
        keeps_slope=_cells_of(floor, "keep_slope"),
        dams=dams,
        void_mm=void,
        rules=tuple(rule.on_grid for rule in floor.rules),
    )


def _cells_of(floor: RuledFloor, *kinds: str) -> NDArray[np.bool_]:
    mask = np.zeros(floor.surface.inside.shape, dtype=bool)
    for rule in floor.of_kind(*kinds):
        mask |= rule.mask
    return mask


def _edges_of_slopes(floor: RuledFloor) -> NDArray[np.bool_]:
    """One line of cells round each zone that keeps its slope, corners too: no edge is laid across a change of slope."""
    from scipy import ndimage

    mask = np.zeros(floor.surface.inside.shape, dtype=bool)
    for rule in floor.of_kind("keep_slope"):
        mask |= ndimage.binary_dilation(rule.mask, structure=np.ones((3, 3))) & ~rule.mask
    return mask
