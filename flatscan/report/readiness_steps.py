"""What readiness adds to the steps: asbestos before all else, then what is not in order, at last what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import listed
from flatscan.judgement.readiness.old_covering import STOP, TEST_FIRST
from flatscan.judgement.readiness.telling import missing_matters
from flatscan.judgement.soundness import MOST_HOLLOW_SHARE, Soundness
from flatscan.report import field_words
from flatscan.report.cautions import disturbs_old_floor

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import ConditionName
    from flatscan.report.report import Report

#: What is settled before compound or anything else goes on, and what the day of laying asks for.
_BEFORE_WORK: tuple[ConditionName, ...] = ("sound", "crack_free", "dry", "clean", "movement_joints")
_BEFORE_LAYING: tuple[ConditionName, ...] = ("heating", "climate", "acclimatised")
_LAY = "Lay the new floor as its data sheet says, and keep this record"


def found_asbestos(report: Report) -> bool:
    """Then no step may disturb the old floor."""
    return report.survey is not None and report.survey.site.old.asbestos == "found"


def asbestos_step(report: Report) -> list[str]:
    """The first step of all: stop where asbestos was found, test where the work would disturb what nobody tested."""
    test = None if report.survey is None else report.survey.site.old.asbestos
    if found_asbestos(report):
        plan = ". Grinding, breaking and lifting in the plan are not for this floor: plan with a way that only fills"
        return [f"Stop. {STOP}{plan if disturbs_old_floor(report) else ''}"]
    if test != "none_found" and disturbs_old_floor(report):
        return [f"Asbestos first: {TEST_FIRST[0].lower()}{TEST_FIRST[1:]}"]
    return []


def before_work(report: Report) -> list[str]:
    """What is not in order and what is not settled of the old floor; hollow places and cracks first.

    Where asbestos was found no tile is taken out: what is hollow waits for the licensed firm.
    """
    if found_asbestos(report):
        return _steps(report, tuple(name for name in _BEFORE_WORK if name != "sound"))
    told = field_words.soundness_step(report)
    sound, of_field = Soundness.of(report.field, report.survey), Soundness.of(report.field)
    if of_field is None or sound is None:
        return _steps(report, _BEFORE_WORK)
    # The field sheet's own step names places on the map, unless the whole covering has to come up.
    more = sound.bad_share is not None and sound.bad_share > MOST_HOLLOW_SHARE and bool(of_field.bad)
    said = {"sound"} if of_field.bad else set()
    said |= {"crack_free"} if of_field.cracks else set()
    rest = _steps(report, tuple(name for name in _BEFORE_WORK if name not in said))
    return [*(_steps(report, ("sound",)) + told[1:] if more else told), *rest]


def before_laying(report: Report) -> list[str]:
    """What the day of laying asks for, then what nobody recorded; for a floor that is ready, to lay."""
    steps = _steps(report, _BEFORE_LAYING)
    missing = missing_matters(report.verdict.readiness)
    what = "height" if field_words.by_hand(report.surface) else "scan"
    if missing:
        them = "it" if len(missing) == 1 else "them"
        steps.append(
            f"Before laying, check {listed(missing)} and write {them} into a survey file (flatscan survey new makes "
            f"one): no {what} shows {them}"
        )
    readiness = report.verdict.readiness
    return [*steps, _LAY] if readiness is not None and readiness.ready else steps


def _steps(report: Report, names: tuple[ConditionName, ...]) -> list[str]:
    readiness = report.verdict.readiness
    if readiness is None:
        return []
    waiting = [c for name in names if (c := readiness.named(name)).word in ("not_met", "open") and c.advice]
    return [f"{c.title}: {c.advice[0].lower()}{c.advice[1:]}" for c in waiting]
