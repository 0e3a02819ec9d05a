"""What ``flatscan level`` writes and prints."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from flatscan import new_folder
from flatscan.report.plan_files import PLAN_FILES, write_plan_files
from flatscan.report.result.levelling_file import levelling_json
from flatscan.report.terminal.levelling import levelling_lines
from flatscan.report.terminal.lines import wants_ascii, wants_colour, width_of
from flatscan.report.terminal.screen import plan_screen
from flatscan.report.words.cautions import cautions_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.replan import Replan
    from flatscan.report.words.cautions import Caution

FILE_NAMES = ("levelling.json", *PLAN_FILES)
_PART_OF = "a levelling plan"


def refuse_existing(folder: Path, *, force: bool) -> None:
    """Raise OutputError where ``write_plan`` would: before the work, not after it."""
    new_folder.refuse_existing(folder, may_hold=FILE_NAMES, part_of=_PART_OF, force=force)


def write_plan(found: Replan, out: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the plan's folder, whole or not at all, and return its files; raises OutputError."""

    def write(folder: Path) -> None:
        (folder / "levelling.json").write_bytes(_json(found))
        write_plan_files(
            found.plan,
            found.basis.surface,
            folder,
            survey=found.survey,
            doors_mm=found.basis.doors_mm,
            cautions=_cautions(found),
            paper=found.settings.paper,
        )

    return new_folder.write_folder(out, write, may_hold=FILE_NAMES, part_of=_PART_OF, force=force)


def as_json(found: Replan) -> str:
    """What ``levelling.json`` holds."""
    return _json(found).decode().rstrip("\n")


def as_words(found: Replan, written: Sequence[Path] = (), *, full: bool = False) -> str:
    """One screen of the plan, or the ``full`` text, as fits standard output: coloured, or plain ASCII where it must."""
    words = _full if full else plan_screen
    return words(
        found.plan,
        found.basis.answer,
        by_hand=found.basis.surface.kind == "readings",
        cautions=_cautions(found),
        files=written,
        width=width_of(sys.stdout),
        colour=wants_colour(sys.stdout),
        ascii_text=wants_ascii(sys.stdout),
    )


def _full(plan: LevellingPlan, code: AnswerCode, **how: Any) -> str:
    return "\n".join(levelling_lines(plan, code, **how))


def _json(found: Replan) -> bytes:
    return levelling_json(
        found.plan,
        from_sha256=found.from_sha256,
        answer=found.basis.answer,
        settings=found.settings,
        cautions=_cautions(found),
    )


def _cautions(found: Replan) -> tuple[Caution, ...]:
    return cautions_of(found.plan, found.basis.answer, found.basis.bad_taps, found.survey)
