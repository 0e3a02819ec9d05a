"""From the run's record to ``result.json``: rounded by the uncertainty, so that files are stable."""

from __future__ import annotations

import math
import platform
import re
from importlib import metadata
from typing import TYPE_CHECKING

import msgspec
from msgspec import UNSET

from flatscan import __version__
from flatscan.report import result_records as records
from flatscan.report.cautions import cautions_for
from flatscan.report.doubts import caveats_of
from flatscan.report.result_records import Result, result_schema

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    from flatscan.judgement.limits import LimitSet
    from flatscan.judgement.verdict import Finding
    from flatscan.levelling.plan import LevellingPlan, Method
    from flatscan.measures.measurement import FNumbers, GapSpot, Measurement
    from flatscan.quantity import Quantity
    from flatscan.report.report import Report
    from flatscan.surface.surface import Surface

__all__ = ["Result", "json_of", "result_of", "result_schema"]

#: Figures kept of an uncertainty: one more than people are shown, for further sums (JCGM 100, 7.2.6).
_FIGURES = 3
_PLACES_MM = 1  # coordinates
_PLACES_HEIGHT_MM = 3
_PLACES_SHARE = 4
_PLACES_UNIT_VECTOR = 9
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
            records.InputRecord(path=file.path.as_posix(), sha256=file.sha256, kind=file.kind) for file in report.inputs
        ],
        settings=report.settings,
        versions=versions(),
        limits=[_limit_set(limits) for limits in report.limits],
        surface=_surface(report.surface),
        flatness=_flatness(report.measurement),
        gaps=[_gap(spot) for spot in report.measurement.gaps],
        humps=[
            records.HumpRecord(
                edge_mm=_number(hump.edge_mm, _PLACES_MM),
                clearance=_quantity(hump.clearance),
                at=_xy(hump.at),
                direction_deg=_degrees(hump.direction_rad),
            )
            for hump in report.measurement.humps
        ],
        f_numbers=None if report.measurement.f_numbers is None else _f_numbers(report.measurement.f_numbers),
        joints=[],
        findings=[_finding(finding) for finding in report.verdict.findings],
        next_readings=[
            records.ReadingRecord(at=_xy(r.at), what=r.what, instrument=r.instrument, resolves=r.resolves)
            for r in report.verdict.next_readings
        ],
        levelling=_levelling(report.plan),
        caveats=[records.CaveatRecord(name=c.name, text=c.text, advice=c.advice) for c in caveats_of(report)],
        cautions=[records.CautionRecord(name=c.name, text=c.text) for c in cautions_for(report)],
    )


def json_of(result: Result) -> bytes:
    """The file's text: two spaces deep, each coordinate pair on one line, a newline at the end."""
    wide = msgspec.json.format(msgspec.json.encode(result), indent=2)
    # A raw line break never stands inside a JSON string, so only arrays of plain numbers can match.
    narrow = re.sub(
        rb"\[\n\s*([-+.\deE]+(?:,\n\s*[-+.\deE]+)*)\n\s*\]",
        lambda found: b"[" + b", ".join(part.strip() for part in found[1].split(b",")) + b"]",
        wide,
    )
    return narrow + b"\n"


def versions() -> dict[str, str]:
    """What the numbers were made with."""
    found = {"flatscan": __version__, "python": platform.python_version()}
    return found | {name: metadata.version(name) for name in _NAMED_VERSIONS}


def _number(value: float, places: int) -> float:
    if not math.isfinite(value):
        raise ValueError(f"a result holds finite numbers only, got {value}")
    return round(float(value), places) + 0.0  # + 0.0: no minus zero


def _maybe(value: float | None, places: int) -> float | None:
    """None for what was not measured, which some stages write as NaN."""
    return None if value is None or not math.isfinite(value) else _number(value, places)


def _figures(value: float) -> float:
    """Six significant figures, for settings of unknown size."""
    return float(f"{value:.6g}")


def _quantity(q: Quantity) -> records.QuantityRecord:
    places = 6
    u = None
    if math.isfinite(q.u):
        if q.u > 0.0:
            places = _FIGURES - 1 - math.floor(math.log10(q.u))
        u = _number(q.u, places)
    return records.QuantityRecord(
        value=_number(q.value, places),
        u=u,
        unit=q.unit,
        budget={name: _number(part, places) for name, part in q.budget} if q.budget else UNSET,
    )


def _maybe_quantity(q: Quantity | None) -> records.QuantityRecord | None:
    return None if q is None else _quantity(q)


def _xy(point: Iterable[float]) -> records.XY:
    x, y = point
    return _number(x, _PLACES_MM), _number(y, _PLACES_MM)


def _rings(rings: Iterable[NDArray[np.float64]]) -> list[list[records.XY]]:
    return [[_xy(point) for point in ring] for ring in rings]


def _degrees(angle_rad: float) -> float:
    return _number(math.degrees(angle_rad), 1)


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
                limit_mm=_figures(rule.limit_mm),
                edge_mm=None if rule.edge_mm is None else _figures(rule.edge_mm),
                note=rule.note,
            )
            for rule in limits.limits
        ],
        spans=[(_figures(span), _figures(limit)) for span, limit in limits.spans],
    )


def _surface(surface: Surface) -> records.SurfaceRecord:
    noise, slope, transform = surface.noise, surface.slope, surface.floor_from_scan
    return records.SurfaceRecord(
        kind=surface.kind,
        area_m2=_number(surface.area_m2, 3),
        seen_share=_number(surface.seen_share, _PLACES_SHARE),
        cell_mm=_figures(surface.cell_mm),
        height_sigma_mm=_number(noise.height_sigma_mm, _PLACES_HEIGHT_MM),
        slope=None
        if slope is None
        else records.SlopeRecord(fall=_quantity(slope.fall), direction_deg=_degrees(slope.direction_rad)),
        plane=records.PlaneRecord(
            normal=(
                _number(transform[2, 0], _PLACES_UNIT_VECTOR),
                _number(transform[2, 1], _PLACES_UNIT_VECTOR),
                _number(transform[2, 2], _PLACES_UNIT_VECTOR),
            ),
            offset_mm=_number(-transform[2, 3], _PLACES_HEIGHT_MM),
        ),
        floor_from_scan=[
            [*(_number(v, _PLACES_UNIT_VECTOR) for v in row[:3]), _number(row[3], _PLACES_HEIGHT_MM)]
            for row in transform
        ],
        outline=_rings(surface.outline),
        noise=records.NoiseRecord(
            white_mm=_number(noise.white_mm, _PLACES_HEIGHT_MM),
            correlated_mm=_number(noise.correlated_mm, _PLACES_HEIGHT_MM),
            length_mm=_number(noise.length_mm, _PLACES_MM),
            systematic_mm=_number(noise.systematic_mm, _PLACES_HEIGHT_MM),
            how=noise.how,
        ),
        inferences=list(surface.inferences),
    )


def _flatness(measurement: Measurement) -> records.FlatnessRecord:
    flat = measurement.flatness
    return records.FlatnessRecord(
        fltt=_quantity(flat.fltt),
        fltp=_quantity(flat.fltp),
        fltv=_quantity(flat.fltv),
        fltq=_quantity(flat.fltq),
        fltt_minimum_zone=_quantity(flat.fltt_minimum_zone),
    )


def _gap(spot: GapSpot) -> records.GapRecord:
    return records.GapRecord(
        edge_mm=_number(spot.edge_mm, _PLACES_MM),
        gap=_quantity(spot.gap),
        raw_mm=_number(spot.raw_mm, _PLACES_HEIGHT_MM),
        noise_floor_mm=_maybe(spot.noise_floor_mm, _PLACES_HEIGHT_MM),
        at=_xy(spot.at),
        contacts=(_xy(spot.contacts[0]), _xy(spot.contacts[1])),
        span_mm=_number(spot.span_mm, _PLACES_MM),
        direction_deg=_degrees(spot.direction_rad),
        bridges_hole=bool(spot.bridges_hole),
    )


def _f_numbers(f: FNumbers) -> records.FNumbersRecord:
    def interval(ends: tuple[float, float] | None) -> tuple[float, float] | None:
        return None if ends is None else (_number(ends[0], 2), _number(ends[1], 2))

    return records.FNumbersRecord(
        ff=_maybe_quantity(f.ff),
        fl=_maybe_quantity(f.fl),
        ff_interval=interval(f.ff_interval),
        fl_interval=interval(f.fl_interval),
        lines=[
            records.ProfileRecord(
                start=_xy(line.start),
                end=_xy(line.end),
                step_mm=_number(line.step_mm, _PLACES_MM),
                readings=line.readings,
                ff=_maybe_quantity(line.ff),
                fl=_maybe_quantity(line.fl),
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
        limit_mm=_figures(finding.limit_mm),
        value=_maybe_quantity(finding.value),
        p_over=_maybe(finding.p_over, _PLACES_SHARE),
        verdict=finding.verdict,
        at=None if finding.at is None else _xy(finding.at),
        where=finding.where,
        edge_mm=_maybe(finding.edge_mm, _PLACES_MM),
        contacts=None if contacts is None else (_xy(contacts[0]), _xy(contacts[1])),
    )


def _levelling(plan: LevellingPlan) -> records.LevellingRecord:
    product = plan.product
    return records.LevellingRecord(
        methods=[_method(method) for method in plan.methods],
        areas=[
            records.AreaRecord(
                number=area.number,
                polygon=_rings(area.rings),
                area_m2=_number(area.area_m2, _PLACES_HEIGHT_MM),
                volume_l=_quantity(area.volume_l),
                mean_mm=_number(area.mean_mm, 2),
                max_mm=_number(area.max_mm, 2),
                action=area.action,
            )
            for area in plan.areas
        ],
        product=records.ProductRecord(
            name=product.name,
            kg_per_m2_mm=_figures(product.kg_per_m2_mm),
            bag_kg=_figures(product.bag_kg),
            least_layer_mm=_figures(product.least_layer_mm),
            greatest_layer_mm=None if product.greatest_layer_mm is None else _figures(product.greatest_layer_mm),
            waste_share=_figures(product.waste_share),
            source=product.source,
        ),
        targets=[records.TargetRecord(edge_mm=_figures(edge), limit_mm=_figures(t)) for edge, t in plan.targets],
    )


def _method(method: Method) -> records.MethodRecord:
    low, high = method.volume_interval_l
    return records.MethodRecord(
        name=method.name,
        volume_l=_quantity(method.volume_l),
        mass_kg=_quantity(method.mass_kg),
        bags=method.bags,
        cost=None,
        area_m2=_number(method.area_m2, _PLACES_HEIGHT_MM),
        mean_mm=_number(method.mean_mm, 2),
        max_mm=_number(method.max_mm, 2),
        interval=records.IntervalRecord(volume_l=(_number(low, 2), _number(high, 2)), bags=method.bags_interval),
    )
