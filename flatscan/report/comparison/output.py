"""What ``flatscan compare`` writes and prints."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from flatscan import new_folder
from flatscan.report.comparison.record_of import comparison_json
from flatscan.report.comparison.tables import open_spots_csv
from flatscan.report.comparison.terminal import summary
from flatscan.report.terminal.lines import wants_ascii, wants_colour, width_of
from flatscan.said import speaking

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.report.comparison.run import ComparisonRun

FILE_NAMES = ("comparison.html", "comparison.pdf", "difference.png", "open_spots.csv", "comparison.json")
_PART_OF = "a comparison"


def refuse_existing(folder: Path, *, force: bool) -> None:
    """Raise OutputError where ``write_comparison`` would: before the work, not after it."""
    new_folder.refuse_existing(folder, may_hold=FILE_NAMES, part_of=_PART_OF, force=force)


def write_comparison(run: ComparisonRun, out: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the comparison's folder, whole or not at all, and return its files; raises OutputError."""

    def write(folder: Path) -> None:
        with speaking(run.units):
            _write_files(run, folder)

    return new_folder.write_folder(out, write, may_hold=FILE_NAMES, part_of=_PART_OF, force=force)


def as_json(run: ComparisonRun) -> str:
    """What ``comparison.json`` holds."""
    with speaking(run.units):
        return comparison_json(run).decode().rstrip("\n")


def as_words(run: ComparisonRun, written: Sequence[Path] = ()) -> str:
    """The summary as fits standard output: coloured on a terminal, plain ASCII where it must be."""
    stream = sys.stdout
    with speaking(run.units):
        return summary(
            run, colour=wants_colour(stream), width=width_of(stream), ascii_text=wants_ascii(stream), files=written
        )


def _write_files(run: ComparisonRun, folder: Path) -> None:
    from flatscan.report.comparison.difference_map import difference_png
    from flatscan.report.comparison.page import page_html
    from flatscan.report.comparison.pdf import comparison_pdf

    picture = difference_png(run)
    (folder / "difference.png").write_bytes(picture)
    (folder / "comparison.html").write_text(page_html(run, picture), encoding="utf-8", newline="\n")
    (folder / "comparison.pdf").write_bytes(comparison_pdf(run, picture))
    (folder / "open_spots.csv").write_text(open_spots_csv(run), encoding="utf-8", newline="")
    (folder / "comparison.json").write_bytes(comparison_json(run))
