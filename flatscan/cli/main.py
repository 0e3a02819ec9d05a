"""The commands, gathered. One file per command; this one turns errors into one sentence and exit code 2."""

from __future__ import annotations

import sys
from typing import Any, NoReturn

import typer

from flatscan.cli import check, compare, demo, level, limits, schema, sheet, survey
from flatscan.errors import EXIT_BAD_INPUT, FlatscanError

#: A wrong command, option or argument: what every such error of the parser is a kind of.
_USAGE_ERROR: Any = typer.BadParameter.__bases__[0]
#: What a shell calls a program that Ctrl-C ended.
_STOPPED = 130

app = typer.Typer(
    name="flatscan",
    help="Measure how flat an old floor is, judge it against stated limits, and plan the levelling.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command(name="check")(check.check)
app.command(name="level")(level.level)
app.command(name="compare")(compare.compare)
app.command(name="limits")(limits.limits)
app.command(name="sheet")(sheet.sheet)
app.command(name="demo")(demo.demo)
app.command(name="schema")(schema.schema)
app.add_typer(survey.app, name="survey")


@app.callback(invoke_without_command=True)
def _root(
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    if version:
        from flatscan import __version__

        typer.echo(f"flatscan {__version__}")
        raise typer.Exit


def run() -> None:
    """Run the command line: what the user got wrong becomes one line on standard error and exit code 2.

    Anything else that is raised is a mistake of ours: its traceback is kept, for whoever mends it.
    """
    try:
        code = app(standalone_mode=False)
    except FlatscanError as error:
        _refuse(str(error))
    except _USAGE_ERROR as error:
        _refuse(_usage(error))
    except (KeyboardInterrupt, typer.Abort):
        code = _STOPPED
    if code == _STOPPED:
        print("flatscan: stopped; nothing was written.", file=sys.stderr)
    raise SystemExit(code)


def _usage(error: Any) -> str:
    """A wrong command or option in one line, with the help that would have told."""
    said = " ".join(error.format_message().split())
    command = error.ctx.command_path if error.ctx is not None else "flatscan"
    return f"{said}{'' if said.endswith(('.', '?', ')')) else '.'} See `{command} --help`."


def _refuse(sentence: str) -> NoReturn:
    """One line, in signs that a terminal only shows: a file's name or its text may hold others."""
    from flatscan.report.words.plain_text import clean

    print(f"flatscan: {clean(sentence)}", file=sys.stderr)
    raise SystemExit(EXIT_BAD_INPUT) from None
