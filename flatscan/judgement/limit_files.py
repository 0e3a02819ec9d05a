"""Read limit sets from TOML, the package's own and a user's, and say exactly what is wrong with one."""

from __future__ import annotations

import difflib
import re
from dataclasses import fields
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan.errors import InputError, LimitSetError
from flatscan.judgement.limits import Band, Limit, LimitSet, LimitSource
from flatscan.sources.survey.section import file_bytes, toml_section

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from importlib.resources.abc import Traversable

DEFAULT_LIMITS = "over-old-tiles"
_SUFFIX, _WHAT = ".toml", "limit set"
_EDGED = ("gap", "span_gap")
#: The tables inside a set, and the record each becomes; their keys are checked, so that a slip of the pen is found.
_INNER = {"source": LimitSource, "limits": Limit} | dict.fromkeys(
    ("joint_mm", "tile_area_m2", "tile_sum_mm", "distance_m"), Band
)


def load_limits(names: Sequence[str], *, folder: Path | None = None) -> tuple[LimitSet, ...]:
    """The limit sets of these names, in their order.

    Parameters
    ----------
    names : a known set's id each, or the path of a TOML file
    folder : a folder of further sets (``<id>.toml``), looked in before the package's own

    Raises
    ------
    LimitSetError
        for an unknown name (with the nearest known ones) or a file that does not make a limit set
    """
    if not names:
        raise LimitSetError("limits", "no limit set was named", f"Name one, such as {DEFAULT_LIMITS}")
    return tuple(_load(name, folder) for name in dict.fromkeys(names))


@cache
def known_limit_sets() -> tuple[LimitSet, ...]:
    """Every set the package carries: the default first, the others by id."""
    found = (read_limit_set(entry) for entry in _package_folder().iterdir() if entry.name.endswith(_SUFFIX))
    return tuple(sorted(found, key=lambda s: (s.id != DEFAULT_LIMITS, s.id)))


def read_limit_set(path: Path | Traversable) -> LimitSet:
    """The limit set in one TOML file."""
    where = path.name
    try:
        data = file_bytes(path, _WHAT) if isinstance(path, Path) else path.read_bytes()
        table = toml_section(where, data, _WHAT).values
    except InputError as error:
        raise LimitSetError(error.where, error.what, error.advice) from error
    _check_keys(table, LimitSet, where)
    _check_texts(table, where)
    try:
        limit_set = msgspec.convert(table, LimitSet)
    except msgspec.ValidationError as error:
        raise LimitSetError(where, _plain(str(error)), "Correct that key; `flatscan limits` shows examples") from error
    _check_values(limit_set, where)
    return limit_set


def names_file(name: str) -> bool:
    """Whether what was given for a limit set is a file rather than a set's id.

    >>> names_file("din18202-3"), names_file("ours.toml"), names_file("jobs/ours")
    (False, True, True)
    """
    return name.endswith(_SUFFIX) or "/" in name or "\\" in name


def _load(name: str, folder: Path | None) -> LimitSet:
    if names_file(name):
        return read_limit_set(Path(name))
    own = sorted(folder.glob(f"*{_SUFFIX}")) if folder else []
    for path in own:
        if path.stem == name:
            return read_limit_set(path)
    known = {s.id: s for s in known_limit_sets()}
    if name in known:
        return known[name]
    every = [*known, *(path.stem for path in own)]
    near = difflib.get_close_matches(name.lower(), every, n=3, cutoff=0.5)
    hint = f"Did you mean {' or '.join(near)}?" if near else "Run `flatscan limits` for the list"
    raise LimitSetError(name, "there is no limit set of that name", hint)


def _package_folder() -> Traversable:
    return files("flatscan.judgement").joinpath("limit_sets")


def _check_keys(table: Mapping[str, Any], record: type, where: str, path: str = "") -> None:
    known = [f.name for f in fields(record)]
    for key, value in table.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            advice = f"Did you mean {near[0]}?" if near else f"Known keys here: {', '.join(known)}"
            raise LimitSetError(where, f"unknown key {path}{key}", advice)
        for number, inner in enumerate(value if isinstance(value, list) else [value]):
            if isinstance(inner, dict) and key in _INNER:
                step = f"{key}[{number}]" if isinstance(value, list) else key
                _check_keys(inner, _INNER[key], where, f"{path}{step}.")


def _check_texts(value: Any, where: str, key: str = "") -> None:
    """Refuse signs that cannot be printed: a limit set's words stand in every report that is made with it."""
    if isinstance(value, str) and not value.isprintable():
        raise LimitSetError(where, f"{key} holds signs that cannot be printed", "Write plain words on one line")
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, one in inner:
        _check_texts(one, where, f"{key}[{name}]" if isinstance(name, int) else f"{key}.{name}".removeprefix("."))


def _check_values(limit_set: LimitSet, where: str) -> None:
    def refuse(what: str, advice: str) -> LimitSetError:
        return LimitSetError(where, what, advice)

    if not re.fullmatch(r"[a-z0-9][a-z0-9.\-]*", limit_set.id):
        raise refuse(f"id {limit_set.id!r} is not usable", "Use small letters, digits, dots and hyphens")
    if not limit_set.limits and not limit_set.spans:
        raise refuse("the set holds no limits", "Add at least one [[limits]] table or spans")
    for number, limit in enumerate(limit_set.limits):
        key = f"limits[{number}]"
        grows = limit.per_m_mm + limit.cube_root_mm + limit.per_tile_sum > 0
        if not (limit.limit_mm > 0 or (limit.limit_mm == 0 and grows)):
            raise refuse(f"{key}.limit_mm must be more than 0", "Give millimetres")
        if limit.what in _EDGED and limit.edge_mm is None:
            raise refuse(f"{key}.edge_mm is missing", "Say how long the edge is, in millimetres")
        if limit.edge_mm is not None and not limit.edge_mm > 0:
            raise refuse(f"{key}.edge_mm must be more than 0", "Give millimetres")
    pairs = list(zip(limit_set.spans, limit_set.spans[1:], strict=False))
    if any(b[0] <= a[0] or b[1] < a[1] for a, b in pairs) or any(d <= 0 or t <= 0 for d, t in limit_set.spans):
        raise refuse("spans must be above 0, distances rising, limits never falling", "Put the columns in order")
    if limit_set.round_to_mm is not None and not limit_set.round_to_mm > 0:
        raise refuse("round_to_mm must be more than 0", "Leave it out where the source does not round")


def _plain(message: str) -> str:
    """Turn ``Expected `float`, got `str` - at `$.limits[0].limit_mm` `` into words with the key first."""
    text, _, path = message.partition(" - at ")
    key = path.strip("`").removeprefix("$").removeprefix(".")
    return f"{key}: {text[0].lower()}{text[1:]}" if key else text[0].lower() + text[1:]
