"""The one door: any capture in, one ``Scan`` out, refused here when no floor can be in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from flatscan.errors import InputError
from flatscan.progress import SILENT, Progress
from flatscan.settings import ReadSettings
from flatscan.sources.guard import fingerprint
from flatscan.sources.inference import FileUnit, check_across, extents
from flatscan.sources.merge import merge_scans
from flatscan.sources.orientation import oriented
from flatscan.sources.table import Chosen, choose
from flatscan.units import LENGTH_UNITS, mm_per

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.sources.scan import Scan

_LEAST_POINTS = 100
_LINE_SAMPLE = 100_000
#: Root-mean-square width below which points are a line: a profile's noise, not a strip of floor.
_LINE_WIDTH_MM = 5.0


def read(
    paths: Path | str | Sequence[Path | str],
    settings: ReadSettings | None = None,
    *,
    progress: Progress = SILENT,
) -> Scan:
    """Read one capture of a floor.

    Parameters
    ----------
    paths : a file, a folder, or several clouds (or meshes) of one room in one coordinate frame
    settings : what the files leave unsaid; None: infer, and say what was inferred
    progress : told about files that take a while

    Returns
    -------
    Scan
        with what was inferred as sentences in ``inferences`` and doubts in ``caveats``

    Raises
    ------
    flatscan.errors.InputError
        one sentence: which file, what is wrong with it, what to do
    """
    settings = settings or ReadSettings()
    listed = [paths] if isinstance(paths, (str, Path)) else list(paths)
    if not listed:
        raise InputError("no path", "nothing to read was given", "Give a file or a folder with a capture")
    chosen = [one for path in listed for one in choose(Path(path))]
    _check_groups(chosen)
    _check_copies(chosen)
    scans = [_read_one(one, settings, progress) for one in chosen]
    where = ", ".join(one.path.name for one in chosen) if len(chosen) > 1 else str(chosen[0].path)
    scan = scans[0] if len(scans) == 1 else merge_scans(scans)
    _check_points(scan, where)
    unit = settings.unit if settings.unit in LENGTH_UNITS else "m"
    said_by = "the files taken together" if len(scans) > 1 else "as read"
    check_across(where, extents(scan.points_mm), FileUnit(unit, mm_per(unit), said_by))
    return oriented(scan, settings, where)


def _read_one(chosen: Chosen, settings: ReadSettings, progress: Progress) -> Scan:
    scan = chosen.read(settings, progress)
    return scan if chosen.line is None else replace(scan, inferences=(chosen.line, *scan.inferences))


def _check_groups(chosen: Sequence[Chosen]) -> None:
    """Only clouds and meshes may come several at once."""
    if len(chosen) < 2 or all(one.group == "cloud" for one in chosen):  # noqa: PLR2004
        return
    listed = ", ".join(f"{one.path.name} ({one.reader.name})" for one in chosen)
    raise InputError(listed, "these cannot be read as one capture", "Give clouds of one room together, or one capture")


def _check_copies(chosen: Sequence[Chosen]) -> None:
    """Refuse one file under two names: its points would pass for a second, independent capture."""
    seen: dict[tuple[int, str], Chosen] = {}
    sizes = [one.path.stat().st_size for one in chosen]
    for one, size in zip(chosen, sizes, strict=True):
        if sizes.count(size) < 2:  # noqa: PLR2004 - only files of one size can be equal, the others need no hash
            continue
        first = seen.setdefault((size, fingerprint(one.path, "").sha256), one)
        if first is not one:
            raise InputError(
                f"{first.path}, {one.path}",
                "these are the same file twice, byte for byte",
                "Give it once; a second capture is one taken again",
            )


def _check_points(scan: Scan, where: str) -> None:
    """Refuse too few points, and points on one line: no floor can be found in them."""
    count = len(scan.points_mm)
    if count < _LEAST_POINTS:
        advice = f"A floor needs at least {_LEAST_POINTS}; check the export"
        if scan.inputs[0].kind == "text":
            advice += ", or name the third column height or staff if these are levels read by hand"
        raise InputError(where, f"it holds only {count} points", advice)
    sample = scan.points_mm[:: max(1, count // _LINE_SAMPLE)].astype(np.float64)
    spread = np.linalg.eigvalsh(np.cov(sample, rowvar=False))
    if float(np.sqrt(max(spread[-2], 0.0))) < _LINE_WIDTH_MM:
        raise InputError(where, "all its points lie on one line", "Capture an area; a line is no floor")
