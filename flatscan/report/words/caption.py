"""The words around the picture: limits with their source, what was captured, how sure it is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.words import field_words, wording
from flatscan.report.words.cautions import LIMITS
from flatscan.report.words.drawn import shown_gaps
from flatscan.report.words.room_words import room_line

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.sources.scan import ScanKind

KIND_TEXT: dict[ScanKind, str] = {
    "depth_frames": "depth frames",
    "cloud": "point cloud",
    "mesh": "mesh",
    "readings": "readings taken by hand",
}
_MOST_FILES = 3
#: Files that are no capture: what was read, and what was written down about the room.
_WRITTEN = ("survey", "survey photo", "product", "limits")
_BESIDE = ("readings", *_WRITTEN)


def subtitle() -> str:
    """The question that the title answers, what the colours mean, and what they do not."""
    unit = "inches" if said.imperial() else "mm"
    return (
        f"Can a new floor be laid over this one? Heights in {unit} above (red) and below (blue) the best "
        "plane, which may slope: flat is not level."
    )


def limit_lines(report: Report) -> list[str]:
    """One line per limit set; a limit that comes from elsewhere than its set names its own source."""
    lines = []
    for limits in report.limits:
        rules = "; ".join(
            wording.limit(rule) + (f" after {wording.source(rule.source)}" if rule.source else "")
            for rule in limits.limits
        )
        if limits.spans:
            rules = "by distance between contacts: " + ", ".join(
                f"{wording.length(limit)} at {wording.reach(span)}" for span, limit in limits.spans
            )
        lines.append(f"Limit set {limits.id}: {rules}. Source: {wording.source(limits.source)}.")
    return lines


def capture_line(report: Report) -> str:
    """What was captured, on which grid, how much was seen, how sure a height is."""
    surface = report.surface
    if surface.kind == "readings":
        return field_words.made_from_line(
            report, _named([file.path.name for file in report.inputs if file.kind not in _WRITTEN])
        )
    named = _named([file.path.name for file in report.inputs if file.kind not in _BESIDE])
    return (
        f"Capture: {KIND_TEXT[surface.kind]} ({named}); {wording.area(surface.area_m2)} of floor, "
        f"{wording.share(surface.seen_share)} seen; cells {wording.cell(surface.cell_mm)} apart; "
        f"one height is known to {wording.plus_minus(surface.noise.height_sigma_mm, 'mm')}."
    )


def _named(files: list[str]) -> str:
    return ", ".join(files) if len(files) <= _MOST_FILES else f"{len(files)} files"


def noise_floor_text(report: Report) -> str:
    """What the capture would show on a flat floor, edge by edge; empty where it was not simulated."""
    usual = (*report.settings.measure.edges_mm, *(rule.edge_mm for s in report.limits for rule in s.limits))
    floors = [
        f"{said.thickness(gaps.noise_floor_mm)} {wording.under_edge(gaps.edge_mm)}"
        for gaps in report.measurement.gap_maps
        # NaN: not simulated. Steps of a limit by distance lie between these edges.
        if math.isfinite(gaps.noise_floor_mm) and gaps.edge_mm in usual
    ]
    if not floors:
        return ""
    if report.surface.realisations_mm is not None:
        return f"Were all readings of a flat floor, gaps of {', '.join(floors)} could lie between them"
    source = field_words.this_capture(report.surface)
    itself = "themselves" if field_words.by_hand(report.surface) else "itself"
    return f"On a perfectly flat floor {source} would {itself} show {', '.join(floors)}"


def noise_floor_line(report: Report) -> str:
    """The same with what was done about it."""
    told = noise_floor_text(report)
    drawn = report.surface.realisations_mm is not None
    done = "a gap's ± holds what is left open at its own place" if drawn else "gaps are corrected for it"
    return told and f"{told}; {done}."


def caption_lines(report: Report, grid_mm: float) -> list[str]:
    """The lines beneath the picture, unbroken."""
    shown, found = len(shown_gaps(report)), len(report.measurement.gaps)
    more = f" Drawn are {shown} of {found} gaps; all are in gaps.csv." if found > shown else ""
    strip_mm = report.surface.strip_mm
    strip = f" A strip of {wording.cell(strip_mm)} along the walls is not judged." if strip_mm > 0.0 else ""
    lines = [
        *limit_lines(report),
        capture_line(report),
        f"Grid {wording.reach(grid_mm)}.{strip} ± is the expanded uncertainty, k = 2 (about 95 %).{more}",
        noise_floor_line(report),
        f"{room}." if (room := room_line(report)) else "",
        LIMITS.text,
    ]
    return [line for line in lines if line]
