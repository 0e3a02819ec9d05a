"""From measured joints and hand readings to their records in ``result.json``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import UNSET, structs

from flatscan.report.result import joint_records as records
from flatscan.report.result import rounding
from flatscan.report.words.joint_words import judged_joints

if TYPE_CHECKING:
    from flatscan.judgement.verdict import JointShares, JointTally
    from flatscan.measures.joints.joints import Joints, MeasuredFace, Station
    from flatscan.measures.joints.network import Face
    from flatscan.measures.measurement import HeldAgainst
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.report.result.measured import QuantityRecord
    from flatscan.report.words.joint_words import JudgedJoint


def joint_records(report: Report) -> list[records.JointRecord]:
    """Every joint with its stations, in the order it was found."""
    return [_joint(judged) for judged in judged_joints(report)]


def tiles_record(joints: Joints | None) -> records.TilesRecord | None:
    """The tile format and every tile; None where joints were not looked for."""
    if joints is None:
        return None
    network, tile = joints.network, joints.network.format
    shapes = {face.face: face for face in joints.faces}
    return records.TilesRecord(
        found_in=network.found_in,
        how=network.how,
        notes=list(joints.notes),
        joints_mm=rounding.number(network.length_mm, rounding.MM),
        pitch_long=None if tile is None else rounding.quantity(tile.pitch_long),
        pitch_short=None if tile is None else rounding.quantity(tile.pitch_short),
        direction_deg=None if tile is None else rounding.degrees(tile.direction_rad),
        bond=None if tile is None else tile.bond,
        shift=None if tile is None else rounding.maybe(tile.shift, rounding.SHARE),
        share=None if tile is None else rounding.number(tile.share, rounding.SHARE),
        faces=[_face(face, shapes.get(index)) for index, face in enumerate(network.faces)],
    )


def tally_record(tally: JointTally | None) -> records.JointTallyRecord | None:
    """How much of the joints is over; None where none was judged."""
    if tally is None:
        return None
    return records.JointTallyRecord(
        length_m=_metres(tally.length_m),
        width=_shares(tally.width),
        depth=_shares(tally.depth),
        lip=_shares(tally.lip),
        fill_m=_metres(tally.fill_m),
        fill_undecided_m=_metres(tally.fill_undecided_m),
        lips_over=tally.lips_over,
        lips_over_m=_metres(tally.lips_over_m),
        lips_undecided=tally.lips_undecided,
        lips_undecided_m=_metres(tally.lips_undecided_m),
    )


def hand_record(held: HeldAgainst) -> records.HandReadingRecord:
    """One hand reading beside what the capture said."""
    reading = held.reading
    return records.HandReadingRecord(
        row=reading.row,
        what=reading.what,
        at=rounding.xy(reading.at),
        value=rounding.quantity(reading.value),
        edge_mm=rounding.maybe(reading.edge_mm, rounding.MM),
        joint=reading.joint,
        note=reading.note,
        scan=rounding.maybe_quantity(held.scan),
        taken=rounding.maybe_quantity(held.taken),
        conflict=held.conflict,
    )


def _joint(judged: JudgedJoint) -> records.JointRecord:
    joint = judged.joint
    at = {kind: worst.station for kind, worst in judged.worst.items()}
    wide, deep, lip = at["joint_width"], at["joint_depth"], at["lip"]
    return records.JointRecord(
        id=joint.id,
        line=[rounding.xy(point) for point in joint.line],
        width=None if wide is None else rounding.maybe_quantity(wide.width),
        wall_width=None if wide is None else rounding.maybe_quantity(wide.wall_width),
        depth=None if deep is None else rounding.maybe_quantity(deep.depth),
        lip=None if lip is None else rounding.maybe_quantity(lip.lip),
        stations=[_station(station) for station in joint.stations],
        length_mm=rounding.number(joint.length_mm, rounding.MM),
        verdicts=records.JointWordsRecord(
            width=judged.worst["joint_width"].verdict,
            depth=judged.worst["joint_depth"].verdict,
            lip=judged.worst["lip"].verdict,
        ),
    )


def _station(station: Station) -> records.StationRecord:
    return records.StationRecord(
        at=rounding.xy(station.at),
        width=_short(station.width),
        depth=_short(station.depth),
        lip=_short(station.lip),
        wall_width=_short(station.wall_width),
        along_mm=rounding.number(station.along_mm, rounding.MM),
        stretch_mm=rounding.number(station.stretch_mm, rounding.MM),
        refused=[records.RefusedRecord(figure=figure, why=why) for figure, why in station.refused],
    )


def _shares(shares: JointShares | None) -> records.JointSharesRecord | None:
    if shares is None:
        return None
    return records.JointSharesRecord(
        over=rounding.number(shares.over, rounding.SHARE),
        not_decided=rounding.number(shares.not_decided, rounding.SHARE),
        within=rounding.number(shares.within, rounding.SHARE),
        not_seen=rounding.number(shares.not_seen, rounding.SHARE),
    )


def _metres(length_m: float) -> float:
    return rounding.number(length_m, rounding.HEIGHT_MM)


def _short(q: Quantity | None) -> QuantityRecord | None:
    """Without its budget: the joint's worst station carries one, thousands more would drown the file."""
    return None if q is None else structs.replace(rounding.quantity(q), budget=UNSET)


def _face(face: Face, shape: MeasuredFace | None) -> records.FaceRecord:
    return records.FaceRecord(
        ring=[rounding.xy(point) for point in face.ring],
        whole=face.whole,
        tilt=None if shape is None else rounding.maybe_quantity(shape.tilt),
        warp=None if shape is None else rounding.maybe_quantity(shape.warp),
    )
