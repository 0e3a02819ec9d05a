"""The worst joints and lips of an invented tiled floor, as a person who walked it would read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.quantity import Quantity
from flatscan.sources.hand.hand_reading import HandReading, HandWhat
from flatscan.sources.hand.instruments import STEPS_PER_U
from flatscan.synth.truth import true_joints

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.synth.floor import InventedFloor
    from flatscan.synth.hand.layout import Layout
    from flatscan.synth.hand.person import Person
    from flatscan.synth.truth import TrueJoint

#: Shorter pieces of joint are passed by.
_SHORTEST_MM = 60.0
_LARGEST_SHARE = (0.05, 0.95)


def joint_spots(
    floor: InventedFloor, layout: Layout, person: Person, *, rng: np.random.Generator
) -> tuple[HandReading, ...]:
    """Width and depth at the middle of the widest joints, the highest lips where they are highest.

    ``row`` is 0: the caller numbers them. A joint is named by its turn, ``J1`` first.
    """
    joints = [one for one in true_joints(floor) if _length_mm(one) > _SHORTEST_MM]
    widest = sorted(joints, key=lambda one: -one.top_width_mm)[: layout.widest]
    highest = sorted(joints, key=lambda one: -abs(_highest(one)[1]))[: layout.highest]
    names = {id(one): f"J{i}" for i, one in enumerate(dict.fromkeys((*widest, *highest)), start=1)}
    rule, feeler = (person.rule_step_mm, person.rule_repeat_mm), (person.feeler_step_mm, person.feeler_repeat_mm)

    def readings() -> Iterator[HandReading]:
        for one in widest:
            yield _spot("joint_width", one, 0.5, one.top_width_mm, rule, names[id(one)], rng)
            yield _spot("joint_depth", one, 0.5, one.depth_mm, rule, names[id(one)], rng)
        for one in highest:
            yield _spot("lip", one, *_highest(one), feeler, names[id(one)], rng)

    return tuple(readings())


def _highest(joint: TrueJoint) -> tuple[float, float]:
    """Share of the way along, and lip there: at one end, where it is greater."""
    share = _LARGEST_SHARE[abs(joint.lip_end_mm) > abs(joint.lip_start_mm)]
    return share, abs(joint.lip_at_mm(share))


def _spot(
    what: HandWhat,
    joint: TrueJoint,
    share: float,
    true_mm: float,
    tool: tuple[float, float],
    name: str,
    rng: np.random.Generator,
) -> HandReading:
    step_mm, repeat_mm = tool
    read = max(0.0, float(np.rint((true_mm + repeat_mm * rng.standard_normal()) / step_mm)) * step_mm)
    at = np.rint(np.add(joint.start_mm, share * np.subtract(joint.end_mm, joint.start_mm)))
    u = float(np.hypot(step_mm / STEPS_PER_U, repeat_mm))
    return HandReading(0, what, (float(at[0]), float(at[1])), Quantity(read, u, "mm"), joint=name)


def _length_mm(joint: TrueJoint) -> float:
    return float(np.hypot(*np.subtract(joint.end_mm, joint.start_mm)))
