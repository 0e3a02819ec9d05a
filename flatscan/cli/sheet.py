"""``flatscan sheet``: the field sheet to print, take to the site, fill in and type back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options


def sheet(
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="New folder for the sheet and its tables.")],
    room: Annotated[str | None, typer.Option(metavar="SIZE", help="Its two sides, like '5.0 x 4.0 m'.")] = None,
    outline: Annotated[
        str | None,
        typer.Option(
            metavar="CORNERS", help="For other shapes: all corners in turn, like '0,0 5,0 5,4 3,4 3,2.5 0,2.5'."
        ),
    ] = None,
    tools: Annotated[
        str,
        typer.Option("--with", metavar="TOOLS", help="What is at hand: straightedge, staff (with a level) or both."),
    ] = "both",
    edge: Annotated[str | None, typer.Option(metavar="LENGTH", help="Straightedge; 2 m (6 ft) if not given.")] = None,
    spacing: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Between rows; 1 m (3 ft) or half the room's width.")
    ] = None,
    stations: Annotated[int, typer.Option(metavar="COUNT", help="Readings along the straightedge.")] = 9,
    joints: Annotated[int, typer.Option(metavar="COUNT", help="Lines for joint widths and depths.")] = 10,
    lips: Annotated[int, typer.Option(metavar="COUNT", help="Lines for lips.")] = 10,
    title: Annotated[str, typer.Option(metavar="TEXT", help="A line of your own above the sheet.")] = "",
    paper: Annotated[str, typer.Option(metavar="SIZE", help="a4 or letter.")] = "a4",
    units: Annotated[str, typer.Option(metavar="SYSTEM", help="metric, or imperial: feet and inches.")] = "metric",
    force: options.Force = False,
) -> None:
    """Print a field sheet for measuring a floor by hand."""
    from flatscan.sheet.layout import lay_out
    from flatscan.sheet.predicted import outlook
    from flatscan.sheet.request import request_from
    from flatscan.sheet.words import summary
    from flatscan.sheet.write import refuse_existing, write_sheet

    request = request_from(
        room, outline, tools=tools, edge=edge, spacing=spacing, units=units, paper=paper, stations=stations,
        joints=joints, lips=lips, title=title.strip(),
    )  # fmt: skip
    refuse_existing(out, force=force)
    layout = lay_out(request)
    typer.echo("Reckoning what these readings will tell ...", err=True)
    found = outlook(request, layout)
    written = write_sheet(request, layout, found, out, force=force)
    typer.echo(summary(request, layout, found))
    options.say("Written: " + ", ".join(str(path) for path in written))
