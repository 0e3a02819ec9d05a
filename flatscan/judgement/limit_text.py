"""Limit sets in words: what `flatscan limits` prints."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from flatscan import said
from flatscan.constants import MM_PER_M

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.judgement.limits import Band, Limit, LimitSet, LimitSource, Mark

_WIDTH = 80
_MARKS = {
    "read": "read in the document or a page that prints its table",
    "restated": "read on a page that restates it",
    "from memory": "from memory: check it before relying on it",
    "common practice, no source": "common practice, no source",
}
_WHAT = {
    "gap": "gap beneath a {edge} straightedge",
    "span_gap": "gap with contacts up to {edge} apart",
    "lip": "lip between tiles",
    "joint_width": "joint width",
    "joint_depth": "joint depth",
    "slope": "fall",
    "level": "level",
}
_PLACEMENTS = {
    "resting": "the edge rests on two high points, measured between them",
    "feet": "the document's edge stands on two equal feet",
    "plane": "the document measures from a required plane",
    "unstated": "the document's way of laying the edge was not read",
}
_EDITION = "Check the edition in force. The contract, the product's data sheet and local code come first."


def list_as_text(limit_sets: Iterable[LimitSet]) -> str:
    """Id and title of each set, those whose sources can be trusted alike together."""
    by_mark: dict[Mark, list[LimitSet]] = {}
    for limit_set in limit_sets:
        by_mark.setdefault(limit_set.source.mark, []).append(limit_set)
    if not by_mark:
        return "No limit sets."
    wide = max(len(s.id) for sets in by_mark.values() for s in sets)
    lines = []
    for mark, sets in by_mark.items():
        lines.append(f"{_MARKS[mark][0].upper()}{_MARKS[mark][1:]}:")
        for s in sets:
            lines += textwrap.wrap(
                s.title, _WIDTH, initial_indent=f"  {s.id:<{wide}}  ", subsequent_indent=" " * (wide + 4)
            )
        lines.append("")
    return "\n".join([*lines, "`flatscan limits NAME` explains one; `flatscan check ... --limits NAME` uses it."])


def explain(limit_set: LimitSet) -> str:
    """All that one set says and where it comes from."""
    lines = [f"{limit_set.id}: {limit_set.title}"]
    if limit_set.applies_to:
        lines += _wrapped("For", limit_set.applies_to)
    lines.append("")
    for limit in limit_set.limits:
        lines += textwrap.wrap(
            f"{limit_in_words(limit)}{_own_source(limit)}", _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    if limit_set.spans:
        lines.append(f"  gap by the distance between the contacts ({_rounding(limit_set.round_to_mm)}):")
        lines += [f"    {said.edge(d)}: {said.length(t)}" for d, t in limit_set.spans]
    lines += ["", *_wrapped("Source", source_in_words(limit_set.source))]
    lines += _wrapped("Trust", _MARKS[limit_set.source.mark])
    lines += _wrapped("Edge", _PLACEMENTS[limit_set.placement])
    for label, text in (("Note", limit_set.note), ("Conflict", limit_set.conflict)):
        if text:
            lines += _wrapped(label, text)
    return "\n".join([*lines, "", *textwrap.wrap(_EDITION, _WIDTH)])


def limit_in_words(limit: Limit) -> str:
    """One limit on one line.

    >>> from flatscan.judgement.limits import Limit
    >>> limit_in_words(Limit(what="gap", limit_mm=3.0, edge_mm=2000.0))
    'gap beneath a 2 m straightedge: 3 mm'
    """
    what = _WHAT[limit.what].format(edge=_edge(limit.edge_mm or 0.0))
    if limit.what == "lip" and limit.edge_mm:
        what += f" beneath a {_edge(limit.edge_mm)} edge"
    terms = [f"{said.length(limit.limit_mm)}"] if limit.limit_mm or not _grows(limit) else []
    terms += [f"{limit.per_tile_sum:g} x (tile length + width)"] if limit.per_tile_sum else []
    terms += [f"{_per_metre(limit.per_m_mm)}"] if limit.per_m_mm else []
    terms += [f"{limit.cube_root_mm:g} mm x cube root of the distance in metres"] if limit.cube_root_mm else []
    bands = [
        _band("joint", limit.joint_mm, "mm"),
        _band("tile", limit.tile_area_m2, "m²"),
        _band("tile length + width", limit.tile_sum_mm, "mm"),
        _band("distance", limit.distance_m, "m"),
    ]
    when = ", ".join(b for b in bands if b)
    note = f" ({limit.note})" if limit.note else ""
    return f"{what}: {' + '.join(terms)}{f', {when}' if when else ''}{note}"


def source_in_words(source: LimitSource) -> str:
    """Document, table, year, and the page where it was read."""
    parts = [source.document, source.table, source.year]
    text = ", ".join(p for p in parts if p)
    return f"{text}; read at: {source.reference}" if source.reference else text


def _grows(limit: Limit) -> bool:
    return bool(limit.per_tile_sum or limit.per_m_mm or limit.cube_root_mm)


def _own_source(limit: Limit) -> str:
    return f" [{source_in_words(limit.source)}]" if limit.source else ""


def _band(name: str, band: Band | None, unit: str) -> str:
    if band is None:
        return ""
    bounds = (
        ("at least", band.at_least),
        ("more than", band.more_than),
        ("at most", band.at_most),
        ("less than", band.less_than),
    )
    return f"{name} " + " and ".join(f"{word} {_told(value, unit)}" for word, value in bounds if value is not None)


def _told(value: float, unit: str) -> str:
    """A bound as the document states it, told in the reader's units first."""
    stated = f"{value:g} {unit}"
    if not said.imperial():
        return stated
    if unit == "m²":
        return f"{said.area(value)} [{stated}]"
    return said.edge(value * MM_PER_M) if unit == "m" else said.length(value)


def _per_metre(mm_per_m: float) -> str:
    stated = f"{mm_per_m:g} mm per metre"
    return f"{said.fall(mm_per_m, 2)} [{stated}]" if said.imperial() else stated


def _rounding(round_to_mm: float | None) -> str:
    return "interpolated" if round_to_mm is None else f"interpolated, to {said.length(round_to_mm)}"


def _edge(length_mm: float) -> str:
    return said.edge(length_mm) if length_mm >= MM_PER_M else said.length(length_mm)


def _wrapped(label: str, text: str) -> list[str]:
    head = f"{label}: "
    return textwrap.wrap(text, _WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
