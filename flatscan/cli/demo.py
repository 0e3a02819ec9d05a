"""``flatscan demo``: an invented floor, captured and checked, to see what comes out."""

from __future__ import annotations

import shutil
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options


class Kind(StrEnum):
    """The captures that ``synth.demo`` can write."""

    LASER = "laser"
    PHONE = "phone"
    MESH = "mesh"
    LEVELS = "levels"
    STRAIGHTEDGE = "straightedge"
    TILES = "tiles"


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="New folder for the invented capture and its result.")
    ],
    kind: Annotated[
        Kind, typer.Option(metavar="KIND", help="Sensor: laser, phone, mesh, levels, straightedge or tiles.")
    ] = Kind.LASER,
    limits: options.Limits = None,
    seed: options.Seed = 20_260_101,
) -> None:
    """Invent a floor, capture it with a simulated sensor, check it."""
    from flatscan.cli.bars import Bars
    from flatscan.judgement import load_limits
    from flatscan.judgement.limit_files import DEFAULT_LIMITS
    from flatscan.report import output
    from flatscan.settings import Settings
    from flatscan.synth.demo import write_demo
    from flatscan.workflow import check

    output.refuse_existing(folder, force=False)
    settings = Settings(limits=tuple(limits or (DEFAULT_LIMITS,)), seed=seed)
    load_limits(settings.limits)
    try:
        capture = write_demo(folder, kind=kind.value, seed=seed)
        options.say(f"An invented room, nobody's real floor, was captured and written to {folder}. Checked, it says:")
        typer.echo()
        report = check(capture, settings=settings, progress=Bars())
        written = output.write_report(report, folder / "result")
    except BaseException:
        # A demo that was stopped halfway would stand in the way of the next.
        shutil.rmtree(folder, ignore_errors=True)
        raise
    typer.echo(output.as_words(report, written))
