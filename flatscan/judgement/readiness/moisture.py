"""Is the base dry enough: every moisture reading held against its own limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.constants import COVERAGE_K
from flatscan.judgement.decision import decide
from flatscan.judgement.readiness.asked import FROM_SURVEY, Asked
from flatscan.judgement.readiness.site_limits import site_limits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.readiness.readiness import ConditionWord
    from flatscan.sources.survey.site import Heating, Moisture, OldCovering, Site

#: A reading through the covering is settled by one in the base no further away than this; common practice, no source.
SAME_SPOT_MM = 500.0
#: Floors that are their own base: a reading was taken in them unless it is said that it was not.
_BARE = ("screed", "concrete", "timber")
_WORST: tuple[ConditionWord, ...] = ("not_met", "open", "met")


@dataclass(frozen=True, slots=True)
class Bound:
    """The most and, for timber, the least. ``asked``: its source; its text says where sources disagree."""

    most: float
    least: float | None
    asked: Asked


@dataclass(frozen=True, slots=True)
class Held:
    """One reading against the limits that may hold, the strictest first (none: no limit is known).

    ``by_figure``: what its figure says. ``through``: it was taken through the covering, or nobody said that it was not.
    """

    reading: Moisture
    limits: tuple[Bound, ...]
    by_figure: ConditionWord
    through: bool

    @property
    def word(self) -> ConditionWord:
        """What it settles: a reading through the covering that is not over says nothing."""
        return "open" if self.through and self.by_figure != "not_met" else self.by_figure

    @property
    def one_limit(self) -> bool:
        """Whether all limits that may hold are the same."""
        return len({(limit.most, limit.least) for limit in self.limits}) == 1

    @property
    def excess(self) -> float:
        """Reading over strictest limit, to find the worst of several."""
        return self.reading.value / self.limits[0].most if self.limits else math.inf


def worst_reading(site: Site, confidence: float) -> Held | None:
    """The reading that decides; None where nothing was read.

    With ``plus_minus`` (U, k = 2) the decision rule of the whole program holds (JCGM 106: met only where the chance of
    being over is at most 1 - ``confidence``); without it the figure is compared plainly, and that is said.

    A reading that is within its limit or too close to it and was taken through the covering, or of which nobody said
    that it was not, settles nothing: tiles hide moisture. Beside a reading in the base it adds nothing. One that is
    *over* counts as not in order all the same: what hides moisture does not make it, so such a reading is reason
    enough not to close the floor off. Only a reading in the base near by (within ``SAME_SPOT_MM``) lifts it.

    Where base or heating is not known several limits may hold: in order needs the strictest, not in order the mildest,
    and what lies between is open.
    """
    held = [hold(reading, site.heating, site.old, confidence) for reading in site.moisture]
    in_base = [h for h in held if not h.through]
    counted = [*in_base, *(h for h in held if h.through and not _settled(h, in_base))]
    return min(counted, key=lambda h: (_WORST.index(h.word), -h.excess), default=None)


def hold(reading: Moisture, heating: Heating, old: OldCovering, confidence: float) -> Held:
    """One reading against the limits that may hold for it."""
    limits = _limits_of(reading, heating)
    words = {_by(reading, limit, confidence) for limit in limits}
    return Held(reading, limits, words.pop() if len(words) == 1 else "open", is_through(reading, old))


def is_through(reading: Moisture, old: OldCovering) -> bool:
    """Whether it was taken through the covering, or nobody said that it was not."""
    return reading.beneath_tiles is False or (reading.beneath_tiles is None and old.kind not in _BARE)


def _limits_of(reading: Moisture, heating: Heating) -> tuple[Bound, ...]:
    """The survey's limit, else every published one that may hold, the strictest first."""
    if reading.limit is not None:
        return (Bound(reading.limit, None, Asked("", reading.limit_source or "data sheet", FROM_SURVEY)),)
    heated = None if heating.kind in (None, "unknown") else heating.kind != "none"
    found = [
        Bound(limit.most, limit.least, Asked.of(limit.source, limit.conflict))
        for limit in site_limits().moisture
        if limit.method == reading.method and limit.may_hold(reading.base, heated)
    ]
    return tuple(sorted(found, key=lambda limit: limit.most))


def _by(reading: Moisture, limit: Bound, confidence: float) -> ConditionWord:
    """What one limit says of a reading's figure; a least value is the same rule with both signs turned."""
    sides = [(reading.value, limit.most)]
    if limit.least is not None:
        sides.append((-reading.value, -limit.least))
    if reading.plus_minus is None:
        return "met" if all(value <= most for value, most in sides) else "not_met"
    u = reading.plus_minus / COVERAGE_K
    words = {decide(value, u, most, confidence)[1] for value, most in sides}
    if "over" in words:
        return "not_met"
    return "met" if words == {"within"} else "open"


def _settled(held: Held, in_base: Sequence[Held]) -> bool:
    """Not over its limit: by any reading in the base, since it says nothing. Else by one at the same place."""
    if held.by_figure != "not_met":
        return bool(in_base)
    at = held.reading.at_mm
    places = [other.reading.at_mm for other in in_base]
    return at is not None and any(place is not None and math.dist(at, place) <= SAME_SPOT_MM for place in places)
