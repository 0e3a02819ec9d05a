"""The usual safety cautions, printed only where the suggested work calls for them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.soundness import Soundness
from flatscan.report.joint_story import takes_down_lips

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import AnswerCode
    from flatscan.levelling.plan import LevellingPlan
    from flatscan.report.report import Report


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
#: Facts behind it: trade rules say that a reliable reading through ceramic or stone is often impossible.
MOISTURE = Caution(
    "moisture",
    "Moisture first",
    "Old tiles hide moisture: a meter often cannot read through them. Have the base tested before compound or a new "
    "floor closes it off.",
)
#: Common practice, no source.
SLIPS = Caution(
    "slips",
    "Slips and trips",
    "Fresh primer and compound are slippery, and the edge of a new level trips: close the room off and mark the edges.",
)
LIMITS = Caution("limits", "What comes first", "Local code, contract and product data sheet come before this report.")


def cautions_for(report: Report) -> tuple[Caution, ...]:
    """The cautions that the suggested work calls for; the last one always."""
    tally = report.verdict.joint_tally
    sound = Soundness.of(report.field)
    return _called_for(
        report.plan,
        report.verdict.answer.code,
        bad_taps=sound is not None and bool(sound.bad),
        lips_down=takes_down_lips(report),
        joints_filled=tally is not None and tally.fill_m > 0.0,
    )


def cautions_of(plan: LevellingPlan, answer: AnswerCode, bad_taps: Sequence[object]) -> tuple[Caution, ...]:
    """The same for a plan by itself; ``bad_taps``: the places that sounded hollow or loose."""
    work = plan.joint_work
    return _called_for(
        plan,
        answer,
        bad_taps=bool(bad_taps),
        lips_down=None if work is None else any(lip.word == "over" for lip in work.lips),
        joints_filled=work is not None and work.metres_to_fill() > 0.0,
    )


def _called_for(
    plan: LevellingPlan, answer: AnswerCode, *, bad_taps: bool, lips_down: bool | None, joints_filled: bool
) -> tuple[Caution, ...]:
    """``lips_down``: lips are to be taken down; None: they were not judged."""
    lips = lips_down or (lips_down is None and answer == "fill_joints_and_lips")
    dust = lips or _grinds(plan)
    fills = _fills(plan, answer)
    found = [SILICA] if dust else []
    if dust or fills or joints_filled or bad_taps:
        found += [ASBESTOS, HEATED]
    if fills:
        found += [DENSE, MOISTURE]
    if fills or joints_filled:
        found.append(SLIPS)
    return (*found, LIMITS)


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
