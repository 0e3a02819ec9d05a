"""Doubts that ride on a result: a row per caveat, with a sentence and an advice.

``caveat("unit_inferred", unit="m", distance="1.31 m")`` fills the row's blanks. A caveat that is
not in this table cannot be raised, and every row must be explained in DEVELOPERS.md by its name.
"""

from __future__ import annotations

from dataclasses import dataclass
from string import Formatter
from typing import TYPE_CHECKING, Any

from flatscan import said
from flatscan.constants import MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Caveat:
    """``name`` is stable and machine-readable; ``text`` and ``advice`` are for people."""

    name: str
    text: str
    advice: str


_ROWS: dict[str, tuple[str, str]] = {
    # sources
    "unit_inferred": (
        "The file does not state its unit; {unit} was inferred because {reason}",
        "State it with --unit if that is wrong",
    ),
    "unit_overruled": (
        "The file says {said}; {taken} was taken because {option} says so",
        "Leave {option} out if the file is right",
    ),
    "up_inferred": (
        "The file does not state which way is up; {axis} was inferred because {reason}",
        "State it with --up if that is wrong",
    ),
    "coarse_step": (
        "The file's coordinates come in steps of {step_mm:step}",
        "Export with a finer step; smaller differences cannot be told apart",
    ),
    "mesh_smoothed": (
        "A mesh has been smoothed and filled by whoever made it; lips and joints may be gone",
        "Use the point cloud or the depth frames where you can",
    ),
    "depth_scale_inferred": (
        "The depth images do not state their scale; {per_m:g} counts per metre was inferred because {reason}",
        "State it with --depth-per-m if that is wrong",
    ),
    "frames_without_pose": (
        "{count} of {total} depth frames have no pose within {bound_s:g} s and were left out",
        "Record poses as often as depth, or give both the same clock",
    ),
    "photo_left_out": (
        "{count} of {total} photos cannot be used, the first {first}",
        "Export the photos again with the camera numbers they belong to; the other photos and the depth are used",
    ),
    "points_thinned": (
        "The capture holds more than {million:g} million depth pixels; one in {keep_one_in} was kept",
        "Capture fewer frames, or check the rooms one by one",
    ),
    "instrument_assumed": (
        "The table does not say all of its {instrument}; assumed: {taken} (common practice, no source)",
        "State what you know of it in lines above the table, such as # {instrument} resolution: 0.5 mm",
    ),
    "straightedge_bent": (
        "Readings {one} and {other}, the straightedge turned, differ by {mm:step}; at most {allowed_mm:step} fit",
        "Check the readings; if they are right, state # straightedge reversal: {mm:.2g} mm, or use a straighter one",
    ),
    "rows_not_read": (
        "{percent:.0f} % of the placements and levels listed in the table were not read ({count} of {total})",
        "Read those places too; where nothing was read the floor is only guessed, with a larger uncertainty",
    ),
    "rows_left_out": (
        "{count} of {total} rows cannot be used and were left out (rows {rows})",
        "Correct them in the table and run again",
    ),
    # surface
    "gravity_unknown": (
        "The capture does not know which way gravity points, so no slope is given",
        "Use a levelled scanner, or say --gravity if the up axis is truly vertical",
    ),
    "single_view": (
        "The floor was seen from one place only, so the sensor's own bend cannot be told from the floor's",
        "Capture again from the other side of the room",
    ),
    "partly_seen": (
        "{percent:.0f} % of the floor was not seen",
        "Move what stands on it and capture again, or judge those places by hand",
    ),
    "too_coarse": (
        "A height over a {cell_mm:cell} cell has a standard uncertainty of {sigma_mm:thick}, too much to judge by",
        "Treat the result as a sketch; capture closer, with more views or with a better sensor before deciding in mm",
    ),
    "things_left_out": (
        "Things lying on the floor were left out: {count}, on {area_m2:area} in all",
        "If the largest ({edge_mm:high} high, at x {x_m:tape}, y {y_m:tape}) is floor, read its edge by hand",
    ),
    "other_level": (
        "A level surface of {area_m2:area} lies {height_mm:high} {side} this floor and is not part of it",
        "Capture and check it on its own if it is floor too",
    ),
    "floor_apart": (
        "{area_m2:area} at the floor's height was seen apart from it and left out",
        "Capture the floor between the parts too, or check the parts one by one",
    ),
    "bend_not_seen": (
        "The readings cannot show a bend of the whole floor: {bends} (u {sd_mm:thick}, as rms over the floor)",
        "Add {cure}; until then this doubt is part of every figure of the floor",
    ),
    "readings_spacing": (
        "Lines or places of readings lie some {spacing_m:tape} apart: waves shorter than {wave_m:run} may not show",
        "Read closer together where the floor looks rough",
    ),
    "reading_stands_out": (
        "What was read at {numbers} does not fit what all other readings tell of the floor",
        "Read it again there: it was used as it stands, and a slip of the pen would show as a dip or a bump",
    ),
    "slope_not_read": (
        "No level readings against gravity tell how the floor falls, so no slope is given",
        "Add staff readings at three places or more, far apart, if the fall matters",
    ),
    "readings_contradict_scan": (
        "Readings by hand and the scan contradict each other at {numbers}: {how}",
        "Read there again, and check place, frame and unit of the readings; {done}",
    ),
    "photo_turned": (
        "Neighbouring photos agree only when {how}: their pixels do not lie as the camera numbers and poses say",
        "Export them unturned and unmirrored; until then joints are looked for in the heights alone",
    ),
    "photos_disagree": (
        "{count} of {total} pairs of neighbouring photos still differ by more than {3:high} ({worst_mm:thick} at most)",
        "Joints may jump between those photos; capture again with more overlap and slower, or in brighter light",
    ),
    # measures
    "directions_sampled": (
        "The straightedge was laid in {count} directions; the true worst gap may be a little larger",
        "Use --directions 36 for a finer search",
    ),
    "edge_too_short": (
        "A {edge_m:reach} edge is too short for cells of {cell_mm:cell}; it was not laid",
        "Scan finer to judge this edge, or lay it by hand",
    ),
    "edge_too_long": (
        "The floor seen is shorter than the {edge_m:reach} edge: judged over contacts up to {longest_m:run} apart",
        "If the floor is larger than what was seen, capture the whole of it",
    ),
    "edge_not_laid": (
        "A {edge_m:reach} edge is longer than the {longest_m:run} floor that was seen; it was not laid",
        "None needed unless a limit asks for this edge; then name that limit set",
    ),
    "line_not_read": (
        "Line {number} to read F-numbers along leaves the floor or crosses what was not seen; it was left out",
        "Lay it elsewhere, at least one reading step of {300:high} long (by hand: along places read a foot apart)",
    ),
    "no_f_number_line": (
        "The floor seen holds no straight line of {least_m:reach} clear of its edges, so no F-numbers are given",
        "None needed unless F-numbers were asked for",
    ),
    "noise_floor_high": (
        "On a perfectly flat floor this capture would itself show {floor_mm:thick} under a {edge_m:reach} edge",
        "Capture closer, slower or with a better sensor before deciding on this limit",
    ),
    "edge_below_readings": (
        "The readings show no wave shorter than {wave_m:run}; under edges up to {edge_m:reach} shorter ones count",
        "Between readings the floor is taken to be as smooth as at them; lay the edge there, or read closer together",
    ),
    "readings_leave_open": (
        "Were all readings of a flat floor, gaps of {floor_mm:thick} under {edge_m:reach} could lie between them",
        "Read closer together, or with a finer instrument, where the answer hangs on it",
    ),
    "no_f_numbers_from_readings": (
        "No F-numbers are read off a surface made from hand readings: it is smooth between them",
        "Read levels every 300 mm or 12 in along straight lines and name the line of each",
    ),
    "no_joints_found": (
        "No joints were found in {looked}: there are none, or they are finer or fainter than can be seen there",
        "If the floor has joints, photograph it from closer (a pixel of {1:high} or less) in even light",
    ),
    "tile_size_disagrees": (
        "Tiles measure {found_mm:high} where {stated_mm:high} was stated, {percent:+.1f} %",
        "Measure a tile; if the stated size is right, the capture's scale is wrong: check the camera's numbers",
    ),
    "surface_smoothed": (
        "This surface was smoothed: neighbours agree to {noise_mm:step}, and joints are {valley_mm:step} deep",
        "Lips and depths may be gone; export the raw points or depth frames, or read joints by hand",
    ),
    # levelling
    "unseen_not_filled": (
        "{area_m2:area} of floor was not seen; no compound is counted for it",
        "Allow for it yourself, or clear it and capture again",
    ),
    "flood_without_gravity": (
        "The level pour takes the floor's own plane as level, for the capture does not know gravity",
        "Check the fall with a level: a fall of {2:fall} can double the pour",
    ),
    "too_little_seen_to_plan": (
        "{unseen:.0f} % of the floor was not seen, and levelling is planned up to {most:.0f} %: no quantity is given",
        "Capture what was not seen and check again",
    ),
}


#: How a blank's figure is told, by what stands behind its colon; the figures are mm, m (reach, run, tape) or m².
_SAYS: dict[str, Callable[[float], str]] = {
    "cell": said.cell,
    "thick": said.thickness,
    "high": lambda mm: said.thickness(mm, 0),
    "step": said.about,
    "reach": lambda m: said.reach(m * MM_PER_M),
    "run": lambda m: said.run(m * MM_PER_M),
    "tape": lambda m: said.tape(m * MM_PER_M),
    "area": said.area,
    "fall": lambda mm_per_m: said.fall(mm_per_m, 0),
}


class _Words(Formatter):
    """Blanks as ``str.format`` fills them, figures in the reader's units; ``{3:high}`` is the figure 3 itself."""

    def get_value(self, key: int | str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        return float(key) if isinstance(key, int) else super().get_value(key, args, kwargs)

    def format_field(self, value: Any, format_spec: str) -> str:
        say = _SAYS.get(format_spec)
        return say(float(value)) if say else str(super().format_field(value, format_spec))


def caveat(name: str, **blanks: object) -> Caveat:
    """The caveat of that name with its blanks filled; raises KeyError for an unknown name."""
    text, advice = (_Words().format(row, **blanks) for row in _ROWS[name])
    return Caveat(name, text, advice)


def caveat_names() -> tuple[str, ...]:
    """Every name in the table, in its order."""
    return tuple(_ROWS)
