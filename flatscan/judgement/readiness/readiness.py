"""The record of readiness: every condition before a new floor is laid, met or not, with what was recorded of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: In the order in which they are shown. The first three are judged from the measurement, the others from the survey.
ConditionName = Literal[
    "flat", "joints", "lips", "dry", "sound", "crack_free", "clean", "climate", "acclimatised", "heating",
    "movement_joints", "old_covering",
]  # fmt: skip
#: ``open``: something was recorded, and it does not settle the matter (a reading through the tiles, cracks of which
#: nobody knows whether they move). ``not_recorded``: nothing was. ``not_needed``: does not apply to this floor.
ConditionWord = Literal["met", "not_met", "open", "not_recorded", "not_needed"]


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition.

    ``title``: what it is called (``Dry``). ``recorded``: what was found, in words, "" where nothing was. ``asked``:
    what is asked, with its figure. ``source``, ``mark``: where that comes from and how far it can be trusted.
    ``advice``: what to do while it is not met; "" where it is. ``short``: what is to be settled, in a few words for a
    headline (``moisture (2.6 CM-%, at most 2.0)``); "" where nothing was recorded that needs settling.
    """

    name: ConditionName
    title: str
    word: ConditionWord
    recorded: str
    asked: str
    source: str
    mark: str
    advice: str
    short: str = ""


@dataclass(frozen=True, slots=True)
class Readiness:
    """All conditions, each once, in the order of ``ConditionName``."""

    conditions: tuple[Condition, ...]

    @property
    def ready(self) -> bool:
        """Whether every condition is met or not needed: only then may anything be called ready."""
        return all(c.word in ("met", "not_needed") for c in self.conditions)

    def named(self, name: ConditionName) -> Condition:
        """The condition of that name."""
        return next(c for c in self.conditions if c.name == name)

    def of(self, *words: ConditionWord) -> tuple[Condition, ...]:
        """The conditions with one of these words."""
        return tuple(c for c in self.conditions if c.word in words)
