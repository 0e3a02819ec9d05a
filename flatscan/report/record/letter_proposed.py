"""What the letter proposes, in the order in which it is done, in words for a client."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.judgement.readiness.asked import listed
from flatscan.report.words import levelling_words, readiness_steps, story, wording

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.levelling.plan import LevellingPlan, MethodName
    from flatscan.report.record.concerns import Concerns
    from flatscan.report.report import Report

#: Steps that say how to work with the program, and single readings.
_TO_THE_PROGRAM = (story.READ_BY_HAND, " --", "flatscan")
#: How a step goes on to say where what was found is written down.
_TO_FILE = re.compile(r" \(flatscan survey new [^)]*\)(?:: no \w+ shows (?:it|them))?")
#: How far a source can be trusted: the record explains these marks, a letter does not.
_MARKS = re.compile(r" \((?:read|restated|from memory)\)|, (?:read|restated|from memory)(?=\))")
#: What the record has and the letter has not.
_IN_RECORD = {
    "see the doubts": "the survey record says why",
    "the doubts say why": "the survey record says why",
}
_HOW: Mapping[MethodName, str] = {
    "patch": "level {size} by trowel",
    "grind_and_patch": "grind the high places down and level {size} by trowel",
    "skim": "pull a thin coat over {size}",
    "screed": "level {size} to one plane",
    "flood": "pour {size} level",
}


def for_client(text: str) -> str:
    """A text of the record as it may stand in the letter.

    >>> for_client("some edges could not be laid: see the doubts")
    'some edges could not be laid: the survey record says why'
    >>> for_client("often impossible (Dutch trade rules, read); 2 % CM (restated)")
    'often impossible (Dutch trade rules); 2 % CM'
    """
    for there, here in _IN_RECORD.items():
        text = text.replace(there, here)
    return _MARKS.sub("", text)


def proposed_way(report: Report) -> str:
    """The levelling, where the answer is to level and no asbestos forbids it; what its figures leave out is said."""
    plan = report.plan
    chosen = levelling_words.chosen_of(plan)
    if report.verdict.answer.code not in {"level_areas", "level_all"} or readiness_steps.found_asbestos(report):
        return ""
    if chosen is None:
        return ""
    if chosen.name not in _HOW:
        return "We propose to take the old tiles up and to measure the base anew"
    how = _HOW[chosen.name].format(size=wording.area(chosen.area_m2))
    left = _left_out(plan)
    out = f" and leave out {left}" if left else ""
    return (
        f"We propose to {how}, about {levelling_words.litres(chosen)} of compound; the figures hold for the floor that "
        f"was measured{out}"
    )


def _left_out(plan: LevellingPlan) -> str:
    work = levelling_words.joint_work_of(plan)
    if work is None:
        return "" if plan.chosen == "lift_tiles" else "joints and lips"
    undecided_m, lips = work.metres_to_fill("not_decided"), sum(lip.word == "not_decided" for lip in work.lips)
    parts = [f"{said.run(undecided_m * MM_PER_M)} of joint that is not decided"] if undecided_m > 0.0 else []
    if work.unmeasured_m > 0.0:
        parts.append(f"{said.run(work.unmeasured_m * MM_PER_M)} of joint that could not be measured")
    if lips:
        parts.append(f"{lips} {'lip that is' if lips == 1 else 'lips that are'} not decided")
    return listed(parts)


def proposed_steps(report: Report, concerns: Concerns) -> list[str]:
    """The report's steps in their order: asbestos and tests first, readings before work, no order to the program."""
    steps: list[str] = []
    for step in (_TO_FILE.sub("", one) for one in story.next_steps(report)):
        if any(part in step for part in _TO_THE_PROGRAM):
            steps += _by_hand(report)
        else:
            steps.append(step)
    after = len(readiness_steps.asbestos_step(report))
    tests = [f"Moisture: {c.advice[0].lower()}{c.advice[1:]}" for c in concerns.unknown if c.name == "dry" and c.advice]
    return list(dict.fromkeys(for_client(step) for step in (*steps[:after], *tests, *steps[after:])))


def _by_hand(report: Report) -> list[str]:
    number = len(report.verdict.next_readings)
    told = f"Read by hand at the places that the survey record names ({number}), to settle what is open"
    return [told] if number else []
