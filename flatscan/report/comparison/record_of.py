"""From a run's record to ``comparison.json``: rounded by the uncertainty, so that files are stable."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan.report.comparison import records, words
from flatscan.report.result import rounding
from flatscan.report.result.result import json_text, versions

if TYPE_CHECKING:
    from flatscan.comparing.comparison import AreaNow, OpenSpot
    from flatscan.comparing.measured import Measured
    from flatscan.report.comparison.run import ComparisonRun, ResultFolder

_TURN_PLACES = 6


def comparison_json(run: ComparisonRun) -> bytes:
    """The text of ``comparison.json``."""
    return json_text(comparison_record(run))


def comparison_record(run: ComparisonRun) -> records.ComparisonRecord:
    """Every part of the contract, rounded."""
    found = run.found
    return records.ComparisonRecord(
        headline=words.headline(run),
        before=_result(run.before, run.from_before),
        after=_result(run.after, run.from_after),
        seed=run.seed,
        turned_deg=run.turned,
        versions=versions(),
        alignment=_alignment(run),
        datum=records.DatumRecord(
            kind=found.datum.kind,
            share=rounding.number(found.datum.share, rounding.SHARE),
            agrees=rounding.number(found.datum.agrees, rounding.SHARE),
            u_mm=rounding.number(found.datum.u_mm, rounding.HEIGHT_MM),
            why=found.datum.why,
        ),
        difference=_difference(run),
        areas=[_area(area) for area in found.areas],
        placed=rounding.maybe_quantity(found.placed_l),
        planned=rounding.maybe_quantity(found.planned_l),
        same_limits=found.same_limits,
        open_spots=[_spot(spot) for spot in found.open_spots],
        next_steps=words.next_steps(run),
        untold=list(run.found.untold),
        how=words.how_lines(run),
    )


def _result(measured: Measured, folder: ResultFolder) -> records.ResultRecord:
    return records.ResultRecord(
        folder=folder.name,
        result_sha256=folder.result_sha256,
        floor_sha256=folder.floor_sha256,
        captures=list(folder.captures),
        limits=list(measured.limit_ids),
        answer=measured.answer,
        answer_text=measured.answer_text,
    )


def _alignment(run: ComparisonRun) -> records.AlignmentRecord:
    one = run.found.alignment
    matrix = one.pose.after_from_before
    return records.AlignmentRecord(
        after_from_before=[
            [*(rounding.number(v, rounding.UNIT_VECTOR) for v in row[:2]), rounding.number(row[2], rounding.HEIGHT_MM)]
            for row in matrix
        ],
        turned_deg=one.pose.turned_deg,
        sigma_mm=rounding.number(one.sigma_mm, 2),
        sigma_turn_rad=rounding.number(math.sqrt(max(one.covariance[2, 2], 0.0)), _TURN_PLACES),
        exact=one.exact,
        overlap=None if one.fit is None else rounding.number(min(one.fit.overlap, 1.0), rounding.SHARE),
        wall_share=None if one.fit is None else rounding.number(one.fit.wall_share, rounding.SHARE),
    )


def _difference(run: ComparisonRun) -> records.DifferenceRecord:
    difference = run.found.difference
    both = np.isfinite(difference.d_mm)
    return records.DifferenceRecord(
        cell_mm=rounding.figures(difference.grid.cell_mm),
        seen_m2=rounding.number(float(both.sum()) * difference.grid.cell_mm**2 / 1e6, 3),
        u_mm=rounding.number(float(np.median(difference.u_mm[both])), rounding.HEIGHT_MM),
        threshold=rounding.number(difference.threshold, 3),
        least_mm=rounding.number(difference.least_mm, rounding.HEIGHT_MM),
        changed_share=rounding.number(float(difference.changed[both].mean()), rounding.SHARE),
        changes=[
            records.ChangeRecord(
                at=rounding.xy(change.at),
                area_m2=rounding.number(change.area_m2, 4),
                rise=rounding.quantity(change.rise),
                most_mm=rounding.number(change.most_mm, rounding.HEIGHT_MM),
                planned=change.planned,
            )
            for change in difference.changes
        ],
    )


def _area(area: AreaNow) -> records.AreaNowRecord:
    return records.AreaNowRecord(
        number=area.planned.number,
        polygon=rounding.rings(area.rings),
        verdict=area.verdict,
        seen=rounding.number(area.seen, rounding.SHARE),
        grinds=area.planned.grinds,
        gaps=[
            records.GapNowRecord(
                edge_mm=rounding.number(gap.edge_mm, rounding.MM),
                limit_mm=rounding.figures(gap.limit_mm),
                before=rounding.maybe_quantity(gap.before),
                now=rounding.maybe_quantity(gap.now),
                verdict=gap.verdict,
            )
            for gap in area.gaps
        ],
        placed=rounding.maybe_quantity(area.placed_l),
        planned=rounding.quantity(area.planned.volume_l),
        thickest=rounding.maybe_quantity(area.thickest),
        planned_max_mm=rounding.number(area.planned.max_mm, rounding.HEIGHT_MM),
        too_thick=bool(area.too_thick),
    )


def _spot(spot: OpenSpot) -> records.OpenSpotRecord:
    return records.OpenSpotRecord(
        what=spot.what,
        edge_mm=rounding.maybe(spot.edge_mm, rounding.MM),
        limit_mm=rounding.figures(spot.limit_mm),
        value=rounding.quantity(spot.value),
        verdict=spot.verdict,
        at=rounding.xy(spot.at),
        area=spot.area,
        before=rounding.maybe_quantity(spot.before),
        history=spot.history,
        joint=spot.joint,
    )
