"""The whole report on a terminal (``--full``): every reason, every way of levelling, every doubt and caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.terminal.levelling import add_levelling
from flatscan.report.terminal.lines import PLAIN, VERDICT_INK, Page
from flatscan.report.words import field_words, joint_story, places, plain_text, story, wording
from flatscan.report.words.caption import capture_line, limit_lines
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.doubts import doubts_of
from flatscan.report.words.readiness_words import readiness_rows, readiness_summary
from flatscan.report.words.told_findings import lips_rule
from flatscan.report.words.worst import worst_of_all

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.report.report import Report
    from flatscan.report.words.worst import Place

_MOST_PLACES = 5


def full_text(
    report: Report, *, colour: bool, width: int = 80, ascii_text: bool = False, files: Sequence[Path] = ()
) -> str:
    """All of it; no line is longer than ``width``, and without ``colour`` there is no escape sequence."""
    page = Page(width, colour=colour, ascii_text=ascii_text)
    answer = report.verdict.answer
    page.headline(answer.text)
    page.section("Why", story.reasons(report))
    page.section("Ready to lay", _readiness(report))
    _places(page, worst_of_all(report, _MOST_PLACES), with_map=bool(files))
    page.section("What to do next", story.next_steps(report), numbered=True)
    add_levelling(
        page,
        report.plan,
        answer.code,
        by_hand=field_words.by_hand(report.surface),
        files=[path.name for path in files],
        findings=report.verdict.findings,
    )
    page.section("Measured", [line for line in _measured(report) if line])
    page.section("Doubts", [f"{c.text}. {c.advice}" for c in doubts_of(report)])
    page.section("Take care", [f"{c.title}: {c.text}" for c in cautions_for(report)])
    if files:
        folder = files[0].parent
        page.section("Written", [f"{folder}: {', '.join(path.name for path in files)}"])
    return page.text()


def _readiness(report: Report) -> list[str]:
    """Every condition with what was recorded, what is asked, and what to do."""
    rows = readiness_rows(report.verdict)
    told = [
        ". ".join(
            part
            for part in (
                f"{row.title}: {row.shape} {row.told}",
                row.recorded,
                row.asked and f"Asked: {row.asked}{f', {row.asked_from}' if row.asked_from else ''}",
                row.advice,
            )
            if part
        )
        for row in rows
    ]
    return [readiness_summary(report.verdict.readiness), *told] if rows else []


def _places(page: Page, found: Sequence[Place], *, with_map: bool) -> None:
    if not found:
        return
    names = "letters" if all(one.kind == "gap" for one in found) else "names"
    page.title(f"Worst places ({names} as on the map)" if with_map else "Worst places")
    wide = max(len(one.label) for one in found)
    beside = " " * (wide + 3)
    for one in found:
        verdict, ink = "no limit", PLAIN
        if one.word is not None:
            verdict, ink = f"{wording.VERDICT_SHAPE[one.word]} {wording.VERDICT_TEXT[one.word]}", VERDICT_INK[one.word]
        label = plain_text.clean(one.label)
        first = page.wrap(f"{verdict}: {one.said}", f"  {label:<{wide}} ", beside)
        page.add([page.ink(first[0], ink), *first[1:]])
        page.add(page.wrap(", ".join(t for t in (wording.chance(one.p_over), one.where) if t), beside, beside))
    page.add(page.wrap(f"{places.FRAME_TEXT if with_map else places.NO_MAP_TEXT}.", "  ", "  "))


def _measured(report: Report) -> list[str]:
    return [
        *limit_lines(report),
        story.flatness_line(report),
        story.slope_line(report),
        *joint_story.joint_lines(report),
        lips_rule(report),
        joint_story.hand_line(report),
        capture_line(report),
        field_words.systematic_line(report),
        field_words.left_out_line(report),
    ]
