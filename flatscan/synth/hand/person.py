"""Who measures, and with what."""

from __future__ import annotations

from dataclasses import dataclass

from flatscan.sources.hand.field_readings import Bar, Level
from flatscan.units import MM_PER


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """A person and their tools. What the tools are said to be is also what their true errors are drawn from.

    Attributes
    ----------
    bar, level : the straightedge and the levelling instrument
    string : a taut string or laser line, for readings from a free line
    rule_step_mm, rule_repeat_mm : joint widths and depths
    feeler_step_mm, feeler_repeat_mm : lips
    skew_share : an S in the bar's edge, as a share of its bow's standard deviation
    sees_contact_mm : no feeler goes under the bar where less light than this shows: a contact
    place_sd_mm : how far, each way, things are laid from where the sheet wants them, and are not where noted
    """

    bar: Bar
    level: Level
    string: Bar
    rule_step_mm: float = 0.5
    rule_repeat_mm: float = 0.3
    feeler_step_mm: float = 0.05
    feeler_repeat_mm: float = 0.1
    skew_share: float = 1.0
    sees_contact_mm: float = 0.1
    place_sd_mm: float = 3.0


#: A 2 m bar read by a taper gauge, an optical level read to half a millimetre (common practice, no source).
METRIC = Person(
    bar=Bar("2 m straightedge", 2000.0, step_mm=0.5, repeat_mm=0.2, bow_mm=0.1),
    level=Level(step_mm=0.5, repeat_mm=0.4, tilt_mm_per_m=0.1, drift_mm=0.3),
    string=Bar("string", 3000.0, step_mm=1.0, repeat_mm=0.5, bow_mm=0.0),
)
#: A 6 ft bar with a tape in 32nds of an inch, a staff read to a 16th (common practice, no source).
INCHES = Person(
    bar=Bar("6 ft straightedge", 6.0 * MM_PER["ft"], step_mm=MM_PER["in"] / 32.0, repeat_mm=0.3, bow_mm=0.15),
    level=Level(step_mm=MM_PER["in"] / 16.0, repeat_mm=0.5, tilt_mm_per_m=0.1, drift_mm=0.3),
    string=Bar("string", 10.0 * MM_PER["ft"], step_mm=MM_PER["in"] / 16.0, repeat_mm=0.5, bow_mm=0.0),
    rule_step_mm=MM_PER["in"] / 32.0,
    feeler_step_mm=MM_PER["in"] / 1000.0,
)
