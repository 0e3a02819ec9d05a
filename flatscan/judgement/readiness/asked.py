"""What is asked of one condition, with its source, and the condition made of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.readiness.readiness import Condition
from flatscan.judgement.readiness.site_limits import site_limits

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.judgement.limits import LimitSource
    from flatscan.judgement.readiness.readiness import ConditionName, ConditionWord
    from flatscan.judgement.readiness.site_limits import Rule, RuleName

#: The mark of a limit that a person wrote into the survey file.
FROM_SURVEY = "as the survey says"
TITLES: dict[ConditionName, str] = {
    "flat": "Flat",
    "joints": "Joints",
    "lips": "Lips",
    "dry": "Dry",
    "sound": "Sound",
    "crack_free": "Free of moving cracks",
    "clean": "Clean",
    "climate": "Room climate",
    "acclimatised": "New floor acclimatised",
    "heating": "Floor heating",
    "movement_joints": "Movement joints",
    "old_covering": "Asbestos in the old floor",
}
#: Worst first: one word for several is the first of these that any of them has.
_WORST: tuple[ConditionWord, ...] = ("not_met", "open", "not_recorded", "met", "not_needed")


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked, in words; ``source`` and ``mark`` are those of ``Condition``."""

    text: str
    source: str = ""
    mark: str = ""

    @classmethod
    def by(cls, rule: Rule, text: str) -> Asked:
        """What a rule of the site limits asks; where sources disagree that is told too."""
        return cls.of(rule.source, with_conflict(text, rule.conflict))

    @classmethod
    def of(cls, source: LimitSource, text: str) -> Asked:
        """What a source asks."""
        named = ", ".join(part for part in (source.document, source.table, source.year) if part)
        return cls(text, named, source.mark)


SHEET = Asked("", "The covering's data sheet", FROM_SURVEY)


def figure_of(sheet: float | None, name: RuleName) -> tuple[float, Asked]:
    """The data sheet's figure, else the published one, with its source; its text says where sources disagree."""
    if sheet is not None:
        return sheet, SHEET
    rule = site_limits().rule(name)
    return rule.figure, Asked.of(rule.source, rule.conflict)


def joined(text: str, *sources: Asked) -> Asked:
    """One text with every source and mark once, and where sources disagree."""
    for one in sources:
        text = with_conflict(text, one.text)
    names = dict.fromkeys(one.source for one in sources)
    marks = dict.fromkeys(one.mark for one in sources)
    return Asked(text, "; ".join(names), "; ".join(marks))


def with_conflict(text: str, conflict: str) -> str:
    """What is asked, then where sources disagree; without a full stop at the end."""
    return f"{text}. {conflict}".rstrip(".") if conflict else text


def condition(
    name: ConditionName, word: ConditionWord, asked: Asked, *, recorded: str = "", advice: str = "", short: str = ""
) -> Condition:
    """The condition; advice and headline are dropped where it is met or not needed."""
    settled = word in ("met", "not_needed")
    return Condition(
        name=name,
        title=TITLES[name],
        word=word,
        recorded=recorded,
        asked=asked.text,
        source=asked.source,
        mark=asked.mark,
        advice="" if settled else advice,
        short="" if settled else short,
    )


def worst_of(words: Iterable[ConditionWord]) -> ConditionWord:
    """One word for several; raises ValueError for none."""
    return min(words, key=_WORST.index)


def listed(names: Iterable[str], *, most: int | None = None) -> str:
    """Names as people list them.

    >>> listed(["dry", "sound", "clean"]), listed(["dry", "sound", "clean", "warm"], most=2)
    ('dry, sound and clean', 'dry, sound and 2 more')
    """
    said = list(names)
    if most is not None and len(said) > most + 1:
        said = [*said[:most], f"{len(said) - most} more"]
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)
