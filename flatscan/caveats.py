"""Doubts that ride on a result: a row per caveat, with a sentence and an advice.

``caveat("unit_inferred", unit="m", distance="1.31 m")`` fills the row's blanks. A caveat that is
not in this table cannot be raised, and every row must be explained in DEVELOPERS.md by its name.
"""

from __future__ import annotations

from dataclasses import dataclass


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
    "up_inferred": (
        "The file does not state which way is up; {axis} was inferred because {reason}",
        "State it with --up if that is wrong",
    ),
    "coarse_step": (
        "The file's coordinates come in steps of {step_mm:.2g} mm",
        "Export with a finer step; smaller differences cannot be told apart",
    ),
    "mesh_smoothed": (
        "A mesh has been smoothed and filled by whoever made it; lips and joints may be gone",
        "Use the point cloud or the depth frames where you can",
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
    # measures
    "directions_sampled": (
        "The straightedge was laid in {count} directions; the true worst gap may be a little larger",
        "Use --directions 36 for a finer search",
    ),
    "noise_floor_high": (
        "On a perfectly flat floor this capture would itself show {floor_mm:.1f} mm under a {edge_m:g} m edge",
        "Capture closer, slower or with a better sensor before deciding on this limit",
    ),
}


def caveat(name: str, **blanks: object) -> Caveat:
    """The caveat of that name with its blanks filled; raises KeyError for an unknown name."""
    text, advice = _ROWS[name]
    return Caveat(name, text.format(**blanks), advice.format(**blanks))


def caveat_names() -> tuple[str, ...]:
    """Every name in the table, in its order."""
    return tuple(_ROWS)
