"""The commands, gathered. One file per command; this one turns errors into one sentence and exit code 2."""

from __future__ import annotations

import sys

import typer

from flatscan.cli import check, demo, limits
from flatscan.errors import EXIT_BAD_INPUT, FlatscanError

app = typer.Typer(
    name="flatscan",
    help="Measure how flat an old floor is, judge it against stated limits, and plan the levelling.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command(name="check")(check.check)
app.command(name="limits")(limits.limits)
app.command(name="demo")(demo.demo)


@app.callback(invoke_without_command=True)
def _root(
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    if version:
        from flatscan import __version__

        typer.echo(f"flatscan {__version__}")
        raise typer.Exit


def run() -> None:
    """Run the command line; a ``FlatscanError`` becomes one line on standard error and exit code 2."""
    try:
        app()
    except FlatscanError as error:
        print(f"flatscan: {error}", file=sys.stderr)
        raise SystemExit(EXIT_BAD_INPUT) from None
    except KeyboardInterrupt:
        print("flatscan: stopped; nothing was written.", file=sys.stderr)
        raise SystemExit(130) from None
