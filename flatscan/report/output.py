"""The result folder: written aside, then renamed into place, so that it is whole or not there."""

from __future__ import annotations

import os
import secrets
import shutil
from typing import TYPE_CHECKING

from flatscan.errors import OutputError
from flatscan.report.result import json_of, result_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.report.report import Report

#: Every name a result folder may hold, as they are told to people. A folder with anything else in it is not replaced,
#: even with --force.
FILE_NAMES = (
    "result.json", "heatmap.png", "report.html", "gaps.csv", "findings.csv", "areas.csv", "height.tif", "height.json",
    "joints.csv", "stations.csv", "next_readings.csv", "floor.jpg",
)  # fmt: skip


def refuse_existing(folder: Path, *, force: bool) -> None:
    """Raise OutputError where ``write_report`` would: before the long work, not after it."""
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise OutputError(folder, f"there is no folder {parent} to make it in", "Make that first, or check the path")
    if not os.access(parent, os.W_OK):
        raise OutputError(folder, f"you may not write into {parent}", "Choose another folder")
    if not (folder.exists() or folder.is_symlink()):
        return
    if not folder.is_dir():
        raise OutputError(folder, "a file of that name exists", "Choose another folder name")
    strangers = sorted(entry.name for entry in folder.iterdir() if entry.name not in FILE_NAMES)
    if not force:
        advice = "Choose another folder" if strangers else "Choose another folder, or pass --force to replace it"
        raise OutputError(folder, "the folder exists", advice)
    if strangers:
        what = f"the folder holds {strangers[0]!r}, which is not part of a result, so it is not replaced"
        raise OutputError(folder, what, "Choose another folder, or take that out first")


def write_report(report: Report, out: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the result folder and return its files.

    Parameters
    ----------
    report : the whole run
    out : the folder to make, in one that is there
    force : replace a result folder of that name; the old one is there until the new one is whole

    Raises
    ------
    OutputError
        where the folder exists (and may not be replaced) or cannot be written
    """
    refuse_existing(out, force=force)
    place = out.resolve()
    aside = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        aside.mkdir()
        _write_files(report, aside)
        refuse_existing(place, force=force)
        _put_in_place(aside, place)
    except OSError as error:
        raise OutputError(
            out, f"cannot be written: {error.strerror or error}", "Choose a folder that you may write to"
        ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return tuple(out / name for name in FILE_NAMES if (out / name).exists())


def as_json(report: Report) -> str:
    """What ``result.json`` holds."""
    return json_of(result_of(report)).decode().rstrip("\n")


def as_words(report: Report, written: Sequence[Path] = ()) -> str:
    """The summary as fits standard output: coloured on a terminal, plain ASCII where it must be."""
    import sys

    from flatscan.report.terminal import summary, wants_ascii, wants_colour

    stream = sys.stdout
    return summary(report, colour=wants_colour(stream), ascii_text=wants_ascii(stream), files=written)


def _write_files(report: Report, folder: Path) -> None:
    from flatscan.report.heatmap import heatmap_png
    from flatscan.report.heights import write_heights
    from flatscan.report.joint_tables import joints_csv, stations_csv
    from flatscan.report.joint_words import judged_joints
    from flatscan.report.page import page_html
    from flatscan.report.picture.floor_photo import floor_jpg
    from flatscan.report.readings_sheet import readings_csv
    from flatscan.report.tables import areas_csv, findings_csv, gaps_csv

    (folder / "result.json").write_bytes(json_of(result_of(report)))
    tables = {"gaps": gaps_csv, "findings": findings_csv, "areas": areas_csv}
    if report.measurement.joints is not None and report.measurement.joints.joints:
        tables |= {"joints": joints_csv, "stations": stations_csv}
    if any(reading.kind is not None for reading in report.verdict.next_readings):
        tables["next_readings"] = lambda report: readings_csv(report.verdict)
    for name, table in tables.items():
        (folder / f"{name}.csv").write_text(table(report), encoding="utf-8", newline="")
    write_heights(report.surface, folder / "height.tif")
    picture = heatmap_png(report)
    (folder / "heatmap.png").write_bytes(picture)
    seen_from_above = b""
    if report.picture is not None:
        seen_from_above = floor_jpg(report.picture, report.surface, judged_joints(report))
        (folder / "floor.jpg").write_bytes(seen_from_above)
    page = page_html(report, picture, seen_from_above)
    (folder / "report.html").write_text(page, encoding="utf-8", newline="\n")


def _put_in_place(aside: Path, place: Path) -> None:
    """Rename; an old folder is moved aside first and moved back if the rename fails."""
    if not place.exists():
        aside.rename(place)
        return
    old = place.with_name(f".{place.name}.{secrets.token_hex(4)}.old")
    place.rename(old)
    try:
        aside.rename(place)
    except BaseException:
        old.rename(place)
        raise
    shutil.rmtree(old)
