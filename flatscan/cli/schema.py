"""``flatscan schema``: what a program that reads our files may count on."""

from __future__ import annotations

from typing import Annotated

import typer

NAMES = ("result", "levelling", "comparison", "survey-check")


def schema(
    name: Annotated[str, typer.Argument(metavar="FILE", help=f"Which file: {', '.join(NAMES)}.")] = NAMES[0],
) -> None:
    """Print the JSON Schema of a file for programs."""
    from flatscan.errors import SettingsError
    from flatscan.report.result.schema_files import SCHEMAS, published

    asked = name.strip().removesuffix(".json")
    if asked not in SCHEMAS:
        raise SettingsError("FILE", f"there is no schema for {name!r}", f"Use one of {', '.join(SCHEMAS)}")
    typer.echo(published(asked).rstrip("\n"))
