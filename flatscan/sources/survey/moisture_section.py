"""Readings of the base's moisture: every ``[[moisture]]``, each value in the unit of its method."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.sources.survey.keys import sections_of
from flatscan.sources.survey.kinds import BASE, METHOD, listed, one_of
from flatscan.sources.survey.map_places import place_mm
from flatscan.sources.survey.section import Range
from flatscan.sources.survey.site import Moisture
from flatscan.sources.survey.values import millimetres, yes_no

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.sources.survey.section import Section
    from flatscan.sources.survey.site import MoistureBase, MoistureMethod

_HUMIDITY = Range(5.0, 100.0, "from 5 to 100 % RH, in percent and not as a share of 1")
#: What each method can show. Beyond it the number is most likely in another unit; common practice, no source.
_VALUE: Mapping[MoistureMethod, Range] = {
    "carbide": Range(0.0, 15.0, "from 0 to 15 CM-%; more is most likely another unit"),
    "in_base_humidity": _HUMIDITY,
    "surface_humidity": _HUMIDITY,
    "emission": Range(0.0, 50.0, "from 0 to 50 lb per 1000 square feet in 24 h; more is most likely another unit"),
    "wood_moisture": Range(2.0, 100.0, "from 2 to 100 % of the dry mass, in percent and not as a share of 1"),
}
_PLUS_MINUS = Range(0.0, 50.0, "more than 0 and at most 50, in the unit of the value", open_below=True)
_DEPTH = Range(0.0, 500.0, "from 0 to 500 mm")
#: What only the other kind of base is read with; the other methods are for both.
_FOR_TIMBER: frozenset[MoistureMethod] = frozenset({"wood_moisture"})
_FOR_MINERAL: frozenset[MoistureMethod] = frozenset({"carbide", "emission"})
_ON_THE_SURFACE: frozenset[MoistureMethod] = frozenset({"surface_humidity", "emission"})


def read_moisture(top: Section) -> tuple[Moisture, ...]:
    """Every ``[[moisture]]``."""
    return tuple(_reading(section) for section in sections_of(top, "moisture"))


def _reading(section: Section) -> Moisture:
    method = one_of(section, "method", METHOD)
    if method is None:
        raise section.refuse("method is missing", f"Say how it was read: {listed(METHOD)}")
    value = section.number("value", _VALUE[method])
    if value is None:
        raise section.refuse("value is missing", f"Give {_VALUE[method].words}")
    base = one_of(section, "base", BASE)
    _check_base(section, method, base)
    depth = millimetres(section, "depth_mm", _DEPTH)
    if depth is not None and method in _ON_THE_SURFACE:
        what = f'depth_mm does not go with "{METHOD[method][0]}", which is read on the surface'
        raise section.refuse(what, "Take it out, or change the method")
    limit, source = section.number("limit", _VALUE[method]), section.text("limit_source")
    if (limit is None) != (source is None):
        given, lacks = ("limit_source", "limit") if limit is None else ("limit", "limit_source")
        raise section.refuse(f"{given} is given and {lacks} is missing", "Say both what is allowed and who says so")
    return Moisture(
        method=method,
        value=value,
        base=base,
        plus_minus=section.number("plus_minus", _PLUS_MINUS),
        at_mm=place_mm(section, "at"),
        depth_mm=depth,
        beneath_tiles=yes_no(section, "beneath_tiles"),
        limit=limit,
        limit_source=source or "",
    )


def _check_base(section: Section, method: MoistureMethod, base: MoistureBase | None) -> None:
    wrong = _FOR_MINERAL if base == "timber" else _FOR_TIMBER
    if base is not None and method in wrong:
        what = f'"{METHOD[method][0]}" is no way to read {BASE[base][0]}'
        raise section.refuse(what, "Correct the method or the base")
