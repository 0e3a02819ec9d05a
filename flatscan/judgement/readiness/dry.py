"""Dryness in words: the reading that decides, its limit, and what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import Asked, condition, with_conflict
from flatscan.judgement.readiness.moisture import is_through, worst_reading
from flatscan.sources.survey.site import MOISTURE_UNIT

if TYPE_CHECKING:
    from flatscan.judgement.readiness.moisture import Held
    from flatscan.judgement.readiness.readiness import Condition
    from flatscan.sources.survey.site import AsbestosTest, Moisture, MoistureBase, MoistureMethod, Site

_BASES: dict[MoistureBase, str] = {
    "cement_screed": "cement screed",
    "calcium_sulfate_screed": "calcium sulfate screed",
    "concrete": "concrete",
    "timber": "timber",
}
_METHODS: dict[MoistureMethod, str] = {
    "carbide": "carbide test",
    "in_base_humidity": "humidity in a drilled hole",
    "surface_humidity": "humidity beneath a hood",
    "emission": "moisture given off",
    "wood_moisture": "wood moisture",
}
#: Methods whose limits are written with a decimal.
_WITH_DECIMAL = ("carbide", "emission")
_NOTHING = Asked("each reading within the limit of its method and base")
_HIDDEN = "through ceramic or stone a reliable reading is often impossible (Dutch parquet trade rules, read)"
_IN_BASE = (
    "Have the base itself read: a carbide test of a sample out of it, or humidity in a drilled hole. A meter on top of "
    "old tiles is no proof"
)
#: Reading the base means going through the old floor.
_BEFORE_DRILLING: dict[AsbestosTest | None, str] = {
    None: ". No drilling before the asbestos test",
    "not_tested": ". No drilling before the asbestos test",
    "found": ". It holds asbestos: no drilling, a licensed firm takes the sample",
    "none_found": "",
}


def dry(site: Site, confidence: float) -> Condition:
    """The condition by the reading that decides (``moisture.worst_reading``)."""
    held = worst_reading(site, confidence)
    drilling = _BEFORE_DRILLING[site.old.asbestos]
    if held is None:
        return condition("dry", "not_recorded", _NOTHING, advice=f"{_IN_BASE}{drilling}")
    figure = _figure(held.reading)
    return condition(
        "dry",
        held.word,
        _asked(held),
        recorded=_recorded(held, site),
        advice=f"{_advice(held)}{drilling if _reads_again(held) else ''}",
        short=f"moisture ({figure}, {_limit(held)})" if held.limits else f"moisture ({figure}, no limit known)",
    )


def _reads_again(held: Held) -> bool:
    """Whether the advice sends somebody to read the base once more."""
    return held.through or held.by_figure == "not_met" or (held.one_limit and held.by_figure == "open")


def _recorded(held: Held, site: Site) -> str:
    reading = held.reading
    in_base = sum(is_through(one, site.old) is held.through for one in site.moisture)
    aside = len(site.moisture) - in_base
    said = [f"{_METHODS[reading.method]} {_figure(reading)}"]
    said.append("base not said" if reading.base is None else f"in {_BASES[reading.base]}")
    if in_base > 1:
        said.append(f"the worst of {in_base} readings")
    if reading.plus_minus is None:
        said.append("± not stated")
    if reading.beneath_tiles is False:
        said.append("read through the covering")
    elif held.through:
        said.append("not said whether in the base or through the covering")
    elif aside:
        said.append(f"{aside} more taken through the covering {'adds' if aside == 1 else 'add'} nothing to it")
    return ", ".join(said)


def _asked(held: Held) -> Asked:
    reading = held.reading
    if not held.limits:
        named = "this base" if reading.base is None else _BASES[reading.base]
        return Asked(f"no published limit is known for {_METHODS[reading.method]} in {named}")
    strictest, mildest = held.limits[0], held.limits[-1]
    text = f"{_limit(held)} {MOISTURE_UNIT[reading.method]}"
    if not held.one_limit:
        text += f", the strictest that may hold (the mildest: {_number(mildest.most, reading.method)})"
    return Asked(with_conflict(text, strictest.asked.text), strictest.asked.source, strictest.asked.mark)


def _advice(held: Held) -> str:
    if held.by_figure == "not_met":
        again = f", in the base itself: {_HIDDEN}" if held.through else ""
        return (
            "Do not close the floor off. Find out where the water comes from, let the base dry or use a barrier that "
            f"the covering's data sheet allows, then read again{again}"
        )
    if held.through:
        if held.reading.beneath_tiles is None:
            return (
                f"Write beneath_tiles = true beside the reading if it was taken in the base; else read there: {_HIDDEN}"
            )
        return f"{_HIDDEN[0].upper()}{_HIDDEN[1:]}. {_IN_BASE}"
    if not held.limits:
        return "Write the limit of the covering's data sheet beside the reading (limit, limit_source)"
    if not held.one_limit and held.by_figure == "open":
        return "Find out what the base is and whether it is heated: they say which limit holds"
    return "Too close to the limit for its ±: read again finer, or let it dry longer and read then"


def _limit(held: Held) -> str:
    limit, method = held.limits[0], held.reading.method
    if limit.least is not None:
        return f"{_number(limit.least, method)} to {_number(limit.most, method)}"
    return f"at most {_number(limit.most, method)}"


def _figure(reading: Moisture) -> str:
    spread = "" if reading.plus_minus is None else f" ± {_number(reading.plus_minus, reading.method)}"
    return f"{_number(reading.value, reading.method)}{spread} {MOISTURE_UNIT[reading.method]}"


def _number(value: float, method: MoistureMethod) -> str:
    """As it was written, with a decimal where limits have one: 2.0, 1.85, 75."""
    said = f"{value:g}"
    return f"{said}.0" if method in _WITH_DECIMAL and said.isdigit() else said
