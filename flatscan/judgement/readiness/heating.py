"""Heating in the floor: how warm it gets, and whether it is off for the work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.readiness.asked import SHEET, Asked, condition, figure_of, joined, worst_of
from flatscan.judgement.readiness.site_limits import site_limits

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import Condition, ConditionWord
    from flatscan.sources.survey.site import Heating, Site

_HEATED = {"water": "water pipes", "electric": "electric cables"}


def heating(site: Site) -> Condition:
    """Not needed without heating; else the surface stays cool enough in use and the heating is off for the work.

    Cover over water pipes that is recorded and too thin is told and left open: it cannot be made thicker beneath an
    old floor, so whoever answers for the heating must say.
    """
    heat, covering = site.heating, site.covering
    most, source = figure_of(None, "heated_surface_most")
    if covering.most_c is not None and covering.most_c < most:
        most, source = covering.most_c, SHEET
    off, cover = site_limits().rule("heating_off"), site_limits().rule("pipe_cover_least")
    text = f"surface at most {said.temperature(most)} in use; off for the work, {off.figure:g} h before"
    sources = [source, Asked.of(off.source, "")]
    if heat.kind == "water":
        text = text.replace("; off", f"; pipes at least {said.length(cover.figure)} deep; off", 1)
        sources.append(Asked.of(cover.source, ""))
    asked = joined(text, *sources)
    if heat.kind == "none":
        return condition("heating", "not_needed", asked, recorded="no heating in the floor")
    if heat.kind is None or heat.kind == "unknown":
        nothing = heat.kind is None and heat.surface_most_c is None and heat.off is None and heat.cover_mm is None
        return condition(
            "heating",
            "not_recorded" if nothing else "open",
            asked,
            recorded="" if nothing else "nobody knows whether the floor is heated",
            advice="Find out whether there is heating in the floor: ask, look for a manifold or a thermostat",
            short="floor heating",
        )
    words, wrong, missing = _heating_words(heat, most, cover.figure)
    return condition(
        "heating",
        worst_of(words),
        asked,
        recorded=_heating_recorded(heat),
        advice=_heating_advice(heat, wrong, missing),
        short=f"floor heating ({'; '.join(wrong)})" if wrong else "floor heating",
    )


def _heating_words(heat: Heating, most_c: float, cover_mm: float) -> tuple[list[ConditionWord], list[str], list[str]]:
    """Words, what is wrong and what is missing."""
    words: list[ConditionWord] = []
    wrong, missing = [], []
    if heat.surface_most_c is None:
        words.append("open")
        missing.append("how hot the surface gets in use")
    else:
        words.append("met" if heat.surface_most_c <= most_c else "not_met")
        if heat.surface_most_c > most_c:
            wrong.append(f"surface {said.temperature(heat.surface_most_c)}, at most {said.temperature(most_c)}")
    if heat.off is None:
        words.append("open")
        missing.append("whether it is off")
    else:
        words.append("met" if heat.off else "not_met")
        wrong += [] if heat.off else ["still on"]
    if heat.kind == "water" and heat.cover_mm is not None and heat.cover_mm < cover_mm:
        words.append("open")
        wrong.append(f"pipes {said.length(heat.cover_mm)} deep, at least {said.length(cover_mm)}")
    return words, wrong, missing


def _heating_recorded(heat: Heating) -> str:
    told = [_HEATED.get(heat.kind or "", "")]
    told += [] if heat.surface_most_c is None else [f"surface up to {said.temperature(heat.surface_most_c)}"]
    told += [] if heat.off is None else ["switched off" if heat.off else "switched on"]
    told += [] if heat.cover_mm is None else [f"{said.length(heat.cover_mm)} deep"]
    return ", ".join(told)


def _heating_advice(heat: Heating, wrong: list[str], missing: list[str]) -> str:
    orders = []
    if heat.off is False:
        orders.append("Switch it off before the work")
    if any(text.startswith("surface") for text in wrong):
        orders.append("Have its flow temperature limited")
    if any(text.startswith("pipes") for text in wrong):
        orders.append(
            "Ask whoever answers for the heating whether so little cover will do; do not grind or drill there"
        )
    if missing:
        orders.append(f"Write down {' and '.join(missing)}")
    return ". ".join(orders)
