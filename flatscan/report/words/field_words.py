"""What is told of floors measured by hand, and of scans corrected by readings, sentence by sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.judgement.soundness import Soundness, soundness_reasons
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.report.report import Report
    from flatscan.sources.hand.field_readings import Crack, Sounding
    from flatscan.surface.readings.fit import LongMode, ReadingsFit
    from flatscan.surface.surface import Surface


_JOINT_WORK = ("lip", "joint_width", "joint_depth")


def by_hand(surface: Surface) -> bool:
    """Whether a person read the floor: then no text may speak of a capture or a scan."""
    return surface.kind == "readings"


def this_capture(surface: Surface) -> str:
    """What the heights came from, at the start or in the middle of a sentence."""
    return "these readings" if by_hand(surface) else "this capture"


def height_u_mm(surface: Surface) -> float:
    """Typical standard uncertainty of one height, mm (root mean square over the floor)."""
    white = surface.white_mm[surface.seen]
    if surface.realisations_mm is None or white.size == 0:
        return surface.noise.height_sigma_mm
    return float(np.sqrt(np.mean(np.square(white, dtype=np.float64))))


def made_from(report: Report) -> str:
    """What was laid and read: ``34 straightedge placements and 9 staff readings``."""
    field, fit = report.field, report.surface.fit
    if field is None:
        return "" if fit is None else said.counted(len(fit.number), "reading")
    parts = [
        said.counted(len(found), name)
        for found, name in (
            (field.placements, "straightedge placement"),
            (field.levels, "staff reading"),
            (field.humps, "hump reading"),
        )
        if found
    ]
    return _and(parts)


def made_from_line(report: Report, files: str) -> str:
    """The floor in one line: what it was made from, how sure a height is, what can slip between."""
    surface, fit = report.surface, report.surface.fit
    wave = "" if fit is None else f"; {slip_text(fit)}"
    return (
        f"Made from {made_from(report) or 'readings taken by hand'} ({files}) on {wording.area(surface.area_m2)} of "
        f"floor; heights {wording.plus_minus(height_u_mm(surface), 'mm')}{wave}."
    )


def slip_text(fit: ReadingsFit) -> str:
    """The smallest wave that the readings show."""
    return f"waves shorter than {said.run(fit.smallest_wave_mm)} can slip between them"


def blind_lines(report: Report) -> list[str]:
    """What the readings could not see; empty where the floor was not made from any: a scan sees between them."""
    fit = report.surface.fit
    if fit is None or fit.systematic_mm is not None:
        return []
    slip = slip_text(fit)
    lines = [f"{slip[0].upper()}{slip[1:]}: a smaller dip or hump may lie where nothing was read"]
    lines += [_mode(mode) for mode in fit.modes if not mode.seen]
    seen = [mode for mode in fit.modes if mode.seen]
    if seen:
        named = ", ".join(f"{m.name} {wording.plus_minus(m.sd_mm, 'mm')}" for m in seen)
        lines.append(f"Bends of the whole floor that they do show: {named}")
    return lines


def systematic_line(report: Report) -> str:
    """What readings did for a scan; empty where no scan was corrected."""
    fit = report.surface.fit
    if fit is None or fit.systematic_mm is None:
        return ""
    before, after = (wording.plus_minus(u, "mm") for u in fit.systematic_mm)
    source = made_from(report) or "readings"
    return f"The scan's slow bends were corrected by {source}: {before} before, {after} after"


def left_out_lines(report: Report) -> list[str]:
    """Rows of the readings table that could not be used."""
    return [] if report.field is None else list(report.field.left_out)


def left_out_line(report: Report) -> str:
    """The same in one line, the first of them told; empty for none."""
    rows = left_out_lines(report)
    if not rows:
        return ""
    more = f" (and {len(rows) - 1} more)" if len(rows) > 1 else ""
    return f"Left out of the readings, {said.counted(len(rows), 'row')}: {rows[0]}{more}"


def soundness_lines(report: Report) -> list[str]:
    """Every tap that is not sound and every crack, with its number; first how many were tapped at all."""
    field, sound = report.field, Soundness.of(report.field)
    if field is None or sound is None:
        return []
    lines = [f"{said.counted(sound.tapped, 'place')} tapped, {len(sound.bad) or 'none'} hollow or loose"] * bool(
        sound.tapped
    )
    return [*lines, *(_sounding(s) for s in sound.bad), *(_crack(c) for c in sound.cracks)]


def soundness_step(report: Report) -> list[str]:
    """What to do about them, before any other work; empty where all is sound."""
    sound = Soundness.of(report.field)
    if sound is None or not sound.to_settle:
        return []
    steps = []
    if sound.bad:
        letters = " and ".join(letter for letter, found in (("H", sound.hollow), ("L", sound.loose)) if found)
        places = said.counted(len(sound.bad), "place")
        steps.append(
            f"Take out or fix what sounds hollow or loose ({places}, {letters} on the map), "
            "fill what is taken out, tap around it again and write down how it sounds then"
        )
    if sound.cracks:
        steps.append(
            f"Find out whether the {'crack moves' if len(sound.cracks) == 1 else 'cracks move'}, and have what moves "
            "dealt with: compound and covering crack with it"
        )
    return steps


def joint_step(report: Report) -> str:
    """The work on joints that were read by hand and are over; empty where a network of joints tells it, or none is."""
    if report.verdict.joint_tally is not None or report.measurement.joints is not None:
        return ""
    over = [f for f in report.verdict.findings if f.verdict == "over" and f.what in _JOINT_WORK]
    parts = [
        f"{verb} ({said.counted(len({f.at for f in found}), 'place')} read over)"
        for kinds, verb in (
            (("lip",), "take down the lips"),
            (("joint_width", "joint_depth"), "fill the joints"),
        )
        if (found := [f for f in over if f.what in kinds])
    ]
    if not parts:
        return ""
    told = ", then ".join(parts)
    again = ". Then measure again" if report.verdict.answer.code == "fill_joints_and_lips" else ""
    return f"{told[0].upper()}{told[1:]}, and wherever else they are as bad. Places: findings.csv{again}"


def sound_reasons(report: Report) -> list[str]:
    """As the answer tells it."""
    return soundness_reasons(Soundness.of(report.field))


def _mode(mode: LongMode) -> str:
    cure = f". What would show it: {mode.cure}" if mode.cure else ""
    return (
        f"Not seen: {mode.name}, {wording.plus_minus(mode.sd_mm, 'mm')} over the floor, taken from how smooth floors "
        f"usually are and not from a reading{cure}"
    )


def _sounding(s: Sounding) -> str:
    return f"{_numbered('tap', s.number, s.row)}: {s.sounds}, {places.point(s.at)}{_note(s.note)}"


def _crack(c: Crack) -> str:
    wide = "" if c.width is None else f", {wording.size(c.width)} wide"
    length_mm = float(np.hypot(c.end[0] - c.start[0], c.end[1] - c.start[1]))
    return (
        f"{_numbered('crack', c.number, c.row)}: {said.tape(length_mm)} long{wide}, from {places.point(c.start)} to "
        f"{places.point(c.end)}{_note(c.note)}"
    )


def _numbered(name: str, number: str, row: int) -> str:
    return f"{name.capitalize()} {number}" if number else f"{name.capitalize()} of row {row}"


def _note(text: str) -> str:
    return f" ({text})" if text else ""


def _and(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def row_words(report: Report) -> Iterator[tuple[tuple[int, str], str]]:
    """What each row of the readings tables holds, by its line and number: two tables have a line 20 each."""
    field = report.field
    if field is not None:
        kinds = (("straightedge", field.placements), ("staff", field.levels), ("hump", field.humps))
        yield from (((one.row, one.number), word) for word, found in kinds for one in found)
