"""How the floor was measured and how sure its heights are: name and sentence, for the page and the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.words import caption, field_words, story, wording
from flatscan.report.words.room_words import room_line

if TYPE_CHECKING:
    from flatscan.measures.measurement import FNumbers
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.surface.surface import Surface

Pairs = list[tuple[str, str]]
#: A part of an uncertainty smaller than this share of the whole changes it by less than 1 in 1000.
_LEAST_SHARE = 0.04


def how_measured(report: Report) -> Pairs:
    """Capture, flatness, slope, F-numbers, doubt of one height, noise floor, and what was taken as read."""
    lines = [
        _capture(report),
        ("Not seen", room_line(report)),
        ("Flatness", story.flatness_line(report)),
        ("Slope", story.slope_line(report) or _no_slope(report.surface)),
        *(_f_number_lines(report.measurement.f_numbers) if report.measurement.f_numbers else []),
        ("Doubt of one height", _noise(report.surface)),
        ("Noise floor", caption.noise_floor_line(report) or _no_noise_floor(report.surface)),
        *(("Taken as read", text) for text in report.surface.inferences),
    ]
    return [(name, text) for name, text in lines if text]


def budget_parts(q: Quantity) -> list[tuple[str, float]]:
    """The parts of an uncertainty that count, each with its standard uncertainty, the largest first.

    >>> from flatscan.quantity import Quantity
    >>> budget_parts(Quantity(3.0, 0.5, "mm", (("repeat", 0.3), ("scale_error", 0.4), ("place", 0.001))))
    [('scale error', 0.4), ('repeat', 0.3)]
    """
    parts = sorted((part for part in q.budget if part[1] >= _LEAST_SHARE * q.u), key=lambda part: -part[1])
    return [(name.replace("_", " "), u) for name, u in parts]


def _capture(report: Report) -> tuple[str, str]:
    name, _, said = caption.capture_line(report).partition(": ")
    return (name, said) if said and name == "Capture" else ("Readings", caption.capture_line(report))


def _no_slope(surface: Surface) -> str:
    if field_words.by_hand(surface):
        return "not given: it takes level readings against true gravity"
    return "not given: the capture does not know which way gravity points"


def _no_noise_floor(surface: Surface) -> str:
    return "not simulated" if surface.realisations_mm is None else ""


def _noise(surface: Surface) -> str:
    noise, drawn = surface.noise, surface.realisations_mm
    if drawn is not None:
        typical = wording.plus_minus(field_words.height_u_mm(surface), "mm")
        return f"{typical} over the floor, from {len(drawn)} floors that agree with the readings; {noise.how}"
    parts = (wording.plus_minus(u, "mm") for u in (noise.white_mm, noise.correlated_mm, noise.systematic_mm))
    white, correlated, slow = parts
    return (
        f"{white} that differs from cell to cell, {correlated} that hangs together over "
        f"{wording.cell(noise.length_mm)}, {slow} of slow bends; {noise.how}"
    )


def _f_number_lines(f: FNumbers) -> Pairs:
    # A pure number: its unit, 1, is not said.
    named = (("FF", f.ff), ("FL", f.fl))
    found = [f"{name} {wording.quantity(q).removesuffix(' 1')}" for name, q in named if q is not None]
    return [("F-numbers", "; ".join([*found, *f.notes]))]
