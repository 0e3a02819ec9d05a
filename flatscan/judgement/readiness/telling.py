"""Readiness within the answer: what is to be settled first, what is still to be shown, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import listed

if TYPE_CHECKING:
    from flatscan.judgement.readiness.readiness import Condition, ConditionName, Readiness

#: What each condition calls the matter.
MATTER: dict[ConditionName, str] = {
    "flat": "flatness",
    "joints": "joints",
    "lips": "lips",
    "dry": "dryness",
    "sound": "soundness",
    "crack_free": "cracks",
    "clean": "cleanness",
    "climate": "room climate",
    "acclimatised": "acclimatising",
    "heating": "floor heating",
    "movement_joints": "movement joints",
    "old_covering": "asbestos",
}
#: What each condition shows of a floor.
SHOWN: dict[ConditionName, str] = {
    "flat": "flat",
    "joints": "joints within",
    "lips": "lips within",
    "dry": "dry",
    "sound": "sound",
    "crack_free": "free of moving cracks",
    "clean": "clean",
    "climate": "warm enough",
    "acclimatised": "acclimatised",
    "heating": "heating known and off",
    "movement_joints": "movement joints carried through",
    "old_covering": "tested for asbestos",
}
#: What must be shown before compound or anything else goes on the old floor; the others before laying.
BEFORE_WORK: tuple[ConditionName, ...] = ("old_covering", "dry", "sound", "crack_free", "clean")
#: Told by the findings.
MEASURED: tuple[ConditionName, ...] = ("flat", "joints", "lips")
#: Told with their places by ``soundness_reasons``.
_PLACED: tuple[ConditionName, ...] = ("sound", "crack_free")
_PLURAL = frozenset({"cracks", "joints", "lips", "movement joints"})
_MOST_FIRST, _MOST_SHOWN = 3, 4
#: How the line ends that names what nobody recorded.
MISSING_ENDS = "before any work"
#: How the lines begin that name what stands in the way.
NOT_IN_ORDER, NOT_SETTLED = "Not in order: ", "Not settled: "


def settle_first(readiness: Readiness, *, work: bool = False) -> list[str]:
    """What must be settled before anything is laid, asbestos before all else.

    A crack of which nobody knows whether it moves is among it: it was found, so it waits for a decision. Before
    ``work`` an old covering that nobody tested is too: work disturbs it.
    """
    found = [c for c in readiness.conditions if c.name not in MEASURED and _waits(c, work=work)]
    found.sort(key=lambda c: c.name != "old_covering")
    return [c.short or MATTER[c.name] for c in found]


def _waits(c: Condition, *, work: bool) -> bool:
    if c.name == "old_covering" and work:
        return bool(c.short)
    return c.word == "not_met" or (c.name == "crack_free" and c.word == "open")


def to_settle(readiness: Readiness) -> str:
    """What must be settled before anything is laid, in one phrase; "" for nothing."""
    return listed(settle_first(readiness), most=_MOST_FIRST)


def still_to_show(readiness: Readiness) -> str:
    """``dry, sound, clean and room climate``: what nobody has shown yet; "" for nothing."""
    return listed((SHOWN[c.name] for c in readiness.of("open", "not_recorded")), most=_MOST_SHOWN)


def readiness_reasons(readiness: Readiness) -> list[str]:
    """What was recorded and is not in order, what is not settled, and what is missing: a line each.

    What is asked, by whom, and what to do about it stands in the table of conditions. Taps and cracks that
    ``soundness_reasons`` tells with their places are not told again.
    """
    reasons = []
    for said, found in ((NOT_IN_ORDER, readiness.of("not_met")), (NOT_SETTLED, readiness.of("open"))):
        told = [c.short or MATTER[c.name] for c in found if _is_told_here(c)]
        reasons += [said + listed(told)] if told else []
    missing = not_recorded(readiness)
    return [*reasons, missing] if missing else reasons


def _is_told_here(c: Condition) -> bool:
    return c.name not in MEASURED and (c.name not in _PLACED or "pull-off" in c.recorded)


def not_recorded(readiness: Readiness | None) -> str:
    """What nobody wrote down and no height shows; always the last reason. "" where all is written down.

    None is a verdict that was not asked for readiness: nothing is.
    """
    names = missing_matters(readiness)
    if not names:
        return ""
    named, one = listed(names), len(names) == 1 and names[0] not in _PLURAL
    check = "is not recorded: check it" if one else "are not recorded: check them"
    return f"{named[0].upper()}{named[1:]} {check} {MISSING_ENDS}"


def missing_matters(readiness: Readiness | None) -> list[str]:
    """What nobody recorded, the measured conditions apart; None: nothing was."""
    missing = MATTER if readiness is None else [c.name for c in readiness.of("not_recorded")]
    return [MATTER[name] for name in missing if name not in MEASURED]
