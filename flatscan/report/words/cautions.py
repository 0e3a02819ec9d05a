"""The usual safety cautions, printed only where the suggested work calls for them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.judgement.readiness.asked import listed
from flatscan.judgement.readiness.old_covering import BARE
from flatscan.judgement.readiness.site_limits import site_limits
from flatscan.judgement.soundness import Soundness
from flatscan.report.words.joint_story import takes_down_lips

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.report import Report
    from flatscan.sources.survey.site import Heating, OldCoveringKind
    from flatscan.sources.survey.survey import Survey


@dataclass(frozen=True, slots=True)
class Caution:
    """``name`` is stable; ``title`` and ``text`` are for people."""

    name: str
    title: str
    text: str


#: Facts behind it: 29 CFR 1926.1153 table 1 (xi), (xii): shroud and collector, or water, for grinders.
SILICA = Caution(
    "silica",
    "Dust",
    "Grinding makes dust that can scar lungs for good. Use shroud and extraction or water, wear the right mask, "
    "keep others out.",
)
#: Facts behind it: HSE asbestos essentials A23; only a laboratory sample tells.
ASBESTOS = Caution(
    "asbestos",
    "Asbestos",
    "Old floor tiles and black glue may hold asbestos. Looks prove nothing. Have a sample tested before you cut, "
    "grind or lift. If in doubt, stop and call a licensed firm.",
)
#: Facts behind it: as above, and that sound tiles are usually left and covered.
ASBESTOS_FOUND = Caution(
    "asbestos_found",
    "Asbestos found",
    "Stop: a laboratory found asbestos in the old floor. Never grind, sand, scrape, break, lift or drill it. A "
    "licensed firm decides whether it is covered or taken out, and what stays is written down.",
)
ASBESTOS_NONE = Caution(
    "asbestos_none_found",
    "Asbestos",
    "A laboratory found none in the samples. Have what was not sampled tested too, such as another layer beneath.",
)
#: Facts behind it: black glue of a floor that is gone may hold it (HSE asbestos essentials).
ASBESTOS_BARE = Caution(
    "asbestos_glue",
    "Asbestos",
    "Old glue or paint left on the floor may hold asbestos. Have a sample tested before you grind or scrape it.",
)
HEATED = Caution(
    "heated_floor",
    "Heated floor",
    "If pipes or cables may lie in the floor, know how deep before you drill, grind or fix, and switch the heating "
    "off before compound goes on.",
)
#: Facts behind it: a trade's survey sheet (water that is not taken in within 60 to 90 s); the rest common practice.
DENSE = Caution(
    "dense_surface",
    "Dense surface",
    "Tiles take in no water, so compound does not hold on them by itself. Clean them, take off all grease, and roughen "
    "or prime as the product's data sheet says for dense surfaces. A drop of water that still stands after a minute "
    "tells one.",
)
#: As above, without what would set fibres free.
DENSE_FOUND = Caution(
    "dense_not_roughened",
    "Dense surface",
    "Do not roughen it. Clean and prime only as the licensed firm and the data sheet of a method that covers the old "
    "floor over allow.",
)
#: Facts behind it: trade rules say that a reliable reading through ceramic or stone is often impossible.
MOISTURE = Caution(
    "moisture",
    "Moisture first",
    "Old tiles hide moisture: a meter often cannot read through them. Have the base tested before compound or a new "
    "floor closes it off.",
)
MOISTURE_FOUND = Caution(
    "moisture_licensed",
    "Moisture first",
    "The base must be tested before compound or a new floor closes it off. A licensed firm takes the sample.",
)
MOISTURE_BARE = Caution(
    "moisture_bare",
    "Moisture first",
    "Have the base tested before compound or a new floor closes it off.",
)
_MOISTURE = (MOISTURE, MOISTURE_FOUND, MOISTURE_BARE)
#: Old floors that take in no water, or of which nobody knows.
_DENSE: tuple[OldCoveringKind | None, ...] = (None, "other", "ceramic_tile", "stone")
#: Common practice, no source.
SLIPS = Caution(
    "slips",
    "Slips and trips",
    "Fresh primer and compound are slippery, and the edge of a new level trips: close the room off and mark the edges.",
)
LIMITS = Caution("limits", "What comes first", "Local code, contract and product data sheet come before this report.")


def cautions_for(report: Report) -> tuple[Caution, ...]:
    """The cautions that the suggested work calls for, asbestos first; the last one always."""
    readiness = report.verdict.readiness
    dry = readiness is not None and readiness.named("dry").word == "met"
    found = _called_for(_work(report), report.verdict.answer.code, report.survey)
    return tuple(caution for caution in found if not (dry and caution in _MOISTURE))


def cautions_of(
    plan: LevellingPlan, answer: AnswerCode, bad_taps: Sequence[object], survey: Survey | None = None
) -> tuple[Caution, ...]:
    """The same for a plan by itself; ``bad_taps``: the places that sounded hollow or loose."""
    work = plan.joint_work
    sound = Soundness.of(None, survey)
    told = _Work(
        plan,
        lifts=bool(bad_taps) or (sound is not None and sound.bad_count > 0) or _named_tiles(survey),
        lips_down=None if work is None else any(lip.word == "over" for lip in work.lips),
        joints_filled=work is not None and work.metres_to_fill() > 0.0,
    )
    return _called_for(told, answer, survey)


def disturbs_old_floor(report: Report) -> bool:
    """Whether the suggested work grinds, breaks or lifts the old floor, or drills into it for a moisture reading."""
    work, code = _work(report), report.verdict.answer.code
    return _dust(work, code) or work.lifts or work.drills


@dataclass(frozen=True, slots=True)
class _Work:
    """What the work does. ``lips_down``: lips are to be taken down; None: they were not judged.

    ``lifts``: tiles come out, hollow or loose ones or those that the survey names; ``drills``: the base is to be read.
    """

    plan: LevellingPlan
    lifts: bool
    lips_down: bool | None
    joints_filled: bool
    drills: bool = False


def _work(report: Report) -> _Work:
    tally = report.verdict.joint_tally
    sound = Soundness.of(report.field, report.survey)
    readiness = report.verdict.readiness
    return _Work(
        report.plan,
        lifts=(sound is not None and sound.bad_count > 0) or _named_tiles(report.survey),
        lips_down=takes_down_lips(report),
        joints_filled=tally is not None and tally.fill_m > 0.0,
        drills=readiness is not None and readiness.named("dry").word in ("not_met", "open"),
    )


def _named_tiles(survey: Survey | None) -> bool:
    """Whether the survey file says of some tiles that they come out."""
    return survey is not None and any(zone.kind == "remove_tiles" for zone in survey.zones)


def bare(survey: Survey | None) -> bool:
    """Whether the survey says that no covering lies on the base."""
    return survey is not None and survey.site.old.kind in BARE


def _called_for(work: _Work, answer: AnswerCode, survey: Survey | None) -> tuple[Caution, ...]:
    stopped = survey is not None and survey.site.old.asbestos == "found"
    # Where asbestos was found nothing is ground, lifted or drilled.
    dust, fills = _dust(work, answer) and not stopped, _fills(work.plan, answer)
    touched = dust or fills or work.joints_filled or ((work.lifts or work.drills) and not stopped)
    found = [*_asbestos(survey, touched=touched, dust=dust)]
    if dust:
        found.append(SILICA)
    if touched:
        found += _heated(None if survey is None else survey.site.heating)
        found += _not_to_grind(survey)
    if fills:
        found += _beneath_compound(survey, stopped=stopped)
    if fills or work.joints_filled:
        found.append(SLIPS)
    return (*found, LIMITS)


def _asbestos(survey: Survey | None, *, touched: bool, dust: bool) -> list[Caution]:
    """What the laboratory said; where it found some that is told whatever the work."""
    test = None if survey is None else survey.site.old.asbestos
    if test == "found":
        return [ASBESTOS_FOUND]
    if not touched:
        return []
    if test == "none_found":
        return [ASBESTOS_NONE]
    if bare(survey):
        return [ASBESTOS_BARE] if dust else []
    return [ASBESTOS]


def _beneath_compound(survey: Survey | None, *, stopped: bool) -> list[Caution]:
    """What compound needs of the floor that it goes on: a surface that holds it, and a base that is dry."""
    dense = survey is None or survey.site.old.kind in _DENSE
    found = [DENSE_FOUND if stopped else DENSE] if dense else []
    return [*found, MOISTURE_FOUND if stopped else MOISTURE_BARE if bare(survey) else MOISTURE]


def _not_to_grind(survey: Survey | None) -> list[Caution]:
    """The survey's places that may not be ground, by name: what lies there is told even where no heating does."""
    names = [] if survey is None else [f"'{zone.name}'" for zone in survey.zones if zone.kind == "no_grind"]
    if not names:
        return []
    text = (
        f"The survey names where nothing may be ground: {listed(names)}. Mark it on the floor first, and do not drill."
    )
    return [Caution("no_grinding", "No grinding", text)]


def _heated(heating: Heating | None) -> list[Caution]:
    """None where it is known that there is no heating; its depth where that was recorded."""
    if heating is None or heating.kind in (None, "unknown"):
        return [HEATED]
    if heating.kind == "none":
        return []
    what = "Water pipes" if heating.kind == "water" else "Electric cables"
    text = f"{what} lie in this floor. Find out how deep before you drill, grind or fix"
    if heating.cover_mm is not None:
        rule = site_limits().rule("pipe_cover_least")
        thin = heating.kind == "water" and heating.cover_mm < rule.figure
        few = (
            f", less than the {said.length(rule.figure)} asked over pipes: do not drill or grind there" if thin else ""
        )
        text = (
            f"{what} lie {said.length(heating.cover_mm)} deep as recorded{few}. Make sure of it before you drill or fix"
        )
    return [Caution("floor_is_heated", "Heated floor", f"{text}, and switch the heating off before compound goes on.")]


def _dust(work: _Work, answer: AnswerCode) -> bool:
    """Lips come down, or the planned way grinds or breaks tiles out."""
    lips = work.lips_down or (work.lips_down is None and answer == "fill_joints_and_lips")
    return lips or _grinds(work.plan)


def _grinds(plan: LevellingPlan) -> bool:
    """The planned way makes dust: it grinds, or breaks tiles out."""
    if plan.chosen == "lift_tiles" or any("grind" in area.action.lower() for area in plan.areas):
        return True
    return any(method.ground_l > 0.0 or method.lifted_m2 > 0.0 for method in plan.methods if method.name == plan.chosen)


def _fills(plan: LevellingPlan, answer: AnswerCode) -> bool:
    """Compound goes over the floor, or may have to; a floor to be laid over as it is needs none."""
    if plan.chosen is None:
        return answer != "lay_as_is" and any(method.bags > 0 for method in plan.methods)
    chosen = (method for method in plan.methods if method.name == plan.chosen)
    return any(max(method.bags, method.buy) > 0 for method in chosen)
