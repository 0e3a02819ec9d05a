"""Options that more than one command takes, and how their texts become settings."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from flatscan.errors import OutputError, SettingsError
from flatscan.settings import LevelSettings, Segment, UpAxis
from flatscan.settings import Paper as PaperSize
from flatscan.units import LENGTH_UNITS, MM_PER, UNIT_SYSTEMS, UnitSystem

if TYPE_CHECKING:
    from collections.abc import Sequence

UP_AXES: tuple[UpAxis, ...] = get_args(UpAxis)

Limits = Annotated[
    list[str] | None,
    typer.Option(
        "--limits", metavar="NAME", help="A limit set's name, or a file of your own; may be given more than once."
    ),
]
Seed = Annotated[
    int,
    typer.Option("--seed", metavar="NUMBER", min=0, help="Seed of the simulated noise; the same seed repeats the run."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace an output that exists.")]
ProductFile = Annotated[
    Path | None, typer.Option("--product", metavar="FILE", help="Product file (TOML): compound, layers, prices.")
]
SurveyFile = Annotated[
    Path | None,
    typer.Option("--survey", metavar="FILE", help="Survey file (TOML): doors, zones, heights that bind the levelling."),
]
Margin = Annotated[
    str | None, typer.Option("--margin", metavar="LENGTH", help="Level to this much below the limit, e.g. '1 mm'.")
]
Method = Annotated[
    str | None,
    typer.Option(
        "--method",
        metavar="WAY",
        help="Way to draw: patch, grind-and-patch, skim, screed, flood or lift-tiles; the advised one if not given.",
    ),
]
Units = Annotated[
    str, typer.Option("--units", metavar="SYSTEM", help="What you read: metric, or imperial (inches and feet).")
]
Full = Annotated[bool, typer.Option("--full", help="Print everything there is to say here, not one screen of it.")]
Paper = Annotated[str, typer.Option("--paper", metavar="SIZE", help="Paper of the drawings: a4 or letter.")]


def lengths_mm(text: str, option: str) -> tuple[float, ...]:
    """Millimetres from ``"2000"``, ``"2 m, 0.2 m"`` or ``"10 ft"``; raises SettingsError.

    >>> lengths_mm("0.2 m, 2 m", "--edges")
    (200.0, 2000.0)
    """
    found = tuple(length_mm(part, option) for part in text.split(",") if part.strip())
    if not found:
        raise SettingsError(option, "no length was given", "Write them like '0.2 m, 2 m'")
    return found


def length_mm(text: str, option: str, *, or_none: bool = False) -> float:
    """One length in millimetres, a bare number being millimetres; ``or_none``: 0 is one too. Raises SettingsError."""
    number = text.strip()
    unit = "mm"
    for known in sorted(LENGTH_UNITS, key=len, reverse=True):
        if number.lower().endswith(known):
            number, unit = number[: -len(known)].strip(), known
            break
    try:
        value = float(number) * MM_PER[unit]
    except ValueError:
        raise SettingsError(option, f"{text!r} is not a length", "Write it like 2000, '2 m' or '10 ft'") from None
    if value == 0.0 and or_none:
        return 0.0
    if not 0.0 < value < 1e6:  # noqa: PLR2004 - no room is a kilometre long
        raise SettingsError(option, f"{text!r} is not a usable length", "Give a length between 0 and 1000 m")
    return value


#: No tile or board is smaller or larger than this on a side, mm.
_TILE_MM = (10.0, 5000.0)


def tile_mm(text: str, option: str) -> tuple[float, float]:
    """Length and width of a tile, mm, the longer first; raises SettingsError.

    >>> tile_mm("300x600", "--tile"), tile_mm("30×60 cm", "--tile")
    ((600.0, 300.0), (600.0, 300.0))
    """
    advice = "Write it like 300x600, '30x60 cm' or '12x12 in'"
    sides = text.lower().replace("×", "x").split("x")
    if len(sides) != 2:  # noqa: PLR2004 - a length and a width
        raise SettingsError(option, f"{text!r} is not a size", advice)
    # A unit after the last number is meant for both.
    unit = sides[1].strip().lstrip("0123456789.,").strip()
    first = sides[0].strip() if sides[0].strip()[-1:].isalpha() else f"{sides[0].strip()} {unit}"
    try:
        long, short = sorted((length_mm(first, option), length_mm(sides[1], option)), reverse=True)
    except SettingsError as error:
        raise SettingsError(option, f"{text!r} is not a size", advice) from error
    if not _TILE_MM[0] <= short <= long <= _TILE_MM[1]:
        raise SettingsError(option, f"{text!r} is no usable tile size", "Give sides between 10 mm and 5 m")
    return long, short


def up_axis(text: str | None) -> UpAxis | None:
    """The axis named by ``--up``; raises SettingsError."""
    if text is None:
        return None
    for axis in UP_AXES:
        if text.lower().removeprefix("+") == axis:
            return axis
    raise SettingsError("--up", f"{text!r} is not an axis", f"Use one of {', '.join(UP_AXES)}")


def unit_system(text: str) -> UnitSystem:
    """The system named by ``--units``; raises SettingsError."""
    for system in UNIT_SYSTEMS:
        if text.strip().lower() == system:
            return system
    raise SettingsError("--units", f"{text!r} is not known", f"Use {' or '.join(UNIT_SYSTEMS)}")


def share(value: float, option: str) -> float:
    """A chance strictly between one half and one; raises SettingsError."""
    if not 0.5 < value < 1.0:  # noqa: PLR2004 - below one half the rule would call both
        raise SettingsError(
            option, f"{value:g} is not a usable chance", "Give a number between 0.5 and 1, such as 0.95"
        )
    return value


def length_unit(text: str | None) -> str | None:
    """The unit named by ``--unit``; raises SettingsError."""
    if text is None or text.lower() in LENGTH_UNITS:
        return text and text.lower()
    raise SettingsError("--unit", f"{text!r} is not a unit known here", f"Use one of {', '.join(LENGTH_UNITS)}")


def counts_per_m(value: float | None) -> float | None:
    """A depth scale that can be one; raises SettingsError."""
    if value is None or (math.isfinite(value) and value > 0.0):
        return value
    raise SettingsError("--depth-per-m", f"{value:g} is not a usable scale", "Give counts per metre, such as 1000")


def file_given(path: Path | None, option: str) -> str | None:
    """The path of a file that is there; raises SettingsError."""
    if path is None:
        return None
    if path.is_file():
        return str(path)
    if path.is_dir():
        raise SettingsError(f"{option} {path}", "this is a folder", "Name the file in it")
    raise SettingsError(f"{option} {path}", "there is no such file", "Check the path")


#: As ``levelling.plan.METHOD_NAMES``, which a test compares; imported there, numpy would come with it.
METHODS = ("patch", "grind_and_patch", "skim", "screed", "flood", "lift_tiles")
PAPERS: tuple[PaperSize, ...] = get_args(PaperSize)


def level_settings(
    *, product: Path | None, survey: Path | None, margin: str | None, method: str | None, paper: str
) -> LevelSettings:
    """The levelling options as settings; raises SettingsError."""
    way = None if method is None else method.lower().replace("-", "_")
    if way is not None and way not in METHODS:
        known = ", ".join(name.replace("_", "-") for name in METHODS)
        raise SettingsError("--method", f"{method!r} is not a way of levelling known here", f"Use one of {known}")
    size = next((one for one in PAPERS if one == paper.lower()), None)
    if size is None:
        raise SettingsError("--paper", f"{paper!r} is not a paper known here", f"Use {' or '.join(PAPERS)}")
    return LevelSettings(
        margin_mm=0.0 if margin is None else length_mm(margin, "--margin", or_none=True),
        product_file=file_given(product, "--product"),
        survey_file=file_given(survey, "--survey"),
        method=way,
        paper=size,
    )


def say(sentence: str, *, err: bool = False) -> None:
    """Print a line with a file's name or a person's text in it: whatever signs it holds, a terminal only shows them."""
    from flatscan.report.words.plain_text import clean

    typer.echo(clean(sentence), err=err)


def named_once(sources: list[Path]) -> list[Path]:
    """The same list; raises SettingsError for a repeat, whose points would pass for a second look at the floor."""
    found = [path.resolve() for path in sources]
    for number, path in enumerate(found):
        if path in found[:number]:
            raise SettingsError(sources[number], "is named twice", "Name each file of the capture once")
    return sources


def outside_of(out: Path, given: Sequence[Path]) -> None:
    """Raise OutputError where an input lies in the folder that the result would replace."""
    place = out.resolve()
    for path in given:
        found = path.resolve()
        if found == place or place in found.parents:
            raise OutputError(out, f"it would be replaced, and {path} is read from it", "Choose another folder")


def segments_mm(texts: list[str] | None, option: str) -> tuple[Segment, ...]:
    """Lines over the floor from ``"x1, y1, x2, y2"`` in metres from the map's corner 0; raises SettingsError.

    >>> segments_mm(["0.5, 1, 4, 1"], "--line")
    (((500.0, 1000.0), (4000.0, 1000.0)),)
    """
    return tuple(_segment_mm(text, option) for text in texts or ())


def _segment_mm(text: str, option: str) -> Segment:
    try:
        x1, y1, x2, y2 = (float(part) * MM_PER["m"] for part in text.replace(",", " ").split())
        ends = ((x1, y1), (x2, y2))
        usable = all(math.isfinite(part) for end in ends for part in end) and ends[0] != ends[1]
    except ValueError:
        usable = False
    if not usable:
        advice = "Give four numbers, metres from corner 0 of the map, like '0.5, 1.2, 4.1, 1.2'"
        raise SettingsError(option, f"{text!r} is not a line from one place to another", advice)
    return ends
