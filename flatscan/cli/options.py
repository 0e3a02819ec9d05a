"""Options that more than one command takes, and how their texts become settings."""

from __future__ import annotations

from typing import Annotated, get_args

import typer

from flatscan.errors import SettingsError
from flatscan.settings import UpAxis

UP_AXES: tuple[UpAxis, ...] = get_args(UpAxis)

Limits = Annotated[
    list[str] | None,
    typer.Option("--limits", help="A limit set's name, or a file of your own; may be given more than once."),
]
Seed = Annotated[int, typer.Option("--seed", help="Seed of the simulated noise; the same seed repeats the run.")]
Force = Annotated[bool, typer.Option("--force", help="Replace an output that exists.")]


def lengths_mm(text: str, option: str) -> tuple[float, ...]:
    """Millimetres from ``"2000"``, ``"2 m, 0.2 m"`` or ``"10 ft"``; raises SettingsError.

    >>> lengths_mm("0.2 m, 2 m", "--edges")
    (200.0, 2000.0)
    """
    return tuple(length_mm(part, option) for part in text.split(",") if part.strip())


def length_mm(text: str, option: str) -> float:
    """One length in millimetres; a bare number is millimetres. Raises SettingsError."""
    from flatscan.units import LENGTH_UNITS, MM_PER

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
    if not 0.0 < value < 1e6:  # noqa: PLR2004 - no room is a kilometre long
        raise SettingsError(option, f"{text!r} is not a usable length", "Give a length between 0 and 1000 m")
    return value


def up_axis(text: str | None) -> UpAxis | None:
    """The axis named by ``--up``; raises SettingsError."""
    if text is None:
        return None
    for axis in UP_AXES:
        if text.lower().removeprefix("+") == axis:
            return axis
    raise SettingsError("--up", f"{text!r} is not an axis", f"Use one of {', '.join(UP_AXES)}")


def share(value: float, option: str) -> float:
    """A chance strictly between one half and one; raises SettingsError."""
    if not 0.5 < value < 1.0:  # noqa: PLR2004 - below one half the rule would call both
        raise SettingsError(
            option, f"{value:g} is not a usable chance", "Give a number between 0.5 and 1, such as 0.95"
        )
    return value
