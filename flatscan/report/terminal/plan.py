"""The levelling on one screen; for ``flatscan level`` with the ways side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.terminal.levelling import add_ways
from flatscan.report.words import levelling_places, levelling_words, proof_words
from flatscan.report.words.areas_words import areas_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.plan import LevellingPlan, Method
    from flatscan.report.terminal.lines import Page

_TITLES = ("Levelling", "Levelling, should it be needed")


def plan_title(code: AnswerCode) -> str:
    """Said before it is known to be needed, or as the work to do."""
    return _TITLES[0] if code in {"level_areas", "level_all"} else _TITLES[1]


def plan_lines(plan: LevellingPlan, code: AnswerCode, *, by_hand: bool) -> list[str]:
    """Way, litres, bags and cost; where and how thick; primer and waiting. Nothing where no way was worked out.

    Of a floor that needs no levelling, as far as is known, only the first line.
    """
    if not plan.methods:
        return []
    if levelling_words.nothing_to_level(plan):
        return [levelling_words.nothing_line(by_hand=by_hand)]
    chosen = levelling_words.chosen_of(plan)
    if chosen is None:
        return list(plan.recommendation)
    lines = [*plan.recommendation[:1], areas_line(plan, by_hand=by_hand), _amount(chosen, plan)]
    if code in {"level_areas", "level_all"}:
        lines.append(_work(chosen))
    return [line for line in lines if line]


def add_plan_screen(page: Page, plan: LevellingPlan, code: AnswerCode, *, by_hand: bool) -> None:
    """What ``flatscan level`` tells: the recommendation, the ways side by side, and what the chosen one asks for."""
    if not plan.methods:
        return
    page.headline(levelling_words.title(code))
    if levelling_words.nothing_to_level(plan):
        page.items([levelling_words.nothing_line(by_hand=by_hand)])
        return
    page.items(plan.recommendation)
    possible = [method for method in plan.methods if method.possible]
    if possible:
        add_ways(page, plan, possible)
    refused = [name for name, _ in levelling_words.not_possible(plan)]
    chosen = levelling_words.chosen_of(plan)
    lines = [f"Not possible here: {', '.join(refused)}"] if refused else []
    if chosen is not None:
        lines += levelling_places.joint_lines(levelling_words.joint_work_of(plan))
        lines += [areas_line(plan, by_hand=by_hand), _amount(chosen, plan), _work(chosen)]
        lines += [levelling_words.door_line(door) for door in levelling_words.doors_of(chosen)]
        lines += [proof_words.proof_line(chosen.proof, plan.before)] if chosen.proof is not None else []
    page.section("Of the way planned (*)" if possible else "None is possible here", [line for line in lines if line])


def _amount(method: Method, plan: LevellingPlan) -> str:
    """Where it goes and how thick it gets."""
    parts = [levelling_words.worked_on(method)]
    if plan.areas:
        parts.append(f"{len(plan.areas)} {'area' if len(plan.areas) == 1 else 'areas'} to mark out")
    if thickest := levelling_words.thickest(method):
        parts.append(f"at the thickest place {thickest}")
    if plan.dams:
        parts.append(f"{len(plan.dams)} {'dam' if len(plan.dams) == 1 else 'dams'} to set")
    rise = levelling_words.rise(method)
    if rise and levelling_words.rises(method):
        parts.append(f"doors up by {rise} {said.unit('mm')} at most")
    told = "; ".join(parts)
    return f"{told[0].upper()}{told[1:]}"


def _work(method: Method) -> str:
    """Grinding, layers, primer and waiting in a line, as the product file says."""
    parts = []
    if method.ground_m2 > 0.0:
        parts.append(f"grind {levelling_words.ground_litres(method.ground_l)} off {said.area(method.ground_m2)}")
    if levelling_words.primes(method):
        parts.append(f"primer {said.mass(method.primer_kg or 0.0)}")
    parts += [f"{method.layers} layers"] if method.layers > 1 else []
    waits = [f"walk on after {method.walk_on_h:g} h"] if method.walk_on_h is not None else []
    waits += [f"lay after {method.cover_h:.0f} h"] if method.cover_h is not None else []
    parts += [f"{', '.join(waits)}, unless the data sheet asks for more"] if waits else []
    told = "; ".join(parts)
    return f"{told[0].upper()}{told[1:]}" if told else ""


def more_line(plan: LevellingPlan, files: Sequence[str]) -> str:
    """How many doubts are not on the screen; empty for none."""
    number = len(dict.fromkeys(plan.caveats))
    where = "levelling.json and with --full" if "levelling.json" in files else "--full"
    return f"{number} {'doubt' if number == 1 else 'doubts'} about this plan: see {where}" if number else ""
