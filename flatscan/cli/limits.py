"""``flatscan limits``: which limit sets there are, and what each says and where it comes from."""

from __future__ import annotations

from typing import Annotated

import typer

from flatscan.cli import options


def limits(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A limit set to explain, or a file of your own.")
    ] = None,
    units: options.Units = "metric",
) -> None:
    """List the limit sets, or explain one with its source."""
    from flatscan.judgement import explain, known_limit_sets, list_as_text, load_limits
    from flatscan.said import speaking

    with speaking(options.unit_system(units)):
        if name is None:
            typer.echo(list_as_text(known_limit_sets()))
        else:
            (limit_set,) = load_limits((name,))
            typer.echo(explain(limit_set))
