"""Two result folders held against each other: the floor before the work and after it."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from flatscan.comparing import Measured, PlannedArea, compare_floors
from flatscan.errors import InputError
from flatscan.judgement.verdict import Finding
from flatscan.quantity import Quantity
from flatscan.report.comparison.run import ComparisonRun, ResultFolder
from flatscan.report.result.records import Result
from flatscan.report.saved_basis import FILE_NAME, bytes_of, load_floor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.basis import Basis
    from flatscan.report.result.levelling_records import AreaRecord
    from flatscan.report.result.measured import QuantityRecord
    from flatscan.report.result.records import FindingRecord
    from flatscan.settings import Paper
    from flatscan.units import UnitSystem

_RESULT = "result.json"
_AGAIN = "Run flatscan check again on that capture and give its result folder"


def recheck(
    before: Path | str,
    after: Path | str,
    *,
    turned: int | None = None,
    seed: int = 20_260_101,
    units: UnitSystem = "metric",
    paper: Paper = "a4",
) -> ComparisonRun:
    """Hold the result of a floor after the work against the one before it.

    Parameters
    ----------
    before, after : result folders that ``flatscan check`` wrote
    turned : degrees (0, 90, 180, 270) that the map after is turned anticlockwise against the map before; None: found
    seed : of the simulated errors behind every uncertainty

    Raises
    ------
    flatscan.errors.FlatscanError
        for a folder that is no result, two results that are not of one floor, and maps that fit in several ways
    """
    (first, from_before), (second, from_after) = (_read(Path(folder)) for folder in (before, after))
    found = compare_floors(first, second, turned=turned, rng=np.random.default_rng(seed))
    return ComparisonRun(first, second, from_before, from_after, found, seed, turned, units, paper)


def _read(folder: Path) -> tuple[Measured, ResultFolder]:
    if not folder.is_dir():
        what = "this is a file" if folder.is_file() else "there is no such folder"
        raise InputError(folder, what, "Give the result folder that flatscan check wrote with --out")
    try:
        text, floor = (bytes_of(folder / name) for name in (_RESULT, FILE_NAME))
    except OSError as error:
        name = Path(str(error.filename)).name
        raise InputError(folder, f"it is no result folder: {name} is missing or cannot be read", _AGAIN) from error
    try:
        result = msgspec.json.decode(text, type=Result)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(folder / _RESULT, "it is broken or from another version", _AGAIN) from error
    try:
        basis, kept = load_floor(folder / FILE_NAME)
    except InputError as error:
        raise InputError(folder / FILE_NAME, error.what, _AGAIN) from error
    if kept is None:
        what = "it is from an earlier version, which kept nothing to compare with"
        raise InputError(folder / FILE_NAME, what, _AGAIN)
    name = folder.resolve().name
    source = ResultFolder(name, _sha256(text), _sha256(floor), tuple(Path(one.path).name for one in result.inputs))
    measured = Measured(
        surface=basis.surface,
        gap_limits=basis.gap_limits,
        limit_ids=basis.limit_ids,
        answer=result.answer.code,
        answer_text=result.answer.text,
        confidence=result.settings.judge.confidence,
        findings=tuple(_finding(record) for record in result.findings),
        joint_lines=tuple(np.array(joint.line, dtype=np.float64) for joint in result.joints),
        areas=tuple(_area(record) for record in result.levelling.areas),
        method=result.levelling.chosen,
        kept=kept,
        kept_places=_kept_places(basis),
    )
    return measured, source


def _kept_places(basis: Basis) -> tuple[NDArray[np.float64], ...]:
    """Zones where the survey lets nothing be placed, or the finished floor stands as high as the old one."""
    from shapely import Point, Polygon

    rings: list[NDArray[np.float64]] = []
    for zone in () if basis.survey is None else basis.survey.zones:
        if not (zone.kind == "no_fill" or (zone.kind == "fixed_height" and zone.value_mm == 0.0)):
            continue
        if zone.polygon_mm is not None:
            rings.append(zone.polygon_mm)
        rings += [tile for tile in basis.tiles if any(Polygon(tile).contains(Point(at)) for at in zone.tiles_at_mm)]
    return tuple(rings)


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _quantity(record: QuantityRecord) -> Quantity:
    return Quantity(record.value, float("inf") if record.u is None else record.u, record.unit)


def _area(record: AreaRecord) -> PlannedArea:
    return PlannedArea(
        record.number,
        tuple(np.array(ring, dtype=np.float64) for ring in record.polygon),
        record.area_m2,
        _quantity(record.volume_l),
        record.mean_mm,
        record.max_mm,
        grinds="grind" in record.action.lower(),
    )


def _finding(record: FindingRecord) -> Finding:
    return Finding(
        what=record.what,
        limit_id=record.limit_id,
        limit_mm=record.limit_mm,
        value=None if record.value is None else _quantity(record.value),
        p_over=record.p_over,
        verdict=record.verdict,
        at=record.at,
        where=record.where,
        edge_mm=record.edge_mm,
        contacts=record.contacts,
        joint=record.joint,
        share=record.share,
        conflict=record.conflict,
        placement=record.placement,
    )
