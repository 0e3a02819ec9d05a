"""Joints and lips of a floor on which no network of joints is known: what a person read by hand says of them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flatscan.measures.lone_spots import held_alone

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import Finding
    from flatscan.measures.measurement import Measurement
    from flatscan.sources.hand.field_readings import FieldReadings

NOT_READ = "none was read, so read the worst you can find"
SEARCHED = "as searched by eye"
_KINDS = ("lip", "joint_width", "joint_depth")
_NAMES = {"lip": "lips", "joint_width": "joint widths", "joint_depth": "joint depths"}


def with_spots(measurement: Measurement, field: FieldReadings | None) -> Measurement:
    """The measurement with those of the field's readings at single places that were not taken in already."""
    if field is None:
        return measurement
    known = {(h.reading.row, h.reading.what, h.reading.at) for h in measurement.hand}
    fresh = [s for s in field.spots if (s.row, s.what, s.at) not in known]
    return replace(measurement, hand=(*measurement.hand, *held_alone(fresh))) if fresh else measurement


def without_network(unseen: Sequence[Finding], lone: Sequence[Finding], field: FieldReadings | None) -> list[Finding]:
    """The findings of joint kinds: what was read, and what that leaves unseen.

    ``unseen``: a finding for each limit that no measured joint answers; ``lone``: readings judged at their places.
    Where the person walked the whole floor and read the worst, the readings answer the limit, as searched by eye.
    Else they speak of their own places and the rest was not seen.
    """
    searched = field is not None and field.joints_searched
    counts = {kind: len({f.at for f in lone if f.what == kind}) for kind in _KINDS}
    kept: list[Finding] = []
    for finding in unseen:
        number = counts.get(finding.what, 0)
        if number == 0:
            # With a sheet in hand nobody is told that a program did not measure.
            kept.append(finding if field is None or finding.what not in _KINDS else replace(finding, where=NOT_READ))
        elif not searched:
            read = f"read at {number} {'place' if number == 1 else 'places'}, the rest not seen"
            kept.append(replace(finding, where=read))
    if not searched:
        return [*kept, *lone]
    return [*kept, *(replace(f, where=f"{f.where}, {SEARCHED}") if f.what in _KINDS else f for f in lone)]


def searched_reasons(findings: Sequence[Finding]) -> list[str]:
    """What a search by eye can and cannot promise; none where nothing was so searched."""
    kinds = [k for k in _KINDS if any(f.what == k and f.where.endswith(SEARCHED) for f in findings)]
    if not kinds:
        return []
    named = [_NAMES[k] for k in kinds]
    said = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    return [f"{said.capitalize()} are judged {SEARCHED}: the whole floor was walked and the worst were read"]
