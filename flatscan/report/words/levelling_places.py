"""Where the levelling work lies, in words: joints to fill, lips, dams, pours and areas from two walls."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.quantity import Quantity
from flatscan.report.words import joint_wording, places, wording

if TYPE_CHECKING:
    from flatscan.levelling.joints.joint_work import JointWork, LipDown
    from flatscan.levelling.plan import Area, Dam, MarkedOut, Pour

_UNDECIDED = " (not decided)"


def joint_lines(work: JointWork | None) -> list[str]:
    """Metres and litres of joint to fill, and how many lips come down; nothing where none is over or may be."""
    if work is None:
        return []
    lines = []
    sure, open_m = work.metres_to_fill("over"), work.metres_to_fill("not_decided")
    if sure > 0.0:
        more = f"; up to {_m(open_m)} more is not decided" if open_m > 0.0 else ""
        lines.append(f"Fill {_m(sure)} of joint: {_litres(work, 'over')}{more}")
    elif open_m > 0.0:
        lines.append(f"Up to {_m(open_m)} of joint may have to be filled, not decided: {_litres(work, 'not_decided')}")
    down = [lip for lip in work.lips if lip.word == "over"]
    undecided = len(work.lips) - len(down)
    if down:
        more = f"; {undecided} more {'is' if undecided == 1 else 'are'} not decided" if undecided else ""
        lines.append(f"Take down {said.counted(len(down), 'lip')}, the worst {_size(down[0].lip)}{more}")
    elif undecided:
        lines.append(f"{said.counted(undecided, 'lip')} may be over the limit, not decided")
    if lines and work.unmeasured_m > 0.0:
        lines.append(f"{_m(work.unmeasured_m)} of joint could not be measured and is not in these figures")
    return lines


def lip_line(lip: LipDown) -> str:
    """One lip: how high, which side comes down, where."""
    (x0, y0), (x1, y1) = lip.at, lip.high_at
    high = places.heading(float(np.arctan2(y1 - y0, x1 - x0)))
    return (
        f"{lip.joint}: {_size(lip.lip)}, limit {wording.length(lip.limit_mm)}, "
        f"over {said.run(lip.length_mm)}, {places.point(lip.at)}; high side: {high}"
        f"{_UNDECIDED if lip.word == 'not_decided' else ''}"
    )


def dam_line(dam: Dam) -> str:
    """Where a pour is stopped."""
    length_mm = float(np.hypot(*np.diff(dam.line, axis=0).T).sum())
    start, end = (said.pair((float(x), float(y))) for x, y in (dam.line[0], dam.line[-1]))
    unit = "" if said.imperial() else " m"
    return (
        f"Dam {dam.where}: {said.run(length_mm)} long, from {start} to {end}{unit} from the left and the "
        f"bottom wall, at least {said.thickness(dam.height_mm, 0)} above the old floor"
    )


def pour_line(number: int, pour: Pour) -> str:
    """One region that is poured level."""
    (x0, y0), (x1, y1) = pour.rings[0].min(axis=0).tolist(), pour.rings[0].max(axis=0).tolist()
    return (
        f"Pour {number}: {wording.area(pour.area_m2)}, {said.volume(pour.volume_l)}, level "
        f"{said.thickness(pour.level_mm)} above the lowest place in it; it lies {places.box((x0, y0), (x1, y1))}"
    )


def area_place(area: Area) -> str:
    """Where an area lies: from two walls where they are known, else from the corner marked 0."""
    if area.marked is None:
        (x0, y0), (x1, y1) = area.rings[0].min(axis=0).tolist(), area.rings[0].max(axis=0).tolist()
        return places.box((x0, y0), (x1, y1))
    outer = area.marked.from_mm[0]
    ranges = [
        f"{said.tapes(float(low), float(high), between=' to ')} from wall W{wall.number}"
        for wall, low, high in zip(area.marked.walls, outer.min(axis=0), outer.max(axis=0), strict=True)
    ]
    return ", ".join(ranges)


def corner_lines(marked: MarkedOut) -> list[str]:
    """The corners of an area's outline and holes, lettered as on the drawings, and the length to check them by."""
    from flatscan.report.marking.data import letter

    first, second = (f"W{wall.number}" for wall in marked.walls)
    lines = []
    letters = (letter(index) for index in itertools.count())
    for index, ring in enumerate(marked.from_mm):
        name = "Outline" if index == 0 else f"Hole {index}, left as it is"
        pairs = "; ".join(
            f"{name_of} {said.marks(float(a))}, {said.marks(float(b))}"
            for (a, b), name_of in zip(ring, letters, strict=False)
        )
        lines.append(f"{name}, {said.tape_unit()} from {first} and {second}: {pairs}")
    return [
        *lines,
        f"To check: the two corners furthest apart are {said.tape(marked.check_mm, fine=True)} from each other",
    ]


def _litres(work: JointWork, word: str) -> str:
    fills = [fill for fill in work.fills if fill.word == word]
    # Joints of one floor share the unknowns of one capture, so their doubts add up and do not average out.
    value, u = sum(fill.volume.value for fill in fills), sum(fill.volume.u for fill in fills)
    total = Quantity(value, u, "l")
    guessed = ", in part guessed" if any(fill.guessed for fill in fills) else ""
    return f"{wording.litres(total)}{guessed}"


def _size(lip: Quantity) -> str:
    return wording.size(joint_wording.unsigned(lip))


def _m(length_m: float) -> str:
    return said.run(length_m * MM_PER_M)
