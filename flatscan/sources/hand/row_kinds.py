"""What a row of a readings table says was read, and whether anything was."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Literal, get_args

from flatscan.sources.hand.hand_reading import HandWhat
from flatscan.sources.levels.levels_columns import UNREAD

if TYPE_CHECKING:
    from flatscan.sources.hand.cells import Cells

ShapeWhat = Literal["straightedge", "hump", "free_end", "staff", "height"]
OtherWhat = Literal["step", "tap", "crack"]
RowWhat = HandWhat | ShapeWhat | OtherWhat

#: What a sheet lists with its places beforehand; the floor's shape comes from these.
PLANNED_KINDS = frozenset({"straightedge", "staff", "height"})
KINDS: tuple[RowWhat, ...] = (*get_args(HandWhat), *get_args(ShapeWhat), *get_args(OtherWhat))
_OTHER_WORDS: dict[str, RowWhat] = {
    "width": "joint_width",
    "depth": "joint_depth",
    "straight_edge": "straightedge",
    "rod": "staff",
}
_SIGNLESS = {"level", "levels", "reading", "elevation"}


def what_of(cells: Cells) -> RowWhat:
    """The kind of a row; raises InputError for an unknown word, and for one that leaves the sign open."""
    text = cells.text("what")
    word = text.lower().replace(" ", "_").replace("-", "_")
    for kind in KINDS:
        if word == kind:
            return kind
    if word in _OTHER_WORDS:
        return _OTHER_WORDS[word]
    if word in _SIGNLESS:
        what = f"{text!r} does not say whether it grows as the floor rises or as it falls"
        raise cells.wrong("what", what, "Write height (grows as the floor rises) or staff (grows as it falls)")
    near = difflib.get_close_matches(word, KINDS, n=1)
    advice = f"Did you mean {near[0]}?" if near else f"Write one of {', '.join(KINDS)}"
    raise cells.wrong("what", f"{text!r} is not a thing that is read", advice)


def is_filled(cells: Cells) -> bool:
    """Whether a row holds a reading; a sheet lists its places beforehand, and not all are read."""
    word = cells.text("what").lower()
    if word in ("step", "crack"):
        return cells.is_read("x")
    return cells.is_read("value") or any(cells.cell(c).lower() not in UNREAD for _, c in cells.columns.stations)
