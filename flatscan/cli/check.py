"""``flatscan check``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flatscan.cli import options

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Verdict

#: What ``--exit-code`` returns for each answer; a floor that may not be laid over yet is not decided.
EXIT_CODES = {"lay_as_is": 0, "fill_joints_and_lips": 3, "level_areas": 3, "level_all": 3, "not_decided": 4}


def check(
    sources: Annotated[
        list[Path],
        typer.Argument(
            metavar="SOURCE",
            help="Capture: a folder of depth frames, a cloud, a mesh, a levels table or a table of hand readings.",
        ),
    ],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Folder to write the result into.")
    ] = None,
    limits: options.Limits = None,
    unit: Annotated[
        str | None,
        typer.Option(
            metavar="UNIT", help="Length unit of the file: mm, cm, m, in or ft; if not given, read or inferred."
        ),
    ] = None,
    up: Annotated[str | None, typer.Option(metavar="AXIS", help="Axis that points up: x, y, z, -x, -y or -z.")] = None,
    gravity: Annotated[
        bool | None,
        typer.Option("--gravity/--no-gravity", help="The up axis is, or is not, truly vertical (slope is then given)."),
    ] = None,
    depth_per_m: Annotated[
        float | None, typer.Option(metavar="COUNTS", help="Counts per metre in depth images, e.g. 1000.")
    ] = None,
    camera: Annotated[Path | None, typer.Option(metavar="FILE", help="Camera file for a single depth image.")] = None,
    cell: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Side of a grid cell, e.g. 10 or '1 cm'; chosen if not given.")
    ] = None,
    skirting: Annotated[
        str, typer.Option(metavar="LENGTH", help="Strip along the walls that is not judged.")
    ] = "30 mm",
    edges: Annotated[
        str, typer.Option(metavar="LENGTHS", help="Straightedge lengths, separated by commas.")
    ] = "0.2 m, 1 m, 2 m, 3 m",
    directions: Annotated[
        int, typer.Option(metavar="COUNT", help="Directions in which the straightedge is laid.", min=2, max=72)
    ] = 12,
    line: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X1,Y1,X2,Y2", help="A line to read FF and FL along, metres on the map; laid out if not given."
        ),
    ] = None,
    joints: Annotated[
        bool, typer.Option("--joints/--no-joints", help="Look for joints between tiles and measure them.")
    ] = True,
    tile: Annotated[
        str | None,
        typer.Option(metavar="LENGTHxWIDTH", help="Size of the tiles, e.g. '300x600'; helps, and checks the scale."),
    ] = None,
    tile_edge: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="How far the rounding of a tile's edge reaches in, e.g. 0.5; 0: sharp."),
    ] = None,
    station: Annotated[
        str, typer.Option(metavar="LENGTH", help="Joints are measured at places no further apart than this.")
    ] = "50 mm",
    readings: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Hand readings of the same floor: next_readings.csv or a field sheet, filled in."
        ),
    ] = None,
    leave_out_bad_rows: Annotated[
        bool,
        typer.Option("--leave-out-bad-rows", help="Go on without the rows of a readings table that cannot be used."),
    ] = False,
    door: Annotated[
        list[str] | None, typer.Option(metavar="X1,Y1,X2,Y2", help="A door to draw on the map, metres on the map.")
    ] = None,
    north: Annotated[
        float | None, typer.Option(help="North on the map, degrees anticlockwise from its right.", min=-360, max=360)
    ] = None,
    confidence: Annotated[
        float, typer.Option(metavar="CHANCE", help="Chance needed to call a value within or over, 0.5 to 1.")
    ] = 0.95,
    product: options.ProductFile = None,
    survey: options.SurveyFile = None,
    margin: options.Margin = None,
    method: options.Method = None,
    paper: options.Paper = "a4",
    units: options.Units = "metric",
    full: options.Full = False,
    json: Annotated[
        bool, typer.Option("--json", help="Print result.json to standard output instead of words.")
    ] = False,
    exit_code: Annotated[
        bool,
        typer.Option("--exit-code", help="Exit 0: ready, 2: unusable input, 3: work needed, 4: not decided."),
    ] = False,
    force: options.Force = False,
    seed: options.Seed = 20_260_101,
) -> None:
    """Measure a captured floor, judge it and plan the levelling."""
    from flatscan.cli.bars import Bars
    from flatscan.report import output
    from flatscan.report.words import plain_text
    from flatscan.settings import (
        JointSettings,
        JudgeSettings,
        MeasureSettings,
        PlaceSettings,
        ReadSettings,
        Settings,
        SurfaceSettings,
    )
    from flatscan.sources.survey import survey_beside
    from flatscan.workflow import check as run_check

    settings = Settings(
        read=ReadSettings(
            unit=options.length_unit(unit),
            up=options.up_axis(up),
            gravity=gravity,
            depth_per_m=options.counts_per_m(depth_per_m),
            camera_file=options.file_given(camera, "--camera"),
            leave_out_bad_rows=leave_out_bad_rows,
        ),
        surface=SurfaceSettings(
            cell_mm=None if cell is None else options.length_mm(cell, "--cell"),
            skirting_mm=options.length_mm(skirting, "--skirting", or_none=True),
        ),
        measure=MeasureSettings(
            edges_mm=options.lengths_mm(edges, "--edges"),
            directions=directions,
            lines_mm=options.segments_mm(line, "--line"),
        ),
        joints=JointSettings(
            find=joints,
            station_mm=options.length_mm(station, "--station"),
            tile_mm=None if tile is None else options.tile_mm(tile, "--tile"),
            tile_edge_mm=None if tile_edge is None else options.length_mm(tile_edge, "--tile-edge", or_none=True),
            readings_file=options.file_given(readings, "--readings"),
        ),
        judge=JudgeSettings(confidence=options.share(confidence, "--confidence")),
        level=options.level_settings(product=product, survey=survey, margin=margin, method=method, paper=paper),
        place=PlaceSettings(north_deg=north, doors_mm=options.segments_mm(door, "--door")),
        limits=tuple(limits or ()),
        units=options.unit_system(units),
        seed=seed,
    )
    if out is not None:
        output.refuse_existing(out, force=force)
        options.outside_of(out, [*sources, *(path for path in (camera, readings, product, survey) if path is not None)])
    beside = survey_beside(sources) if survey is None else None
    if beside is not None:
        said = plain_text.clean(str(beside))
        typer.echo(f"{said} lies beside the capture and is not used: give it with --survey {said}.", err=True)
    report = run_check(options.named_once(sources), settings=settings, progress=Bars())
    written = output.write_report(report, out, force=force) if out is not None else ()
    typer.echo(output.as_json(report) if json else output.as_words(report, written, full=full))
    if exit_code:
        raise typer.Exit(_exit_code(report.verdict))


def _exit_code(verdict: Verdict) -> int:
    flat_enough = verdict.answer.code == "lay_as_is"
    if flat_enough and (verdict.readiness is None or not verdict.readiness.ready):
        return EXIT_CODES["not_decided"]
    return EXIT_CODES[verdict.answer.code]
