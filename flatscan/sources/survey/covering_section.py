"""What is asked of the new floor, and the room it comes into: ``[covering]``, ``[climate]`` and ``[heating]``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from flatscan.errors import InputError
from flatscan.sources.survey.keys import section_of
from flatscan.sources.survey.kinds import COVERING, HEATING, one_of
from flatscan.sources.survey.section import Range
from flatscan.sources.survey.site import Climate, Covering, Heating
from flatscan.sources.survey.values import millimetres, moment, texts, yes_no

if TYPE_CHECKING:
    from pathlib import PurePath

    from flatscan.sources.survey.section import Section

#: A file of limits is far smaller.
_MOST_BYTES = 1_000_000
_HEATED_KEYS = ("off", "surface_most_c", "cover_mm")
_HOURS = Range(0.0, 10_000.0, "from 0 to 10000 hours")
#: No room is drier than this, and whoever writes a share of 1 stays below it.
HUMIDITY = Range(5.0, 100.0, "from 5 to 100 %, in percent and not as a share of 1")
#: Up to here no room is hotter, and whoever writes °F for a room that is lived in goes beyond it.
_AIR_C = Range(-20.0, 45.0, "from -20 to 45 °C, in °C and not in °F")
_SURFACE_C = Range(15.0, 60.0, "from 15 to 60 °C, in °C and not in °F")
_THICKNESS = Range(0.0, 100.0, "more than 0 and at most 100 mm", open_below=True)
_COVER = Range(0.0, 500.0, "from 0 to 500 mm")


def read_covering(top: Section) -> Covering:
    """``[covering]``. Limit sets are names or files, and are not opened."""
    section = section_of(top, "covering")
    since, hours = moment(section, "acclimatised_since"), section.number("acclimatised_hours", _HOURS)
    if since is not None and hours is not None:
        raise section.refuse("both acclimatised_since and acclimatised_hours are given", "Give one of them")
    least_c, most_c = section.number("least_c", _AIR_C), section.number("most_c", _AIR_C)
    if least_c is not None and most_c is not None and least_c >= most_c:
        what = f"least_c must be less than most_c, but {least_c:g} and {most_c:g} °C were given"
        raise section.refuse(what, "Take both from the data sheet")
    return Covering(
        kind=one_of(section, "kind", COVERING),
        name=section.text("name") or "",
        thickness_mm=millimetres(section, "thickness_mm", _THICKNESS),
        limits=texts(section, "limits"),
        acclimatised_since=since,
        acclimatised_hours=hours,
        least_hours=section.number("least_hours", _HOURS),
        least_c=least_c,
        most_c=most_c,
        most_humidity_percent=section.number("most_humidity_percent", HUMIDITY),
    )


def limit_names(names: tuple[str, ...], folder: PurePath) -> tuple[str, ...]:
    """The limit sets as the program opens them: what is a file with a relative path lies in ``folder``.

    >>> from pathlib import PurePosixPath
    >>> limit_names(("din18202-3", "ours.toml"), PurePosixPath("job"))
    ('din18202-3', 'job/ours.toml')
    """
    return tuple((folder / name).as_posix() if is_file_name(name) else name for name in names)


def check_limit_files(file: str, names: tuple[str, ...]) -> None:
    """Refuse a limit set whose file is not there or cannot be one; a device would be read without end."""
    for name in names:
        path = Path(name)
        if not is_file_name(name) or (path.is_file() and path.stat().st_size <= _MOST_BYTES):
            continue
        what = "there is no such file" if not path.exists() else "that is no file of limits"
        advice = "Give its path from the survey file's folder, or a name that `flatscan limits` lists"
        raise InputError(file, f"[covering]: limits names {path.name}, and {what}", advice)


def is_file_name(name: str) -> bool:
    """Whether a limit set is named by its file: it ends in ``.toml`` or has a slash, as for ``--limits``."""
    return name.endswith(".toml") or "/" in name or "\\" in name


def read_climate(top: Section) -> Climate:
    """``[climate]``: the room when it was read."""
    section = section_of(top, "climate")
    return Climate(
        air_c=section.number("air_c", _AIR_C),
        floor_c=section.number("floor_c", _AIR_C),
        humidity_percent=section.number("humidity_percent", HUMIDITY),
        held_hours=section.number("held_hours", _HOURS),
    )


def read_heating(top: Section) -> Heating:
    """``[heating]``: what is in the floor."""
    section = section_of(top, "heating")
    kind = one_of(section, "kind", HEATING)
    for key in _HEATED_KEYS:
        if kind == "none" and key in section.values:
            what = f'kind is "none", and {key} is given too'
            raise section.refuse(what, "Take one of them out: a floor without heating has none")
    return Heating(
        kind=kind,
        surface_most_c=section.number("surface_most_c", _SURFACE_C),
        off=yes_no(section, "off"),
        cover_mm=millimetres(section, "cover_mm", _COVER),
    )
