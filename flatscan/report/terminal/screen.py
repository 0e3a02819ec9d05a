"""The summary for a terminal, one screen of it: the answer, why, where, what to do next, what it takes, where more is.

Whoever reads it stands on the floor. Everything that is left out here is in the report's files and in ``full_text``.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.terminal.lines import PLAIN, VERDICT_INK, Page
from flatscan.report.terminal.plan import add_plan_screen, more_line, plan_lines, plan_title
from flatscan.report.words import field_words, plain_text, story, wording
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.readiness_words import CONDITION_TEXT, readiness_summary
from flatscan.report.words.worst import worst_of_all

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.judgement.readiness.readiness import ConditionWord
    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.report import Report
    from flatscan.report.words.cautions import Caution
    from flatscan.report.words.worst import Place

_MOST_REASONS, _MOST_PLACES, _MOST_STEPS = 3, 4, 6
#: A limit's own figure in a document's unit, which the reasons tell.
_STATED = re.compile(r" \[[^]]*\]")
#: What a person opens first, in this order.
OPEN_FIRST = ("report.html", "report.pdf", "notice_of_concern.pdf", "marking_out.pdf")
#: Told in full where the plan makes dust.
_IN_FULL = ("silica", "asbestos")
#: Else in one line; the full texts are in the report and with --full. Facts behind them: ``cautions``.
SHORT_CAUTION = {
    "asbestos": "have old tiles and black glue tested before you cut or lift.",
    "heated_floor": "find pipes and cables before you drill or fix; heating off.",
    "dense_surface": "clean, degrease, roughen or prime as the data sheet says.",
    "moisture": "have the base tested before it is covered: tiles hide it.",
    "slips": "wet compound is slippery, new edges trip: close the room.",
    "limits": "local code, contract and product data sheet.",
}
#: How a step goes on to name what to read with.
_INSTRUMENT = ". With: "
#: Conditions that are named one by one.
_IN_THE_WAY: tuple[ConditionWord, ...] = ("not_met", "open")


def summary(
    report: Report, *, colour: bool, width: int = 80, ascii_text: bool = False, files: Sequence[Path] = ()
) -> str:
    """One screen; no line is longer than ``width``, and without ``colour`` there is no escape sequence."""
    page = Page(width, colour=colour, ascii_text=ascii_text)
    page.headline(report.verdict.answer.text)
    page.section("Why", [*_reasons(report, files), *_readiness(report)])
    _places(page, worst_of_all(report, _MOST_PLACES))
    page.section("What to do next", _few(story.next_steps(report), files), numbered=True)
    code, by_hand = report.verdict.answer.code, field_words.by_hand(report.surface)
    page.section(plan_title(code), plan_lines(report.plan, code, by_hand=by_hand))
    page.section("Take care", caution_lines(cautions_for(report)))
    _end(page, [file_line(files)])
    return page.text()


def plan_screen(
    plan: LevellingPlan,
    code: AnswerCode,
    *,
    by_hand: bool = False,
    cautions: Sequence[Caution] = (),
    files: Sequence[Path] = (),
    width: int = 80,
    colour: bool = False,
    ascii_text: bool = False,
) -> str:
    """One screen of a plan that was made anew."""
    page = Page(width, colour=colour, ascii_text=ascii_text)
    add_plan_screen(page, plan, code, by_hand=by_hand)
    page.section("Take care", caution_lines(cautions))
    _end(page, [more_line(plan, [path.name for path in files]), file_line(files, of="level")])
    return page.text()


def caution_lines(cautions: Sequence[Caution]) -> list[str]:
    """Each caution with its title, in one line where a short one says enough."""
    full = _IN_FULL if any(one.name == "silica" for one in cautions) else ()
    return [
        f"{one.title}: {one.text if one.name in full else SHORT_CAUTION.get(one.name, one.text)}" for one in cautions
    ]


def file_line(files: Sequence[Path], *, of: str = "check") -> str:
    """The folder and what to open first in it; how to get one where nothing was written."""
    if not files:
        return f"Nothing was written. --out FOLDER writes {_WRITES[of]}; --full prints more here."
    names = [path.name for path in files]
    first = [name for name in OPEN_FIRST if name in names] or names[:1]
    more = len(names) - len(first)
    rest = f" and {more} more {'file' if more == 1 else 'files'}" if more else ""
    return f"In {files[0].parent}: {', '.join(first)}{rest}"


_WRITES = {"check": "report, map and marking-out sheet", "level": "marking-out sheet, tables and drawing"}


def _end(page: Page, lines: Sequence[str]) -> None:
    page.add(["", *(part for line in lines if line for part in page.wrap(line, "", ""))])


def _told_in(files: Sequence[Path]) -> str:
    """Where what is left out here is told."""
    return "in report.html" if any(path.name == "report.html" for path in files) else "with --full"


def _reasons(report: Report, files: Sequence[Path]) -> list[str]:
    """The main ones, worst first as the judgement orders them."""
    reasons = story.reasons(report)
    left = len(reasons) - _MOST_REASONS
    if left <= 1:
        return reasons
    return [*reasons[:_MOST_REASONS], f"{left} more reasons {_told_in(files)}"]


def _readiness(report: Report) -> list[str]:
    """All conditions in a line, and by name those that stand in the way."""
    readiness = report.verdict.readiness
    if readiness is None:
        return []
    named = [
        f"{CONDITION_TEXT[word].capitalize()}: {', '.join(one.title.lower() for one in readiness.of(word))}"
        for word in _IN_THE_WAY
        if readiness.of(word)
    ]
    return [readiness_summary(readiness), *([". ".join(named)] if named else [])]


def _places(page: Page, found: Sequence[Place]) -> None:
    """One line each: what, how bad, against what, and two tapes."""
    if not found:
        return
    page.title("Worst places (from the left wall, from the bottom wall of the map)")
    wide = max(len(one.label) for one in found)
    beside = " " * (wide + 5)
    for one in found:
        verdict, ink = "", PLAIN
        if one.word is not None:
            verdict = f"{wording.VERDICT_SHAPE[one.word]} {wording.VERDICT_TEXT[one.word]}: "
            ink = VERDICT_INK[one.word]
        label = plain_text.clean(one.label)
        at = ", ".join(said.marks(v, fine=False) for v in one.at) if said.imperial() else said.tapes(*one.at)
        first = page.wrap(f"{verdict}{_STATED.sub('', one.said)}, at {at}", f"  {label:<{wide}} ", beside)
        page.add([page.ink(first[0], ink), *first[1:]])


def _few(steps: Sequence[str], files: Sequence[Path]) -> list[str]:
    """The first steps in their order. Where a sheet lists the places to read, they are not told one by one."""
    listed = any(story.lists_readings(step) for step in steps)
    by_hand = [step for step in steps if step.startswith(story.READ_BY_HAND)]
    told = [step for step in steps if step not in (by_hand if listed else by_hand[1:])]
    # The instrument is named in the sheet and in the report.
    told = [step.partition(_INSTRUMENT)[0] for step in story.in_short(told)]
    left = len(told) - _MOST_STEPS
    if left <= 0:
        return told
    return [*told[: _MOST_STEPS - 1], f"{left + 1} more steps after these, {_told_in(files)}"]
