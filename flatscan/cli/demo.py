"""``flatscan demo``: an invented floor, captured and checked, to see what comes out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options


def demo(
    folder: Annotated[Path, typer.Argument(help="New folder for the invented capture and its result.")],
    kind: Annotated[str, typer.Option(help="Sensor: laser, phone, mesh or levels.")] = "laser",
    limits: options.Limits = None,
    seed: options.Seed = 20_260_101,
) -> None:
    """Invent a floor, capture it with a simulated sensor, check it."""
    from flatscan.cli.bars import Bars
    from flatscan.cli.check import DEFAULT_LIMITS
    from flatscan.report import output
    from flatscan.settings import Settings
    from flatscan.synth.demo import write_demo
    from flatscan.workflow import check

    output.refuse_existing(folder, force=False)
    capture = write_demo(folder, kind=kind, seed=seed)
    typer.echo(f"An invented room was written to {folder}; nobody's real floor. Checking it:\n")
    report = check(capture, settings=Settings(limits=tuple(limits or DEFAULT_LIMITS), seed=seed), progress=Bars())
    written = output.write_report(report, folder / "result")
    typer.echo(output.as_words(report, written))
