"""``flatscan level``: plan the levelling anew from a result folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options


def level(
    result: Annotated[
        Path, typer.Argument(metavar="RESULT", help="Result folder that flatscan check wrote; the scan is not needed.")
    ],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Folder to write the plan into; else only printed.")
    ] = None,
    product: options.ProductFile = None,
    survey: options.SurveyFile = None,
    margin: options.Margin = None,
    method: options.Method = None,
    paper: options.Paper = "a4",
    units: options.Units = "metric",
    full: options.Full = False,
    json: Annotated[
        bool, typer.Option("--json", help="Print levelling.json to standard output instead of words.")
    ] = False,
    force: options.Force = False,
    seed: options.Seed = 20_260_101,
) -> None:
    """Plan the levelling anew from a result folder."""
    from flatscan.cli.bars import Bars
    from flatscan.replanning import replan
    from flatscan.report import level_output
    from flatscan.said import speaking

    settings = options.level_settings(product=product, survey=survey, margin=margin, method=method, paper=paper)
    if out is not None:
        level_output.refuse_existing(out, force=force)
        options.outside_of(out, [path for path in (result, product, survey) if path is not None])
    with speaking(options.unit_system(units)):
        found = replan(result, settings, seed=seed, progress=Bars())
        if survey is None and found.survey is not None:
            options.say(f"As in the check, {found.survey.file.path.name} binds the levelling.", err=True)
        written = level_output.write_plan(found, out, force=force) if out is not None else ()
        typer.echo(level_output.as_json(found) if json else level_output.as_words(found, written, full=full))
