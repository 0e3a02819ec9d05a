"""Readiness said to people: a row for each condition, and one line for all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.judgement.readiness.readiness import ConditionName, ConditionWord, Readiness
    from flatscan.judgement.verdict import Verdict

CONDITION_TEXT: Mapping[ConditionWord, str] = {
    "met": "in order",
    "not_met": "not in order",
    "open": "not settled",
    "not_recorded": "not recorded",
    "not_needed": "not needed here",
}
#: A shape beside each word, so that neither colour nor reading is needed alone; those of verdicts mean the same.
CONDITION_SHAPE: Mapping[ConditionWord, str] = {
    "met": "●",
    "not_met": "▲",
    "open": "◆",
    "not_recorded": "○",
    "not_needed": "–",
}
#: The order in which the words are counted in one line: what stands in the way first.
_COUNTED: tuple[ConditionWord, ...] = ("not_met", "open", "not_recorded", "met", "not_needed")


@dataclass(frozen=True, slots=True)
class ReadinessRow:
    """One condition in words. ``asked_from``: where what is asked comes from and how far it can be trusted.

    ``word`` is for colours and classes, ``shape`` and ``told`` are its sign and its words; ``recorded``, ``asked``,
    ``asked_from`` and ``advice`` may be empty.
    """

    name: ConditionName
    title: str
    word: ConditionWord
    shape: str
    told: str
    recorded: str
    asked: str
    asked_from: str
    advice: str


def readiness_rows(verdict: Verdict) -> tuple[ReadinessRow, ...]:
    """Every condition in its order; none where the verdict was not asked for them."""
    if verdict.readiness is None:
        return ()
    return tuple(
        ReadinessRow(
            name=c.name,
            title=c.title,
            word=c.word,
            shape=CONDITION_SHAPE[c.word],
            told=CONDITION_TEXT[c.word],
            recorded=c.recorded,
            asked=c.asked,
            asked_from=_from(c.source, c.mark),
            advice=c.advice,
        )
        for c in verdict.readiness.conditions
    )


def readiness_summary(readiness: Readiness | None) -> str:
    """All conditions in one line: ``Not ready: 1 not in order, 9 not recorded, 2 in order``; "" for None."""
    if readiness is None:
        return ""
    counts = [(len(readiness.of(word)), CONDITION_TEXT[word]) for word in _COUNTED]
    told = ", ".join(f"{number} {text}" for number, text in counts if number)
    return f"{'Ready' if readiness.ready else 'Not shown to be ready'}: {told}"


def _from(source: str, mark: str) -> str:
    """``NHBC Standards (read)``; the mark alone where it is the source."""
    if not source or source == mark:
        return mark
    return f"{source} ({mark})" if mark else source
