"""Room climate, and the new floor's stay in the room."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.readiness.asked import SHEET, Asked, condition, figure_of, joined, listed, worst_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from flatscan.judgement.readiness.readiness import Condition, ConditionWord
    from flatscan.sources.survey.site import Covering, Site

_DAY_H = 24.0
_MISSING = {
    "air": "the air's temperature",
    "floor": "the floor's temperature",
    "humidity": "the humidity",
    "held for": "for how long it has been so",
}


@dataclass(frozen=True, slots=True)
class _Figure:
    """One figure of the room: what was read, from ``least`` to ``most`` is asked, ``show`` says it."""

    name: str
    value: float | None
    least: float
    most: float
    show: Callable[[float], str]

    @property
    def word(self) -> ConditionWord:
        """Plain comparison: a thermometer is far finer than the range is wide."""
        if self.value is None:
            return "open"
        return "met" if self.least <= self.value <= self.most else "not_met"

    @property
    def told(self) -> str:
        """``air 19 °C``."""
        return f"{self.name} {self.show(self.value)}" if self.value is not None else ""

    @property
    def wrong(self) -> str:
        """``air 16 °C, at least 18 °C``."""
        if self.value is None or self.word == "met":
            return ""
        low = self.value < self.least
        return f"{self.told}, at {'least' if low else 'most'} {self.show(self.least if low else self.most)}"


def climate(site: Site) -> Condition:
    """Air and floor within the temperatures asked, for the hours asked; humidity where the data sheet limits it."""
    room, covering = site.climate, site.covering
    least, from_least = figure_of(covering.least_c, "air_least")
    most, from_most = figure_of(covering.most_c, "air_most")
    hours, from_hours = figure_of(covering.least_hours, "held")
    humid = covering.most_humidity_percent
    text = f"air and floor {_span(least, most)}, for {hours:g} h before laying, while laying and after"
    asked = joined(text, from_least, from_most, from_hours)
    if humid is not None:
        asked = joined(f"humidity at most {humid:g} %, {asked.text}", replace(asked, text=""), SHEET)
    figures = [
        _Figure("air", room.air_c, least, most, said.temperature),
        _Figure("floor", room.floor_c, least, most, said.temperature),
        _Figure("humidity", room.humidity_percent, 0.0, math.inf if humid is None else humid, _percent),
        _Figure("held for", room.held_hours, hours, math.inf, _hours),
    ]
    if all(figure.value is None for figure in figures):
        how = "Read air and floor with a thermometer and write down for how long it has been so"
        return condition("climate", "not_recorded", asked, advice=how)
    needed = [figure for figure in figures if figure.name != "humidity" or humid is not None]
    wrong = [figure.wrong for figure in needed if figure.wrong]
    missing = [_MISSING[figure.name] for figure in needed if figure.value is None]
    orders = ["Bring the room to it and keep it so; lay later"] if wrong else []
    orders += [f"Write down {listed(missing)}"] if missing else []
    return condition(
        "climate",
        worst_of(figure.word for figure in needed),
        asked,
        recorded=", ".join(figure.told for figure in figures if figure.told),
        advice=". ".join(orders),
        short=f"room climate ({'; '.join(wrong)})" if wrong else "room climate",
    )


def acclimatised(site: Site) -> Condition:
    """Hours that the new floor has lain open in the room by the visit, never by the machine's clock.

    ``acclimatised_hours`` comes before the moment since which it lies there. A visit has a date and no time, so a
    moment gives the hours up to the beginning and to the end of that day: in order needs the fewer, not in order the
    more.
    """
    covering = site.covering
    hours, source = figure_of(covering.least_hours, "acclimatised")
    asked = Asked(f"at least {hours:g} h open in the room", source.source, source.mark)
    if covering.kind == "thin_tile" and covering.least_hours is None:
        practice = "common practice, no source"
        return condition("acclimatised", "not_needed", Asked("nothing, for tiles", practice, practice))
    how = f"Lay the new floor open in the room for {hours:g} h before laying and write down since when"
    span = _hours_lain(covering, site.visit.date)
    if span is None:
        if covering.acclimatised_since is None:
            return condition("acclimatised", "not_recorded", asked, advice=how)
        since = f"since {covering.acclimatised_since:%Y-%m-%d %H:%M}, date of the visit not recorded"
        return condition("acclimatised", "open", asked, recorded=since, advice="Write down the date of the visit")
    fewest, most = span
    told = _hours(fewest) if fewest == most else f"{fewest:.0f} to {most:.0f} h"
    recorded = told if fewest == most else f"{told}: the visit has a date and no time"
    if fewest >= hours:
        return condition("acclimatised", "met", asked, recorded=recorded)
    if most < hours:
        short = f"acclimatising ({told if fewest == most else f'{most:.0f} h at most'}, {hours:g} h asked)"
        return condition("acclimatised", "not_met", asked, recorded=recorded, advice=how, short=short)
    short = f"acclimatising ({told} by the day of the visit, {hours:g} h asked)"
    advice = "Write down the hours it had lain there at the visit (acclimatised_hours)"
    return condition("acclimatised", "open", asked, recorded=recorded, advice=advice, short=short)


def _hours_lain(covering: Covering, visit: dt.date | None) -> tuple[float, float] | None:
    """Fewest and most hours by the visit; None where they cannot be told."""
    if covering.acclimatised_hours is not None:
        return covering.acclimatised_hours, covering.acclimatised_hours
    if covering.acclimatised_since is None or visit is None:
        return None
    since = covering.acclimatised_since.replace(tzinfo=None)  # the room's own clock
    morning = (dt.datetime.combine(visit, dt.time()) - since) / dt.timedelta(hours=1)
    return max(0.0, morning), max(0.0, morning + _DAY_H)


def _span(least_c: float, most_c: float) -> str:
    return f"{said.temperature(least_c).split()[0]} to {said.temperature(most_c)}"


def _hours(hours: float) -> str:
    return f"{round(hours, 1):g} h"


def _percent(value: float) -> str:
    return f"{value:g} %"
