"""The usual safety cautions, printed only where the suggested work calls for them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flatscan.judgement.soundness import Soundness
from flatscan.report.joint_story import takes_down_lips

if TYPE_CHECKING:
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
#: Common practice, no source.
SLIPS = Caution(
    "slips",
    "Slips and trips",
    "Fresh primer and compound are slippery, and the edge of a new level trips: close the room off and mark the edges.",
)
LIMITS = Caution("limits", "What comes first", "Local code, contract and product data sheet come before this report.")


def cautions_for(report: Report) -> tuple[Caution, ...]:
    """The cautions that the suggested work calls for; the last one always."""
    grinds = _grinds(report)
    tally = report.verdict.joint_tally
    fills = any(method.bags > 0 for method in report.plan.methods) or (tally is not None and tally.fill_m > 0.0)
    found = []
    if grinds:
        found.append(SILICA)
    sound = Soundness.of(report.field)
    if grinds or fills or (sound is not None and sound.bad):
        found += [ASBESTOS, HEATED]
    if fills:
        found.append(SLIPS)
    return (*found, LIMITS)


def _grinds(report: Report) -> bool:
    lips = takes_down_lips(report)
    if lips or (lips is None and report.verdict.answer.code == "fill_joints_and_lips"):
        return True
    by_area = any("grind" in area.action.lower() for area in report.plan.areas)
    return by_area or any(method.name == "grind_and_patch" for method in report.plan.methods)
