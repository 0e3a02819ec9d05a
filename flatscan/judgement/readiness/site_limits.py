"""What is asked of a floor besides being flat, as data with its source: read from ``site_limits.toml`` and checked."""

from __future__ import annotations

import math
import tomllib
from dataclasses import fields
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

import msgspec

from flatscan.errors import LimitSetError
from flatscan.judgement.limits import LimitSource
from flatscan.sources.survey.site import MoistureBase, MoistureMethod  # noqa: TC001 - msgspec reads them

_FILE = "site_limits.toml"
RuleName = Literal[
    "air_least", "air_most", "held", "acclimatised", "heated_surface_most", "heating_off", "pipe_cover_least",
    "pull_off_least", "hollow_share_most", "water_drop", "movement_joints", "cracks", "clean", "asbestos",
]  # fmt: skip
#: Rules that say what must be so, without a figure.
_WITHOUT_FIGURE: frozenset[RuleName] = frozenset({"movement_joints", "cracks", "clean", "asbestos"})


class MoistureLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The most (and least) moisture by one method, in its unit. ``bases`` empty, ``heated`` None: of any.

    ``conflict`` says where sources disagree and what was taken.
    """

    method: MoistureMethod
    most: float
    source: LimitSource
    bases: tuple[MoistureBase, ...] = ()
    heated: bool | None = None
    least: float | None = None
    note: str = ""
    conflict: str = ""

    def may_hold(self, base: MoistureBase | None, heated: bool | None) -> bool:
        """Whether it may be the limit of this base; None is not known, and may be any."""
        of_base = not self.bases or base is None or base in self.bases
        return of_base and (self.heated is None or heated is None or self.heated == heated)


class Rule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One other thing that is asked; ``value`` None: it has no figure."""

    name: RuleName
    source: LimitSource
    value: float | None = None
    unit: str = ""
    note: str = ""
    conflict: str = ""

    @property
    def figure(self) -> float:
        """The value of a rule that has one; raises ValueError for one that has none."""
        if self.value is None:
            raise ValueError(f"{self.name} has no figure")
        return self.value


class SiteLimits(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All of them."""

    moisture: tuple[MoistureLimit, ...]
    rules: tuple[Rule, ...]

    def rule(self, name: RuleName) -> Rule:
        """The rule of that name."""
        return next(rule for rule in self.rules if rule.name == name)


@cache
def site_limits() -> SiteLimits:
    """Those that the package carries."""
    return site_limits_from(files(__package__ or "").joinpath(_FILE).read_text(encoding="utf-8"), _FILE)


def site_limits_from(text: str, where: str) -> SiteLimits:
    """The limits in a TOML text; raises LimitSetError, naming ``where``, for one that does not make them."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LimitSetError(where, f"not valid TOML ({error})", "Correct that line") from error
    try:
        found = msgspec.convert(table, SiteLimits)
    except msgspec.ValidationError as error:
        raise LimitSetError(where, str(error).replace("$.", ""), "Correct that key") from error
    _check(found, table, where)
    return found


def _check(found: SiteLimits, table: dict[str, Any], where: str) -> None:
    known = {f.name for f in fields(LimitSource)}
    for kind in ("moisture", "rules"):
        for number, entry in enumerate(table[kind]):
            unknown = sorted(set(entry["source"]) - known)
            if unknown:
                raise LimitSetError(where, f"unknown key {kind}[{number}].source.{unknown[0]}", "Correct that key")
    for number, limit in enumerate(found.moisture):
        least = 0.0 if limit.least is None else limit.least
        if not (0.0 <= least < limit.most < math.inf):
            raise LimitSetError(where, f"moisture[{number}].most must be above 0 and above least", "Correct it")
    names = [rule.name for rule in found.rules]
    for name in get_args(RuleName):
        if names.count(name) != 1:
            raise LimitSetError(where, f"the rule {name} is there {names.count(name)} times", "Give it once")
    for rule in found.rules:
        figure = rule.value is not None and 0.0 < rule.value < math.inf
        if figure == (rule.name in _WITHOUT_FIGURE):
            what = "has no figure" if figure else "needs a figure above 0"
            raise LimitSetError(where, f"the rule {rule.name} {what}", "Correct its value")
