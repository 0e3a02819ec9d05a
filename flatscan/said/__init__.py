"""Lengths, areas, volumes and weights as people read them: metric, or imperial where that was asked for.

Inside the package all lengths are mm. Which system people read is a choice of the whole run, like a language: it is
held for the time of a ``with speaking(...)`` block and only the functions here and ``Quantity.text`` look at it.

The rules in imperial: what was measured or planned is told in decimal inches with one decimal more than in mm (an inch
is 25.4 mm). What a document states (a limit, a layer, a straightedge, a bag) is told in the same decimal inches, so
that the two can be compared, with the document's own figure beside it: ``0.118 in [3 mm]``, ``0.188 in [3/16 in]``.
The square brackets are those of drawings with two units. Places are told in feet and inches.
"""

from flatscan.said.amounts import area, bag, counted, fall, mass, temperature, volume
from flatscan.said.lengths import about, cell, edge, length, reach, run, thickness
from flatscan.said.system import (
    KG_PER_LB,
    L_PER_GALLON,
    M2_PER_FT2,
    extra_decimals,
    imperial,
    in_unit,
    number,
    speaking,
    unit,
)
from flatscan.said.tapes import drawn_level, drawn_step_mm, marks, pair, tape, tape_unit, tapes

__all__ = [
    "KG_PER_LB",
    "L_PER_GALLON",
    "M2_PER_FT2",
    "about",
    "area",
    "bag",
    "cell",
    "counted",
    "drawn_level",
    "drawn_step_mm",
    "edge",
    "extra_decimals",
    "fall",
    "imperial",
    "in_unit",
    "length",
    "marks",
    "mass",
    "number",
    "pair",
    "reach",
    "run",
    "speaking",
    "tape",
    "tape_unit",
    "tapes",
    "temperature",
    "thickness",
    "unit",
    "volume",
]
