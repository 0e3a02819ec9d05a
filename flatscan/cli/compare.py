"""``flatscan compare``: a floor measured before the work and after it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flatscan.cli import options
from flatscan.errors import SettingsError

#: As ``comparing.alignment.TURNS``, which a test compares; imported there, numpy would come with it.
_TURNS = (0, 90, 180, 270)


def compare(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="Result folder of the floor before the work.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="Result folder of the same floor after it.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Folder to write the comparison into; else printed.")
    ] = None,
    turned: Annotated[
        int | None,
        typer.Option(
            "--turned",
            metavar="DEGREES",
            help="How far the map after is turned anticlockwise against the map before: 0, 90, 180 or 270; found if "
            "not given.",
        ),
    ] = None,
    units: options.Units = "metric",
    paper: options.Paper = "a4",
    json: Annotated[
        bool, typer.Option("--json", help="Print comparison.json to standard output instead of words.")
    ] = False,
    force: options.Force = False,
    seed: options.Seed = 20_260_101,
) -> None:
    """Compare a floor before and after the work."""
    from flatscan.rechecking import recheck
    from flatscan.report.comparison import output

    if out is not None:
        output.refuse_existing(out, force=force)
        options.outside_of(out, [before, after])
    run = recheck(
        before,
        after,
        turned=_quarter(turned),
        seed=seed,
        units=options.unit_system(units),
        paper=options.level_settings(product=None, survey=None, margin=None, method=None, paper=paper).paper,
    )
    written = output.write_comparison(run, out, force=force) if out is not None else ()
    typer.echo(output.as_json(run) if json else output.as_words(run, written))


def _quarter(turned: int | None) -> int | None:
    if turned is not None and turned not in _TURNS:
        raise SettingsError("--turned", f"{turned} is no quarter turn", f"Use one of {', '.join(map(str, _TURNS))}")
    return turned
