"""What a reading by hand is worth: its instrument's step and its reader."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from flatscan.sources.hand.hand_reading import HandWhat

#: How well a reader repeats, one standard deviation in mm: 0.1 with feelers, 0.3 with a rule or a depth gauge in a
#: joint, 0.3 for a gap with how straight the edge is and how it lies (common practice, no source).
FEELER_MM = 0.1
RULE_MM = 0.3
#: Instruments that read a width or a depth as finely as feelers read a lip, by a word in their name.
FINE_WORDS = ("feeler", "taper", "calliper", "caliper", "wedge")
#: The step taken for a reading whose row says neither u_mm nor what its instrument resolves.
USUAL_STEP_MM: dict[HandWhat, float] = {"gap": 0.5, "lip": 0.1, "joint_width": 0.5, "joint_depth": 0.5}
#: What a straightedge read with feelers or a wedge is taken for where the table does not say (common practice, no
#: source): step and reader's repeatability of a gap, the bow of its edge per metre of length.
BAR_STEP_MM, BAR_REPEAT_MM, BAR_BOW_MM_PER_M = 0.5, 0.2, 0.15
#: Standard uncertainty of a gap of nothing, where the bar touches (common practice, no source).
CONTACT_MM = 0.1
#: How far a string or a laser line is from straight at its middle (common practice, no source).
LINE_BOW_MM = 0.1
#: A levelled rotating laser and a staff with millimetres, read by eye (common practice, no source): step, reader's
#: repeatability, tilt of its plane, drift from the first to the last reading of a set-up.
LEVEL_STEP_MM, LEVEL_REPEAT_MM, LEVEL_TILT_MM_PER_M, LEVEL_DRIFT_MM = 1.0, 0.5, 0.1, 0.5
#: Step a crack's width is read in (common practice, no source).
CRACK_STEP_MM = 0.1
#: Standard uncertainty of a reading that is only limited by its step r: r / sqrt(12) (JCGM 100, 4.3.7).
STEPS_PER_U = math.sqrt(12.0)


def repeat_mm(what: HandWhat, instrument: str) -> float:
    """How well a reader repeats such a reading with this instrument, one standard deviation.

    >>> repeat_mm("lip", "feeler gauges"), repeat_mm("joint_width", "steel rule"), repeat_mm("gap", "feeler gauges")
    (0.1, 0.3, 0.3)
    """
    if what == "gap":
        return RULE_MM
    name = instrument.lower()
    fine = any(word in name for word in FINE_WORDS)
    if what == "lip":
        return RULE_MM if "rule" in name and not fine else FEELER_MM
    return FEELER_MM if fine else RULE_MM


def hand_u_mm(what: HandWhat, instrument: str, step_mm: float) -> float:
    """Standard uncertainty of one reading: the step's share and the reader's, root sum of squares."""
    return reading_u_mm(step_mm, repeat_mm(what, instrument))


def reading_u_mm(step_mm: float, repeat_mm: float) -> float:
    """Standard uncertainty of a reading from its step and its reader's repeatability (JCGM 100, 4.3.7 and 5.1.2)."""
    return math.hypot(step_mm / STEPS_PER_U, repeat_mm)
