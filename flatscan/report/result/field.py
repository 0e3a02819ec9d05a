"""From readings by hand to their records in ``result.json``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.result import field_records as records
from flatscan.report.result import rounding
from flatscan.report.words.judged_placements import judged_placements

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.report.words.judged_placements import JudgedPlacement
    from flatscan.sources.hand.field_readings import FieldReadings
    from flatscan.surface.readings.fit import ReadingsFit


def placement_records(report: Report) -> list[records.PlacementRecord]:
    """Every placement in the order of the file."""
    return [_placement(one) for one in judged_placements(report)]


def fit_record(fit: ReadingsFit | None) -> records.FitRecord | None:
    """How the readings are met; None where there were none."""
    if fit is None:
        return None
    systematic = fit.systematic_mm
    return records.FitRecord(
        smoothness=rounding.figures(fit.smoothness),
        smallest_wave_mm=rounding.number(fit.smallest_wave_mm, rounding.MM),
        modes=[
            records.LongModeRecord(
                name=mode.name,
                sd_mm=rounding.number(mode.sd_mm, rounding.HEIGHT_MM),
                prior_sd_mm=rounding.number(mode.prior_sd_mm, rounding.HEIGHT_MM),
                seen=bool(mode.seen),
                cure=mode.cure,
            )
            for mode in fit.modes
        ],
        systematic_mm=None
        if systematic is None
        else (
            rounding.number(systematic[0], rounding.HEIGHT_MM),
            rounding.number(systematic[1], rounding.HEIGHT_MM),
        ),
        readings=[
            records.UsedReadingRecord(
                row=int(fit.row[i]),
                number=number,
                at=rounding.xy(fit.at_mm[i].tolist()),
                read_mm=rounding.number(float(fit.read_mm[i]), rounding.HEIGHT_MM),
                surface_mm=rounding.number(float(fit.fitted_mm[i]), rounding.HEIGHT_MM),
                u_mm=rounding.number(float(fit.u_mm[i]), rounding.HEIGHT_MM),
            )
            for i, number in enumerate(fit.number)
        ],
    )


def field_record(field: FieldReadings | None) -> records.FieldRecord | None:
    """Counts, taps, cracks and rows left out; None where nothing was read by hand."""
    if field is None:
        return None
    return records.FieldRecord(
        placements=len(field.placements),
        levels=len(field.levels),
        humps=len(field.humps),
        spots=len(field.spots),
        joints_searched=field.joints_searched,
        gaps_searched=field.gaps_searched,
        soundings=[
            records.SoundingRecord(row=s.row, number=s.number, at=rounding.xy(s.at), sounds=s.sounds, note=s.note)
            for s in field.soundings
        ],
        cracks=[
            records.CrackRecord(
                row=c.row,
                number=c.number,
                start=rounding.xy(c.start),
                end=rounding.xy(c.end),
                width=rounding.maybe_quantity(c.width),
                note=c.note,
            )
            for c in field.cracks
        ],
        left_out=list(field.left_out),
    )


def _placement(one: JudgedPlacement) -> records.PlacementRecord:
    figure, finding = one.figure, one.finding
    return records.PlacementRecord(
        row=figure.row,
        number=figure.number,
        edge_mm=rounding.number(figure.edge_mm, rounding.MM),
        gap=rounding.quantity(figure.gap),
        at=rounding.xy(figure.at),
        contacts=(rounding.xy(figure.contacts[0]), rounding.xy(figure.contacts[1])),
        span_mm=rounding.number(figure.span_mm, rounding.MM),
        hump=rounding.maybe_quantity(figure.hump),
        surface=rounding.maybe_quantity(figure.surface),
        limit_id=None if finding is None else finding.limit_id,
        limit_mm=None if finding is None else rounding.figures(finding.limit_mm),
        verdict=one.verdict,
        conflict=one.conflict,
    )
