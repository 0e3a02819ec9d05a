"""What the report says of joints and lips as a whole, sentence by sentence; empty where they were not looked for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M
from flatscan.report.words import field_words, joint_wording, wording

if TYPE_CHECKING:
    from flatscan.judgement.verdict import JointShares, JointTally
    from flatscan.report.report import Report
    from flatscan.report.words.joint_words import JointKind

_SPOTS = {"gap": "gaps", "lip": "lips", "joint_width": "joint widths", "joint_depth": "joint depths"}
#: Less joint than this is sooner read by hand, m.
_LITTLE_M = 1.0


def joint_lines(report: Report) -> list[str]:
    """What was found, then how it stands against each limit: one sentence each."""
    joints, tally = report.measurement.joints, report.verdict.joint_tally
    if joints is None:
        return []
    if not joints.network.pieces:
        return [joints.network.how]
    told = [found_line(report), *(_tally_lines(report, tally) if tally is not None else []), faces_line(report)]
    return [line for line in told if line]


def faces_line(report: Report) -> str:
    """The tiles' own shape, apart from lips: the surest steep one and bowed one; empty where none was resolved."""
    joints = report.measurement.joints
    if joints is None or not joints.faces:
        return ""
    parts = []
    for name, figures in (
        ("steepest", [face.tilt for face in joints.faces]),
        ("most bowed", [face.warp for face in joints.faces]),
    ):
        known = [q for q in figures if q is not None]
        surest = max(known, key=lambda q: abs(q.value) - _surely_u(len(known)) * q.u, default=None)
        if surest is not None and abs(surest.value) > _surely_u(len(known)) * surest.u:
            parts.append(f"{name} {wording.quantity(surest)}")
    if not parts:
        return ""
    return f"Tiles by themselves, lips apart: {', '.join(parts)} ({len(joints.faces)} tiles looked at)"


def _surely_u(tiles: int) -> float:
    """So many u the worst of this many flat tiles exceeds in one floor of twenty at most.

    A tilt has two directions, so the noise of its size is Rayleigh: P(size > k u) = exp(-k²/2); for so many tiles at
    most as many times that (Bonferroni). A bow has one direction and stays below it.
    """
    return math.sqrt(2.0 * math.log(max(tiles, 1) / 0.05))


def found_line(report: Report) -> str:
    """How much joint was found, in what, and the tile it belongs to; empty where none was looked for."""
    joints = report.measurement.joints
    if joints is None:
        return ""
    network = joints.network
    told = f"Joints: {said.run(network.length_mm)} found in {joint_wording.FOUND_IN_TEXT[network.found_in]}"
    if network.format is None:
        return f"{told}; no one size of tile stands out"
    return f"{told}; {joint_wording.tiles(network.format)}"


def work_step(report: Report) -> str:
    """The work that joints and lips ask for, as an order; empty where none is sure."""
    tally = report.verdict.joint_tally
    if tally is None:
        return ""
    orders = []
    if tally.fill_m > 0.0:
        more = f" (up to {_m(tally.fill_undecided_m)} more is not decided)" if tally.fill_undecided_m > 0.0 else ""
        orders.append(f"fill {_m(tally.fill_m)} of joint{more}")
    if tally.lips_over > 0:
        more = f" ({tally.lips_undecided} more are not decided)" if tally.lips_undecided > 0 else ""
        orders.append(f"take down {said.counted(tally.lips_over, 'lip')}{more}")
    if not orders:
        return ""
    told = ", then ".join(reversed(orders))
    # Where areas are levelled too, that step ends with measuring again.
    again = ". Then measure again" if report.verdict.answer.code == "fill_joints_and_lips" else ""
    return f"{told[0].upper()}{told[1:]}. Places: joints.csv{again}"


def edge_step(report: Report) -> list[str]:
    """The cheapest way to decide widths: what the edges are like; none where it is known or would decide little."""
    tally = report.verdict.joint_tally
    if tally is None or tally.width is None or report.settings.joints.tile_edge_mm is not None:
        return []
    open_m = tally.width.not_decided * tally.length_m
    if open_m < _LITTLE_M:
        return []
    look = "Look how far a tile's edge is rounded and check again with --tile-edge (0 for sharp edges)"
    return [f"{look}: {_m(open_m)} of joint cannot be decided in width without it"]


def takes_down_lips(report: Report) -> bool | None:
    """Whether lips are over, by the capture or by hand; None where they were not judged."""
    if any(f.what == "lip" and f.verdict == "over" and f.joint is None for f in report.verdict.findings):
        return True  # read by hand, where no joint was found
    tally = report.verdict.joint_tally
    return None if tally is None or tally.lip is None else tally.lips_over > 0


def hand_line(report: Report) -> str:
    """How many hand readings were taken in; empty where there are none."""
    hand = report.measurement.hand
    if not hand:
        return ""
    by_hand = field_words.by_hand(report.surface)
    kinds = dict.fromkeys(_SPOTS[held.reading.what] for held in hand)
    told = f"Read at single places: {len(hand)} ({', '.join(kinds)})" if by_hand else ""
    told = told or f"Hand readings taken in: {len(hand)}"
    apart = sum(held.conflict for held in hand)
    source = "other readings" if by_hand else "capture"
    agree = f"contradicts the {source} and stays" if apart == 1 else f"contradict the {source} and stay"
    return told if not apart else f"{told}; {apart} of them {agree} open"


def more_joints_line(shown: int, found: int) -> str:
    """That a list is not whole."""
    return f"Listed are the worst {shown} of {found} places; every joint is in joints.csv." if found > shown else ""


def _tally_lines(report: Report, tally: JointTally) -> list[str]:
    lines = []
    kinds: tuple[tuple[JointKind, str, JointShares | None], ...] = (
        ("joint_width", "Joint width", tally.width),
        ("joint_depth", "Joint depth", tally.depth),
    )
    for kind, name, shares in kinds:
        if shares is not None:
            lines.append(f"{name}{_limit(report, kind)}: {_parts(shares, tally.length_m)}")
    if tally.lip is not None:
        lines.append(f"Lips{_limit(report, 'lip')}: {_lip_parts(tally, tally.lip)}")
    return lines


def _parts(shares: JointShares, length_m: float) -> str:
    if shares.not_seen >= 1.0:
        return "not measured"
    named = (
        ("over", shares.over),
        ("not decided", shares.not_decided),
        ("within", shares.within),
        ("not measured", shares.not_seen),
    )
    return ", ".join(f"{_m(part * length_m)} {name}" for name, part in named if part > 0.0)


def _lip_parts(tally: JointTally, shares: JointShares) -> str:
    if shares.not_seen >= 1.0:
        return "not measured"
    parts = [f"{said.counted(tally.lips_over, 'joint')} over"] if tally.lips_over else []
    parts += [f"{said.counted(tally.lips_undecided, 'joint')} not decided"] if tally.lips_undecided else []
    named = (("within", shares.within), ("not measured", shares.not_seen))
    return ", ".join([*parts, *(f"{_m(part * tally.length_m)} {name}" for name, part in named if part > 0.0)])


def _limit(report: Report, kind: JointKind) -> str:
    """The limit where all sets name one figure, else nothing: it then goes by the tile, and the findings name it."""
    rules = [rule for limits in report.limits for rule in limits.limits if rule.what == kind]
    figures = {rule.limit_mm for rule in rules}
    one = len(figures) == 1 and not any(rule.per_tile_sum for rule in rules)
    return f", limit {wording.length(figures.pop())}" if one else ""


def _m(length_m: float) -> str:
    return said.run(length_m * MM_PER_M)
