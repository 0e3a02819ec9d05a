"""From collected points to a ``Scan``: unit, size check, step, and what the format promises."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.caveats import Caveat, caveat
from flatscan.constants import MM_PER_M
from flatscan.errors import InputError
from flatscan.sources.guard import fingerprint
from flatscan.sources.inference import (
    MOST_ACROSS_MM,
    FileUnit,
    check_across,
    extents,
    infer_unit,
    overruled,
    size_text,
    stated_unit,
)
from flatscan.sources.scan import InputFile, Scan, ScanKind

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from flatscan.settings import ReadSettings
    from flatscan.sources.clouds.point_store import PointStore

T = TypeVar("T", bound=np.generic)

#: A coordinate step above this hides the lips and gaps that limits are about.
COARSE_STEP_MM = 2.0
USUAL_UNITS = ("m", "mm")
UP_Z = (0.0, 0.0, 1.0)


def resolve_unit(
    path: Path,
    sizes: NDArray[np.float64],
    settings: ReadSettings,
    by_format: FileUnit | None,
    usual: tuple[str, ...] = USUAL_UNITS,
) -> tuple[FileUnit, str, tuple[Caveat, ...]]:
    """The unit with its sentence and caveats; refuses a size that cannot be a floor's.

    Parameters
    ----------
    path : named in errors
    sizes : (3,) extents in file units
    settings : ``settings.unit`` wins over the format, and a contradiction is said
    by_format : what the format states, or None
    usual : the units that writers of the format use without saying so
    """
    unit = stated_unit(settings, by_format)
    doubts: tuple[Caveat, ...] = ()
    if unit is None:
        unit, doubt = infer_unit(path, float(sizes.max()), size_text(sizes), usual)
        doubts = (doubt,)
        line = f"{path.name}: unit {unit.name}, inferred from its size of {size_text(sizes)} units"
    else:
        line = f"{path.name}: unit {unit.name}, stated by {unit.said_by}"
        against = overruled(unit, by_format)
        if against is not None:
            doubts, line = (against,), f"{path.name}: {against.text[0].lower()}{against.text[1:]}"
        check_across(path, sizes * unit.mm, unit)
    return unit, line, doubts


def _near(points_mm: NDArray[np.float32]) -> NDArray[np.bool_] | None:
    """(n,) points within the largest believable capture of its middle, or None when all are."""
    if max(float(points_mm.max()), -float(points_mm.min())) <= MOST_ACROSS_MM:
        return None
    return np.asarray((np.abs(points_mm) <= MOST_ACROSS_MM).all(axis=1))


def _kept(column: NDArray[T] | None, keep: NDArray[np.bool_] | None) -> NDArray[T] | None:
    return column if column is None or keep is None else column[keep]


def scan_from_store(
    path: Path,
    reader: str,
    store: PointStore,
    settings: ReadSettings,
    *,
    unit: FileUnit | None = None,
    usual_units: tuple[str, ...] = USUAL_UNITS,
    up: tuple[float, float, float] | None = None,
    gravity_known: bool = False,
    viewpoints: NDArray[np.float64] | None = None,
    step: float = 0.0,
    kind: ScanKind = "cloud",
    inputs: tuple[InputFile, ...] | None = None,
    inferences: tuple[str, ...] = (),
    caveats: tuple[Caveat, ...] = (),
) -> Scan:
    """The scan of a filled store.

    Parameters
    ----------
    path, reader : the file and the name of the row that read it
    store : points in file units
    unit, usual_units : the unit the format states, or None; else those its writers use
    up, gravity_known : what the format promises
    viewpoints : (v, 3) float64, absolute, file units
    step : the file's own coordinate step, file units (0: none seen)
    inputs : the files read; None: ``path`` alone
    """
    if store.count == 0:
        what = "none of its points has finite coordinates" if store.seen else "it holds no points"
        raise InputError(path, what, "Check what was exported; a capture of a floor is needed")
    points = store.points()
    chosen, line, doubts = resolve_unit(path, extents(points), settings, unit, usual_units)
    points *= np.float32(chosen.mm)
    near = _near(points)
    if near is not None:
        points = points[near]
    step_mm = step * chosen.mm
    if step_mm > COARSE_STEP_MM:
        doubts = (*doubts, caveat("coarse_step", step_mm=step_mm))
    lines = [line, *inferences]
    if store.zeros_dropped:
        lines.append(f"{path.name}: {store.zeros_dropped:,} points at exactly 0 0 0 taken as missing readings")
    missing = store.seen - store.count - store.zeros_dropped
    if missing:
        lines.append(f"{path.name}: {missing:,} points without finite coordinates left out")
    if near is not None:
        lines.append(
            f"{path.name}: {int((~near).sum()):,} stray points over {MOST_ACROSS_MM / MM_PER_M:g} m away left out"
        )
    return Scan(
        kind=kind,
        points_mm=points,
        origin_mm=store.origin * chosen.mm,
        up=None if up is None else np.array(up, dtype=np.float64),
        gravity_known=gravity_known,
        inputs=inputs if inputs is not None else (fingerprint(path, reader),),
        view_of_point=_kept(store.views(), near),
        viewpoints_mm=None if viewpoints is None else (viewpoints - store.origin) * chosen.mm,
        colour=_kept(store.colours(), near),
        step_mm=step_mm,
        inferences=tuple(lines),
        caveats=(*doubts, *caveats),
    )
