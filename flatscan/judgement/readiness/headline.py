"""The answer's first sentence with the other conditions: what stops the work, what comes first, what is not shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.judgement.readiness.asked import listed
from flatscan.judgement.readiness.telling import BEFORE_WORK, MEASURED, SHOWN, settle_first

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.readiness.readiness import Condition, Readiness
    from flatscan.judgement.verdict import AnswerCode

#: A headline is read at one glance: letters.
MOST_LETTERS = 160
#: Answers that ask for work on the old floor.
WORK: tuple[AnswerCode, ...] = ("level_areas", "level_all", "fill_joints_and_lips")
FOUND = "Stop: asbestos was found in the old floor; a licensed firm decides first"
#: What was measured, where the headline is a stop and asks for no work.
_MEASURED: dict[AnswerCode, str] = {
    "lay_as_is": "flat enough",
    "fill_joints_and_lips": "flat enough, but joints or lips are over the limit",
    "level_areas": "areas are over the limit",
    "level_all": "most of the floor is over the limit",
    "not_decided": "not decided yet",
}
#: So many are named where there is room, then fewer.
_MOST_NAMED = 4


def with_conditions(
    code: AnswerCode, text: str, readiness: Readiness | None, *, room: int = MOST_LETTERS
) -> tuple[AnswerCode, str]:
    """The answer with the other conditions: never that all is well while one is not in order or was not shown.

    Found asbestos is the first clause whatever was measured; the code stays that of the measurement, for a plan then
    only covers the floor. Before work, what stands in the way comes first, an old covering that nobody tested before
    all else. ``room``: the most letters.
    """
    if readiness is None:
        if code != "lay_as_is" and code not in WORK:
            return code, text
        return code, f"{_flat(code, text)}; before {_when(code, ())}, still to be shown: everything else"
    first = settle_first(readiness, work=code in WORK)
    if readiness.named("old_covering").word == "not_met":
        told = f"{FOUND}. Measured: {_MEASURED[code]}"
        rest = [name for name in first if not name.startswith("asbestos")]
        more = _fitting(told, "; also settle ", rest, room)
        more = more if len(more) <= room else f"{told}; also settle {len(rest)} more"
        return "not_decided" if code == "lay_as_is" else code, more
    found = [name for name in first if not name.startswith("asbestos")]
    if first and (found or code not in WORK):
        told = _fitting(_flat("lay_as_is" if code == "lay_as_is" else code, text), "; first settle ", first, room, 3)
        left = _unshown(readiness, code) if code in WORK else []
        told_of = ("old_covering", "crack_free") if readiness.named("crack_free").word == "open" else ("old_covering",)
        more = _fitting(told, "; still to be shown: ", [SHOWN[c.name] for c in left if c.name not in told_of], room)
        return "not_decided" if code == "lay_as_is" else code, more if len(more) <= room else told
    if (code == "lay_as_is" or code in WORK) and not readiness.ready:
        unshown = _unshown(readiness, code)
        if unshown:
            before = f"; before {_when(code, unshown)}, still to be shown: "
            return code, _fitting(_flat(code, text), before, [SHOWN[c.name] for c in unshown], room)
    return code, text


def _flat(code: AnswerCode, text: str) -> str:
    return "Flat enough" if code == "lay_as_is" else text


def _when(code: AnswerCode, unshown: Sequence[Condition]) -> str:
    """Before the work where any of it bears on the work."""
    early = not unshown or any(c.name in BEFORE_WORK for c in unshown)
    return "any work" if code in WORK and early else "laying"


def _unshown(readiness: Readiness, code: AnswerCode) -> list[Condition]:
    """What nobody has shown, before work what bears on it first; of a bare floor no test for asbestos then."""
    found = readiness.of("open", "not_recorded")
    if code not in WORK:
        return list(found)
    others = [c for c in found if c.name not in MEASURED and (c.name != "old_covering" or c.short)]
    return sorted(others, key=lambda c: (c.name != "old_covering", c.name not in BEFORE_WORK))


def _fitting(text: str, said: str, names: Sequence[str], room: int, most: int = _MOST_NAMED) -> str:
    """The text with as many of the names as there is room for, at least one."""
    if not names:
        return text
    told = [f"{text}{said}{listed(names, most=number)}" for number in range(most, 0, -1)]
    return next((one for one in told if len(one) <= room), told[-1])
