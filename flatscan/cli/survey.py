"""``flatscan survey``: a survey file to fill in, and whether it is filled in."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options

app = typer.Typer(
    help="Start or check a survey file: what you find on site.",
    rich_markup_mode=None,
)


@app.callback(invoke_without_command=True)
def _help(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="File to write, such as survey.toml.")],
    force: options.Force = False,
) -> None:
    """Write an empty survey file in which every key is explained."""
    from flatscan.sources.survey.template import write_template

    write_template(file, force=force)
    options.say(f"Written: {file}. Fill in what you know, then run `flatscan survey check {shlex.quote(str(file))}`.")


@app.command()
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Survey file (TOML).")],
    units: options.Units = "metric",
    json: Annotated[bool, typer.Option("--json", help="Print the list for programs instead of words.")] = False,
) -> None:
    """Read a survey file; list what it records and lacks."""
    from flatscan.judgement import load_limits
    from flatscan.report.result.result import json_text
    from flatscan.report.result.survey_check import check_of, check_words
    from flatscan.said import speaking
    from flatscan.sources.survey import read_survey

    with speaking(options.unit_system(units)):
        survey = read_survey(file)
        if survey.site.covering.limits:
            load_limits(survey.site.covering.limits)
        typer.echo(json_text(check_of(survey)).decode().rstrip("\n") if json else check_words(survey))
