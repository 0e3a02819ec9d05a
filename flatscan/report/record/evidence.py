"""What proves which floor, which files and which program the record is about."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import msgspec

from flatscan.judgement.limit_files import DEFAULT_LIMITS
from flatscan.report.record.front import site_of
from flatscan.report.record.site_words import not_recorded
from flatscan.report.result.result import versions
from flatscan.report.words.told_files import told_names
from flatscan.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from flatscan.report.report import Report

#: So many letters of the result's SHA-256 name the record: 48 bits, enough that no two of a firm's records share them.
_SHORT = 12


def short_id(result_sha256: str) -> str:
    """The record's short name, in the foot of each page."""
    return result_sha256[:_SHORT]


def evidence_pages(report: Report, result_sha256: str) -> dict[str, Any]:
    """Hashes, versions, settings, and what the record does not say."""
    return {
        "result": result_sha256,
        "files": [
            [name, file.kind, file.sha256] for name, file in zip(told_names(report.inputs), report.inputs, strict=True)
        ],
        "versions": [[name, version] for name, version in versions().items()],
        "settings": [list(pair) for pair in _changed(report.settings)],
        "seed": str(report.settings.seed),
        "silent": _silent(report),
    }


def _changed(settings: Settings) -> Iterator[tuple[str, str]]:
    """Every setting that is not the default, files by their name."""
    # A run that names no limit set is judged by the usual one, which then stands among its settings.
    usual = dict(_flat(msgspec.to_builtins(Settings(limits=(DEFAULT_LIMITS,)))))
    for name, value in _flat(msgspec.to_builtins(settings)):
        if usual.get(name) != value:
            yield name, _said(value)


def _flat(settings: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(settings, dict):
        for key, value in settings.items():
            yield from _flat(value, f"{name}.{key}" if name else key)
    else:
        yield name, settings


def _said(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return ", ".join(_said(one) for one in value) or "none"
    if isinstance(value, str):
        return PurePath(value.replace("\\", "/")).name or value
    return "not set" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _silent(report: Report) -> list[str]:
    """What nobody may read into the record."""
    source = "readings" if report.surface.kind == "readings" else "capture"
    lines = [
        f"No height shows whether the floor is dry, sound, clean or free of moving cracks: the {source} cannot tell",
        "It is true of the day it was measured; what was done to the floor since is not in it",
        "It is no test certificate and no proof that a contract, a code or a data sheet is met: those come first",
    ]
    if report.surface.seen_share < 1.0:
        lines.append("Where the floor was not seen or read, nothing is said of it (see what was not seen)")
    if not_recorded(site_of(report)):
        lines.append("What is named as not recorded is not known: it is not the same as in order")
    return lines
