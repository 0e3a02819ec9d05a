"""``flatscan limits``: which limit sets there are, and what each says and where it comes from."""

from __future__ import annotations

from typing import Annotated

import typer


def limits(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A limit set to explain, or a file of your own.")
    ] = None,
) -> None:
    """List the limit sets, or explain one with its source."""
    from flatscan.judgement import explain, known_limit_sets, list_as_text, load_limits

    if name is None:
        typer.echo(list_as_text(known_limit_sets()))
    else:
        (limit_set,) = load_limits((name,))
        typer.echo(explain(limit_set))
