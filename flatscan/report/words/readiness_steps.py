"""What readiness adds to the steps: asbestos before all else, what must be known before work, then before laying."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import listed
from flatscan.judgement.readiness.old_covering import STOP, TEST_FIRST, TEST_GLUE
from flatscan.judgement.readiness.telling import MATTER, MEASURED
from flatscan.judgement.soundness import MOST_HOLLOW_SHARE, Soundness
from flatscan.report.words import field_words
from flatscan.report.words.cautions import bare, disturbs_old_floor
from flatscan.said import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.judgement.readiness.readiness import Condition, ConditionName
    from flatscan.report.report import Report

#: What is settled before compound or anything else goes on, and what the day of laying asks for.
_BEFORE_WORK: tuple[ConditionName, ...] = ("sound", "crack_free", "dry", "clean")
_BEFORE_LAYING: tuple[ConditionName, ...] = ("movement_joints", "heating", "climate", "acclimatised")
_LAY = "Lay the new floor as its data sheet says, and keep this record"
#: What nobody recorded and must be known before any work, as it is to be found.
_TO_FIND: Mapping[ConditionName, str] = {
    "dry": "dry",
    "sound": "sound",
    "crack_free": "free of moving cracks",
    "clean": "clean",
}
#: What a step is about, where the condition's title would read like a finding.
_HEADS: Mapping[ConditionName, str] = {
    "dry": "Moisture",
    "sound": "Soundness",
    "crack_free": "Cracks",
    "clean": "Cleaning",
    "acclimatised": "Acclimatising",
}
_FILE = "(flatscan survey new makes the file)"


def found_asbestos(report: Report) -> bool:
    """Then no step may disturb the old floor."""
    return report.survey is not None and report.survey.site.old.asbestos == "found"


def asbestos_step(report: Report) -> list[str]:
    """The first step of all: stop where asbestos was found, test where the work would disturb what nobody tested."""
    if found_asbestos(report):
        return [f"Stop. {STOP}"]
    if not _untested(report) or not disturbs_old_floor(report):
        return []
    if bare(report.survey):
        return [f"Asbestos first: {TEST_GLUE[0].lower()}{TEST_GLUE[1:]}"]
    return [f"Asbestos first: {TEST_FIRST[0].lower()}{TEST_FIRST[1:]}"]


def before_work(report: Report) -> list[str]:
    """What nobody recorded of the old floor, then what is not in order and not settled; hollow places, cracks first.

    Where asbestos was found no tile is taken out: what is hollow waits for the licensed firm.
    """
    to_check = _check_first(report)
    if found_asbestos(report):
        return [*to_check, *_stays(report), *_steps(report, tuple(name for name in _BEFORE_WORK if name != "sound"))]
    told = field_words.soundness_step(report)
    sound, of_field = Soundness.of(report.field, report.survey), Soundness.of(report.field)
    if of_field is None or sound is None:
        return [*to_check, *_steps(report, _BEFORE_WORK)]
    # The field sheet's own step names places on the map, unless the whole covering has to come up.
    more = sound.bad_share is not None and sound.bad_share > MOST_HOLLOW_SHARE and bool(of_field.bad)
    said = {"sound"} if of_field.bad else set()
    said |= {"crack_free"} if of_field.cracks else set()
    rest = _steps(report, tuple(name for name in _BEFORE_WORK if name not in said))
    return [*to_check, *(_steps(report, ("sound",)) + told[1:] if more else told), *rest]


def before_laying(report: Report) -> list[str]:
    """What the day of laying asks for, then what nobody recorded of it; for a floor that is ready, to lay."""
    steps = _steps(report, _BEFORE_LAYING)
    names = [name for name in _missing(report) if name in _BEFORE_LAYING]
    missing = [MATTER[name] for name in names]
    if missing:
        them = "it" if len(missing) == 1 and names[0] != "movement_joints" else "them"
        steps.append(
            f"Before laying, check {listed(missing)} and write {them} down {_FILE}: no {_what(report)} shows {them}"
        )
    readiness = report.verdict.readiness
    return [*steps, _LAY] if readiness is not None and readiness.ready else steps


def _check_first(report: Report) -> list[str]:
    """What nobody recorded and compound would hide or the work would disturb: the first thing on site."""
    missing = _missing(report)
    names = [_TO_FIND[name] for name in missing if name in _TO_FIND]
    tested = "old_covering" in missing and not bare(report.survey) and not asbestos_step(report)
    parts = [f"check and record that the floor is {listed(names)}"] if names else []
    parts += ["have the old covering tested for asbestos"] if tested else []
    if not parts:
        return []
    when = "laying" if report.verdict.answer.code == "lay_as_is" else "any work"
    return [f"Before {when}, {', and '.join(parts)} {_FILE}: no {_what(report)} shows it"]


def _stays(report: Report) -> list[str]:
    """Tiles that sound bad where nothing may be taken out."""
    sound = Soundness.of(report.field, report.survey)
    if sound is None or not sound.bad_count:
        return []
    tiles = counted(sound.bad_count, "tile")
    return [f"Hollow tiles: leave the {tiles} that sound hollow or loose where they are: they wait for a licensed firm"]


def _what(report: Report) -> str:
    return "height" if field_words.by_hand(report.surface) else "scan"


def _untested(report: Report) -> bool:
    return report.survey is None or report.survey.site.old.asbestos in (None, "not_tested")


def _missing(report: Report) -> list[ConditionName]:
    """What nobody recorded, the measured conditions apart; without readiness nothing was."""
    readiness = report.verdict.readiness
    return [
        name
        for name in MATTER
        if name not in MEASURED and (readiness is None or readiness.named(name).word == "not_recorded")
    ]


def _steps(report: Report, names: tuple[ConditionName, ...]) -> list[str]:
    readiness = report.verdict.readiness
    if readiness is None:
        return []
    waiting = [c for name in names if (c := readiness.named(name)).word in ("not_met", "open") and c.advice]
    return [f"{_head(report, c)}: {c.advice[0].lower()}{c.advice[1:]}" for c in waiting]


def _head(report: Report, c: Condition) -> str:
    """The matter that a step is about: the title of a condition says what is asked, which is no finding."""
    sound = Soundness.of(report.field, report.survey)
    if c.name == "crack_free" and sound is not None:
        name = sound.seen_cracks[0].name if len(sound.seen_cracks) == sound.crack_count == 1 else ""
        return f"{name[0].upper()}{name[1:]}" if name else "Crack" if sound.crack_count == 1 else "Cracks"
    if c.name == "sound" and sound is not None and sound.bad_count and "pull-off" not in c.recorded:
        return "Hollow places" if bare(report.survey) else "Hollow tiles"
    return _HEADS.get(c.name, c.title)
