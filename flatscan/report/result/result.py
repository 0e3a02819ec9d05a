"""From the run's record to ``result.json``: rounded by the uncertainty, so that files are stable."""

from __future__ import annotations

import platform
import re
from importlib import metadata
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan import __version__
from flatscan.report.result import field as result_field
from flatscan.report.result import joints as result_joints
from flatscan.report.result import measured, records, rounding
from flatscan.report.result.levelling import levelling_record
from flatscan.report.result.readiness import readiness_record
from flatscan.report.result.records import Result, result_schema
from flatscan.report.result.survey import survey_record
from flatscan.report.words.cautions import cautions_for
from flatscan.report.words.doubts import caveats_of
from flatscan.report.words.plain_text import printable_lines
from flatscan.report.words.told_files import told_names, told_settings
from flatscan.report.words.traced import from_readings

if TYPE_CHECKING:
    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Finding, Reading
    from flatscan.measures.measurement import FNumbers, GapSpot, Measurement
    from flatscan.report.report import Report
    from flatscan.surface.surface import Surface

__all__ = ["Result", "json_of", "result_of", "result_schema"]

#: A value, its uncertainty and its unit, without a budget.
_VALUE = re.compile(rb'\{\n\s*("value": [-+.\deE]+),\n\s*("u": (?:[-+.\deE]+|null)),\n\s*("unit": "[^"\\\n]*")\n\s*\}')
_REFUSED = re.compile(rb'\{\n\s*("figure": "\w+"),\n\s*("why": "\w+")\n\s*\}')
_NAMED_VERSIONS = ("numpy", "scipy", "numba", "shapely")


def result_of(report: Report) -> Result:
    """Every part of the contract, rounded; raises ValueError where a value is not a finite number."""
    return Result(
        answer=records.AnswerRecord(
            code=report.verdict.answer.code,
            text=report.verdict.answer.text,
            reasons=list(report.verdict.answer.reasons),
        ),
        inputs=[
            records.InputRecord(path=name, sha256=file.sha256, kind=file.kind)
            for name, file in zip(told_names(report.inputs), report.inputs, strict=True)
        ],
        settings=told_settings(report.settings),
        versions=versions(),
        limits=[_limit_set(limits) for limits in report.limits],
        surface=_surface(report.surface),
        flatness=_flatness(report.measurement),
        gaps=[_gap(spot, report.surface) for spot in report.measurement.gaps],
        humps=[
            measured.HumpRecord(
                edge_mm=rounding.number(hump.edge_mm, rounding.MM),
                clearance=rounding.quantity(hump.clearance),
                at=rounding.xy(hump.at),
                direction_deg=rounding.degrees(hump.direction_rad),
            )
            for hump in report.measurement.humps
        ],
        f_numbers=None if report.measurement.f_numbers is None else _f_numbers(report.measurement.f_numbers),
        joints=result_joints.joint_records(report),
        findings=[_finding(finding) for finding in report.verdict.findings],
        next_readings=[_reading(reading) for reading in report.verdict.next_readings],
        levelling=levelling_record(report.plan),
        caveats=[records.CaveatRecord(name=c.name, text=c.text, advice=c.advice) for c in caveats_of(report)],
        cautions=[records.CautionRecord(name=c.name, text=c.text) for c in cautions_for(report)],
        joint_tally=result_joints.tally_record(report.verdict.joint_tally),
        more_readings=report.verdict.more_readings,
        tiles=result_joints.tiles_record(report.measurement.joints),
        hand_readings=[result_joints.hand_record(held) for held in report.measurement.hand],
        placements=result_field.placement_records(report),
        fit=result_field.fit_record(report.surface.fit),
        field=result_field.field_record(report.field),
        readiness=readiness_record(report.verdict.readiness),
        survey=None if report.survey is None else survey_record(report.survey),
    )


def json_of(result: Result) -> bytes:
    """The text of ``result.json``."""
    return json_text(result)


def json_text(record: msgspec.Struct) -> bytes:
    """A file's text: two spaces deep, each pair of coordinates and each plain value on one line, a last newline."""
    wide = msgspec.json.format(msgspec.json.encode(_printable(msgspec.to_builtins(record))), indent=2)
    # A raw line break never stands inside a JSON string, so only arrays of plain numbers and values can match.
    narrow = re.sub(
        rb"\[\n\s*([-+.\deE]+(?:,\n\s*[-+.\deE]+)*)\n\s*\]",
        lambda found: b"[" + b", ".join(part.strip() for part in found[1].split(b",")) + b"]",
        wide,
    )
    return _REFUSED.sub(rb"{\1, \2}", _VALUE.sub(rb"{\1, \2, \3}", narrow)) + b"\n"


def _printable(value: Any) -> Any:
    """The same tree with texts that can only be read: programs print them, and a file's name may hold any sign."""
    if isinstance(value, str):
        return printable_lines(value)
    if isinstance(value, dict):
        return {_printable(key): _printable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(inner) for inner in value]
    return value


def versions() -> dict[str, str]:
    """What the numbers were made with."""
    found = {"flatscan": __version__, "python": platform.python_version()}
    return found | {name: metadata.version(name) for name in _NAMED_VERSIONS}


def _limit_set(limits: LimitSet) -> records.LimitSetRecord:
    source = limits.source
    return records.LimitSetRecord(
        id=limits.id,
        title=limits.title,
        document=source.document,
        table=source.table,
        year=source.year,
        reference=source.reference,
        mark=source.mark,
        limits=[
            records.LimitRecord(
                what=rule.what,
                limit_mm=rounding.figures(rule.limit_mm),
                edge_mm=None if rule.edge_mm is None else rounding.figures(rule.edge_mm),
                note=rule.note,
            )
            for rule in limits.limits
        ],
        spans=[(rounding.figures(span), rounding.figures(limit)) for span, limit in limits.spans],
    )


def _surface(surface: Surface) -> measured.SurfaceRecord:
    noise, slope, transform = surface.noise, surface.slope, surface.floor_from_scan
    return measured.SurfaceRecord(
        kind=surface.kind,
        area_m2=rounding.number(surface.area_m2, 3),
        seen_share=rounding.number(surface.seen_share, rounding.SHARE),
        cell_mm=rounding.figures(surface.cell_mm),
        height_sigma_mm=rounding.number(noise.height_sigma_mm, rounding.HEIGHT_MM),
        slope=None
        if slope is None
        else measured.SlopeRecord(
            fall=rounding.quantity(slope.fall), direction_deg=rounding.degrees(slope.direction_rad)
        ),
        plane=measured.PlaneRecord(
            normal=(
                rounding.number(transform[2, 0], rounding.UNIT_VECTOR),
                rounding.number(transform[2, 1], rounding.UNIT_VECTOR),
                rounding.number(transform[2, 2], rounding.UNIT_VECTOR),
            ),
            offset_mm=rounding.number(-transform[2, 3], rounding.HEIGHT_MM),
        ),
        floor_from_scan=[
            [*(rounding.number(v, rounding.UNIT_VECTOR) for v in row[:3]), rounding.number(row[3], rounding.HEIGHT_MM)]
            for row in transform
        ],
        outline=rounding.rings(surface.outline),
        noise=measured.NoiseRecord(
            white_mm=rounding.number(noise.white_mm, rounding.HEIGHT_MM),
            correlated_mm=rounding.number(noise.correlated_mm, rounding.HEIGHT_MM),
            length_mm=rounding.number(noise.length_mm, rounding.MM),
            systematic_mm=rounding.number(noise.systematic_mm, rounding.HEIGHT_MM),
            how=noise.how,
        ),
        inferences=list(surface.inferences),
    )


def _flatness(measurement: Measurement) -> measured.FlatnessRecord:
    flat = measurement.flatness
    return measured.FlatnessRecord(
        fltt=rounding.quantity(flat.fltt),
        fltp=rounding.quantity(flat.fltp),
        fltv=rounding.quantity(flat.fltv),
        fltq=rounding.quantity(flat.fltq),
        fltt_minimum_zone=rounding.quantity(flat.fltt_minimum_zone),
    )


def _gap(spot: GapSpot, surface: Surface) -> measured.GapRecord:
    return measured.GapRecord(
        edge_mm=rounding.number(spot.edge_mm, rounding.MM),
        gap=rounding.quantity(spot.gap),
        raw_mm=rounding.number(spot.raw_mm, rounding.HEIGHT_MM),
        noise_floor_mm=rounding.maybe(spot.noise_floor_mm, rounding.HEIGHT_MM),
        at=rounding.xy(spot.at),
        contacts=(rounding.xy(spot.contacts[0]), rounding.xy(spot.contacts[1])),
        span_mm=rounding.number(spot.span_mm, rounding.MM),
        direction_deg=rounding.degrees(spot.direction_rad),
        bridges_hole=bool(spot.bridges_hole),
        from_readings=list(from_readings(spot, surface)),
    )


def _f_numbers(f: FNumbers) -> measured.FNumbersRecord:
    def interval(ends: tuple[float, float] | None) -> tuple[float, float] | None:
        return None if ends is None else (rounding.number(ends[0], 2), rounding.number(ends[1], 2))

    return measured.FNumbersRecord(
        ff=rounding.maybe_quantity(f.ff),
        fl=rounding.maybe_quantity(f.fl),
        ff_interval=interval(f.ff_interval),
        fl_interval=interval(f.fl_interval),
        lines=[
            measured.ProfileRecord(
                start=rounding.xy(line.start),
                end=rounding.xy(line.end),
                step_mm=rounding.number(line.step_mm, rounding.MM),
                readings=line.readings,
                ff=rounding.maybe_quantity(line.ff),
                fl=rounding.maybe_quantity(line.fl),
            )
            for line in f.lines
        ],
        notes=list(f.notes),
    )


def _finding(finding: Finding) -> records.FindingRecord:
    contacts = finding.contacts
    return records.FindingRecord(
        what=finding.what,
        limit_id=finding.limit_id,
        limit_mm=rounding.figures(finding.limit_mm),
        value=rounding.maybe_quantity(finding.value),
        p_over=rounding.maybe(finding.p_over, rounding.SHARE),
        verdict=finding.verdict,
        at=None if finding.at is None else rounding.xy(finding.at),
        where=finding.where,
        edge_mm=rounding.maybe(finding.edge_mm, rounding.MM),
        contacts=None if contacts is None else (rounding.xy(contacts[0]), rounding.xy(contacts[1])),
        joint=finding.joint,
        share=rounding.maybe(finding.share, rounding.SHARE),
        conflict=finding.conflict,
        placement=finding.placement,
    )


def _reading(reading: Reading) -> records.ReadingRecord:
    return records.ReadingRecord(
        at=rounding.xy(reading.at),
        what=reading.what,
        instrument=reading.instrument,
        resolves=reading.resolves,
        number=reading.number,
        kind=reading.kind,
        edge_mm=rounding.maybe(reading.edge_mm, rounding.MM),
        joint=reading.joint,
    )
