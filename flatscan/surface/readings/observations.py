"""Readings as equations in the floor's heights and in what is not known of the instruments."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from flatscan.constants import MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from scipy.sparse import csr_matrix

    from flatscan.sources.hand.field_readings import Bar, FieldReadings, HumpReading, LevelReading, Placement
    from flatscan.surface.readings.nodes import Nodes

#: How closely a foot or a crest that carries the bar touches it, mm: grit and roughness (common practice, no source).
CONTACT_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """``design`` @ unknowns = ``value_mm`` within ``sigma_mm``. The unknowns are n node heights, then k others.

    Attributes
    ----------
    design : (m, n + k) csr
    value_mm, sigma_mm : (m,) float64 what was read and its standard uncertainty
    nuisance_sigma_mm : (k,) float64, how far each of the others may be from zero; inf: anything
    row : (m,) int64 line in the file
    number : (m,) as on the sheet
    at_mm : (m, 2) float64 floor mm
    bounds : (b, n + k) csr: products with the unknowns must be >= 0, for no bar goes below the floor
    was_read : (m,) bool; False: nobody read it, it follows from how the bar lay (on its feet, on a crest)
    """

    design: csr_matrix
    value_mm: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]
    nuisance_sigma_mm: NDArray[np.float64]
    row: NDArray[np.int64]
    number: tuple[str, ...]
    at_mm: NDArray[np.float64]
    bounds: csr_matrix
    was_read: NDArray[np.bool_]

    def with_others(self, sigma_mm: NDArray[np.float64]) -> Observations:
        """The same with further unknowns behind the others, of which no reading tells by itself."""
        return replace(
            self,
            design=_widened(self.design, len(sigma_mm)),
            bounds=_widened(self.bounds, len(sigma_mm)),
            nuisance_sigma_mm=np.concatenate([self.nuisance_sigma_mm, sigma_mm]),
        )


def _widened(rows: csr_matrix, columns: int) -> csr_matrix:
    from scipy.sparse import csr_matrix, hstack

    return hstack([rows, csr_matrix((rows.shape[0], columns))]).tocsr()


@dataclass(slots=True)
class _Others:
    """Unknowns beside the heights, given out one by one."""

    sigma_mm: list[float] = field(default_factory=list)

    def add(self, sigma_mm: float) -> int | None:
        """Number of a new one; None where it cannot be anything but zero."""
        if sigma_mm == 0.0:
            return None
        self.sigma_mm.append(sigma_mm)
        return len(self.sigma_mm) - 1


#: (number of the other unknown, what one millimetre of it does at each place); None: there is no such unknown.
_Part = tuple[int | None, "NDArray[np.float64]"]


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Equations of one kind: floor's share ``sign`` · u(``xy_mm``) plus ``parts`` of the others."""

    row: int
    number: str
    xy_mm: NDArray[np.float64]
    value_mm: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]
    sign: float
    parts: tuple[_Part, ...]
    was_read: bool = True
    #: Extra floor terms: (weight, places); for none ().
    bound: bool = False


def observe(field: FieldReadings, nodes: Nodes) -> Observations:
    """Equations of all placements, crests and levels.

    A bar's edge stands at a + b·s/L + bow · 4 s (L − s)/L² ± skew · sin(2π s/L) over s along it; each gap is that less
    the floor's height. Height a and rise b are free for every placement, bow and skew are the bar's own and shared by
    all of its placements; end for end the skew changes sign. A level's reading is the floor's height plus the set-up's
    own height, its plane's tilt about the middle of its readings, and its drift times the share of readings done.
    """
    others, rows = _Others(), []
    bars: dict[Bar, tuple[int | None, int | None]] = {}
    for placement in field.placements:
        rows += _placement_rows(placement, others, _bar(placement.bar, bars, others), nodes.spacing_mm)
    for hump in field.humps:
        rows += _hump_rows(hump, others, _bar(hump.bar, bars, others))
    set_ups: dict[str, list[LevelReading]] = {}
    for reading in field.levels:
        set_ups.setdefault(reading.set_up, []).append(reading)
    for readings in set_ups.values():
        rows += _level_rows(readings, field, others)
    return _assembled(rows, field, nodes, np.array(others.sigma_mm, dtype=np.float64))


def _bar(bar: Bar, bars: dict[Bar, tuple[int | None, int | None]], others: _Others) -> tuple[int | None, int | None]:
    bare = replace(bar, feet_mm=0.0)  # on feet or not, it is the same bar
    if bare not in bars:
        bars[bare] = (others.add(bar.bow_mm), others.add(bar.bow_mm))
    return bars[bare]


def _edge(
    line: tuple[int | None, int | None],
    bend: tuple[int | None, int | None],
    share: NDArray[np.float64],
    *,
    turned: bool,
) -> tuple[_Part, ...]:
    """Height of the bar's edge at shares of its length: of its middle, its rise end to end, its bow and its skew."""
    skew = np.sin(2.0 * np.pi * share)
    return (
        (line[0], np.ones_like(share)),
        (line[1], share - 0.5),
        (bend[0], 4.0 * share * (1.0 - share)),
        (bend[1], -skew if turned else skew),
    )


def _placement_rows(
    placement: Placement, others: _Others, bend: tuple[int | None, int | None], spacing_mm: float
) -> list[_Rows]:
    line = (others.add(np.inf), others.add(np.inf))

    def rows(
        at_mm: NDArray[np.float64],
        value_mm: NDArray[np.float64],
        sigma_mm: NDArray[np.float64],
        *,
        was_read: bool = True,
        bound: bool = False,
    ) -> _Rows:
        edge = _edge(line, bend, at_mm / placement.length_mm, turned=placement.turned)
        xy = placement.xy_mm(at_mm)
        return _Rows(placement.row, placement.number, xy, value_mm, sigma_mm, -1.0, edge, was_read, bound)

    made = [rows(placement.at_mm, placement.gap_mm, placement.u_mm)]
    if placement.rule == "feet":
        ends = np.array([0.0, placement.length_mm])
        made.append(rows(ends, np.full(2, placement.bar.feet_mm), np.full(2, CONTACT_MM), was_read=False))
    if placement.rule != "line":
        at = np.linspace(0.0, placement.length_mm, max(2, round(placement.length_mm / spacing_mm) + 1))
        made.append(rows(at, np.zeros_like(at), np.ones_like(at), was_read=False, bound=True))
    return made


def _hump_rows(hump: HumpReading, others: _Others, bend: tuple[int | None, int | None]) -> list[_Rows]:
    """One end pressed down, the crest at the middle: both touch; the other end hangs at twice the height read."""
    line = (others.add(np.inf), others.add(np.inf))
    start, end = np.asarray(hump.start, dtype=np.float64), np.asarray(hump.end, dtype=np.float64)

    def rows(share: NDArray[np.float64], value_mm: float, sigma_mm: float, *, was_read: bool) -> _Rows:
        xy = start + np.multiply.outer(share, end - start)
        value, sigma = np.full(len(share), value_mm), np.full(len(share), sigma_mm)
        return _Rows(
            hump.row, hump.number, xy, value, sigma, -1.0, _edge(line, bend, share, turned=False), was_read=was_read
        )

    sigma_mm = 2.0 * hump.height.u
    return [
        rows(np.array([1.0]), 2.0 * hump.height.value, sigma_mm, was_read=True),
        rows(np.array([0.0, 0.5]), 0.0, CONTACT_MM, was_read=False),
    ]


def _level_rows(readings: Sequence[LevelReading], field: FieldReadings, others: _Others) -> list[_Rows]:
    """Readings of one set-up. Against no true gravity its plane may tilt freely."""
    xy = np.array([reading.at for reading in readings], dtype=np.float64)
    order = np.array([reading.order for reading in readings], dtype=np.float64)
    done = (order - order.min()) / max(1.0, float(np.ptp(order)))
    tilt = np.inf if not field.gravity else 0.0 if field.level is None else field.level.tilt_mm_per_m
    height, tilt_x, tilt_y = others.add(np.inf), others.add(tilt), others.add(tilt)
    drift = others.add(0.0 if field.level is None else field.level.drift_mm)
    arm_m = (xy - xy.mean(axis=0)) / MM_PER_M
    parts = ((height, np.ones(len(xy))), (tilt_x, arm_m[:, 0]), (tilt_y, arm_m[:, 1]), (drift, done))
    return [
        _Rows(
            reading.row,
            reading.number,
            xy[i : i + 1],
            np.array([reading.height_mm]),
            np.array([reading.u_mm]),
            1.0,
            tuple((number, share[i : i + 1]) for number, share in parts),
        )
        for i, reading in enumerate(readings)
    ]


def _assembled(
    rows: Sequence[_Rows], field: FieldReadings, nodes: Nodes, nuisance_sigma_mm: NDArray[np.float64]
) -> Observations:
    said = sorted((r for r in rows if not r.bound), key=lambda r: r.row)
    design = _matrix(said, field, nodes, len(nuisance_sigma_mm))
    return Observations(
        design=design,
        value_mm=_joined([r.value_mm for r in said]),
        sigma_mm=_joined([r.sigma_mm for r in said]),
        nuisance_sigma_mm=nuisance_sigma_mm,
        row=np.array([r.row for r in said for _ in r.value_mm], dtype=np.int64),
        number=tuple(r.number for r in said for _ in r.value_mm),
        at_mm=np.concatenate([r.xy_mm for r in said]) if said else np.zeros((0, 2)),
        bounds=_matrix([r for r in rows if r.bound], field, nodes, len(nuisance_sigma_mm)),
        was_read=np.array([r.was_read for r in said for _ in r.value_mm], dtype=bool),
    )


def _matrix(rows: Sequence[_Rows], field: FieldReadings, nodes: Nodes, others: int) -> csr_matrix:
    from scipy.sparse import csr_matrix, diags_array, hstack

    if not rows:
        return csr_matrix((0, nodes.count + others))
    sign = np.concatenate([np.full(len(r.xy_mm), r.sign) for r in rows])
    floor = diags_array(sign) @ nodes.weights(np.concatenate([r.xy_mm for r in rows]), field.steps)
    first = np.concatenate([[0], np.cumsum([len(r.xy_mm) for r in rows])])
    line, column, value = [], [], []
    for r, low in zip(rows, first, strict=False):
        for number, share in r.parts:
            if number is not None:
                line.append(low + np.arange(len(share)))
                column.append(np.full(len(share), number))
                value.append(share)
    rest = csr_matrix((_joined(value), (_joined(line), _joined(column))), shape=(len(sign), others))
    return hstack([floor, rest]).tocsr()


def _joined(parts: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    return np.concatenate(parts) if parts else np.zeros(0)
