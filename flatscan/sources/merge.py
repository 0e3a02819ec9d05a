"""Several clouds or meshes of one room become one scan, one view per source."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flatscan.errors import InputError
from flatscan.sources.scan import Scan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

T = TypeVar("T", bound=np.generic)

_MOST_VIEWS = 1 << 16


def merge_scans(scans: Sequence[Scan]) -> Scan:
    """One scan of all points in the frame of the first; a common frame is assumed, and said.

    Stations inside a source stay apart. Their positions are kept only when every source knows its
    own. What only some sources have (colour, weight) is dropped.
    """
    first = scans[0]
    names = [scan.inputs[0].path.name for scan in scans]
    kinds = {scan.kind for scan in scans}
    if len(kinds) > 1 or first.kind not in {"cloud", "mesh"}:
        what = " and ".join(f"{n} ({s.kind})" for n, s in zip(names, scans, strict=True))
        raise InputError(what, "they cannot be read as one capture", "Give clouds together, or one capture alone")
    points = np.empty((sum(len(scan.points_mm) for scan in scans), 3), dtype=np.float32)
    start = 0
    for scan in scans:
        end = start + len(scan.points_mm)
        np.add(scan.points_mm, (scan.origin_mm - first.origin_mm).astype(np.float32), out=points[start:end])
        start = end
    up, gravity_known = _common_up(scans, names)
    views, viewpoints = _views(scans)
    return Scan(
        kind=first.kind,
        points_mm=points,
        origin_mm=first.origin_mm,
        up=up,
        gravity_known=gravity_known,
        inputs=tuple(file for scan in scans for file in scan.inputs),
        view_of_point=views,
        viewpoints_mm=viewpoints,
        weight=_joined([scan.weight for scan in scans]),
        colour=_joined([scan.colour for scan in scans]),
        step_mm=max(scan.step_mm for scan in scans),
        inferences=(
            *(line for scan in scans for line in scan.inferences),
            f"{len(scans)} files merged: they are taken to share one coordinate frame",
        ),
        caveats=tuple(dict.fromkeys(doubt for scan in scans for doubt in scan.caveats)),
    )


def _common_up(scans: Sequence[Scan], names: list[str]) -> tuple[NDArray[np.float64] | None, bool]:
    known = [scan.up for scan in scans if scan.up is not None]
    if not known:
        return None, False
    if any(not np.allclose(up, known[0]) for up in known):
        raise InputError(", ".join(names), "the files disagree on which way is up", "State it with --up")
    return known[0].copy(), all(scan.gravity_known for scan in scans)


def _views(scans: Sequence[Scan]) -> tuple[NDArray[np.uint16], NDArray[np.float64] | None]:
    """Station numbers running on through the sources, and their positions when all are known."""
    parts: list[NDArray[np.uint16]] = []
    stations: list[NDArray[np.float64]] = []
    used = 0
    for scan in scans:
        own = scan.view_of_point
        many = 1 if own is None else int(own.max()) + 1
        if scan.viewpoints_mm is not None:
            many = max(many, len(scan.viewpoints_mm))
            stations.append(scan.viewpoints_mm + (scan.origin_mm - scans[0].origin_mm))
        if used + many > _MOST_VIEWS:
            raise InputError(
                scan.inputs[0].path, f"it brings the stations to over {_MOST_VIEWS:,}", "Give fewer files at once"
            )
        number = np.zeros(len(scan.points_mm), dtype=np.uint16) if own is None else own.copy()
        number += np.uint16(used)
        parts.append(number)
        used += many
    return np.concatenate(parts), np.concatenate(stations) if len(stations) == len(scans) else None


def _joined(parts: Sequence[NDArray[T] | None]) -> NDArray[T] | None:
    """All parts end to end, or None unless every source has one."""
    there = [part for part in parts if part is not None]
    return np.concatenate(there) if len(there) == len(parts) else None
