"""The comparison on one screen of a terminal: the answer, placed against planned, what is open, what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.comparison import words
from flatscan.report.terminal.lines import PLAIN, VERDICT_INK, Column, Page
from flatscan.report.words import places, wording

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.report.comparison.run import ComparisonRun

_MOST_OPEN, _MOST_AREAS = 6, 12


def summary(
    run: ComparisonRun, *, colour: bool, width: int = 80, ascii_text: bool = False, files: Sequence[Path] = ()
) -> str:
    """No line is longer than ``width``, and without ``colour`` there is no escape sequence."""
    page = Page(width, colour=colour, ascii_text=ascii_text)
    page.headline(words.headline(run))
    page.items([words.floor_line(run)])
    _areas(page, run)
    page.section("Placed against planned", words.volume_lines(run))
    _open(page, run)
    page.section("What changed", words.change_lines(run))
    page.section("What to do next", words.next_steps(run), numbered=True)
    page.section("How it was compared", words.how_lines(run))
    if files:
        page.section("Written", [f"{files[0].parent}: {', '.join(path.name for path in files)}"])
    return page.text()


def _areas(page: Page, run: ComparisonRun) -> None:
    areas = run.found.areas[:_MOST_AREAS]
    if not areas:
        return
    page.title("Planned areas")
    cells = [words.gap_cells(area) for area in areas]
    litres = said.unit("litres")
    columns = [
        Column(("", "Area"), [str(area.planned.number) for area in areas]),
        Column(("", "Now"), [words.verdict(area.verdict) for area in areas], left=True),
        Column(("Gap", "before"), [cell[1] for cell in cells]),
        Column(("", "now"), [cell[2] for cell in cells]),
        Column(("Placed", litres), [words.placed_cell(area).replace(f" {litres}", "") for area in areas]),
        Column(("Planned", litres), [wording.litres(a.planned.volume_l).replace(f" {litres}", "") for a in areas]),
    ]
    if not page.table(columns, [False] * len(areas)):
        page.items(
            [
                f"Area {area.planned.number} {words.verdict(area.verdict)}: gap {cell[2] or 'not seen'}, before "
                f"{cell[1] or 'not measured'}; placed {words.placed_cell(area)}, planned "
                f"{wording.litres(area.planned.volume_l)}"
                for area, cell in zip(areas, cells, strict=True)
            ]
        )
    more = len(run.found.areas) - len(areas)
    if more > 0:
        page.items([f"{more} more areas: see the files"])


def _open(page: Page, run: ComparisonRun) -> None:
    spots = run.found.open_spots
    if not spots:
        page.section("Still open", [words.NOTHING_OPEN, *words.untold_lines(run)])
        return
    page.title("Still open, worst first")
    for number, spot in enumerate(spots[:_MOST_OPEN], 1):
        lines = page.wrap(f"{words.verdict(spot.verdict)}: {words.open_line(spot)}", f"  {number}. ", "     ")
        page.add([page.ink(lines[0], VERDICT_INK.get(spot.verdict, PLAIN)), *lines[1:]])
    more = len(spots) - _MOST_OPEN
    if more > 0:
        page.items([f"{more} more, listed in open_spots.csv"])
    page.add(page.wrap(f"{places.FRAME_TEXT} of the result after the work.", "  ", "  "))
