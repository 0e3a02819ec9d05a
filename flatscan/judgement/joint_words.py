"""Why a joint's figure is missing, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.judgement.limits import LimitKind

#: What was not said at a station because the limit set has no line for such a joint and tile.
NO_LIMIT = "no_limit"
_ANYWHERE = 0.995
_WHY: dict[str, str] = {
    "no_photo": "no photo shows them",
    "too_coarse": "seen too coarsely: go closer",
    "too_blurred": "narrower than the picture's blur",
    "shadow": "a shadow lies in them",
    "low_contrast": "tile and joint look alike",
    "steep_view": "seen too much from the side",
    "no_edges": "no clear tile edges seen",
    "too_few_heights": "too few heights on the tiles beside them",
    "smoothed": "the surface was smoothed by whoever made it",
    NO_LIMIT: "the limit set states none for such joints and tiles",
    "": "not measured",
}
#: Depths have their own words: hardly any sensor sees down into a joint.
_WHY_DEPTH = {
    "too_coarse": "no sensor here sees into the joints",
    "too_few_heights": "no sensor here sees into the joints",
    "no_photo": "no sensor here sees into the joints",
    "": "no sensor here sees into the joints",
}


def unseen_words(kind: LimitKind, mm_by_reason: Mapping[str, float], total_mm: float) -> str:
    """One sentence for what was not judged: how much of the joints' length, the chief reason, what to do.

    >>> unseen_words("joint_depth", {"too_coarse": 900.0}, 900.0)
    'no sensor here sees into the joints; read by hand'
    >>> unseen_words("lip", {"no_photo": 300.0, "": 10.0}, 1000.0)
    "not measured on 31 % of the joints' length, mostly because no photo shows them; read by hand"
    """
    reason = max(mm_by_reason, key=lambda name: mm_by_reason[name])
    table = _WHY | _WHY_DEPTH if kind == "joint_depth" else _WHY
    why = table.get(reason, reason)
    unseen_mm = sum(mm_by_reason.values())
    verb = "judged" if reason == NO_LIMIT else "measured"
    if unseen_mm >= _ANYWHERE * total_mm:
        return why if reason == NO_LIMIT else f"{why}; read by hand"
    because = "" if not reason and kind != "joint_depth" else f", mostly because {why}"
    percent = max(1.0, 100.0 * unseen_mm / total_mm)
    return f"not {verb} on {percent:.0f} % of the joints' length{because}; read by hand"
