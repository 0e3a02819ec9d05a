"""What may follow if work starts anyway: common practice, no source."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from flatscan.judgement.readiness.readiness import ConditionName
    from flatscan.report.record.concerns import Concerns
    from flatscan.sources.survey.site import CoveringKind, Site

#: Coverings with joints between planks, and those of tiles; of a covering that nobody recorded both are told.
_PLANKS: tuple[CoveringKind, ...] = ("click_vinyl", "planks_on_mat", "laminate", "parquet")
_TILES: tuple[CoveringKind, ...] = ("thin_tile",)
_JOINT = "Wide or deep joints show through a thin covering, which can sink into them"
_FOUND: Mapping[str, str] = {
    "joint_width": _JOINT,
    "joint_depth": _JOINT,
    "slope": "On a floor that falls more than it may, furniture stands askew and water runs where it should not",
    "level": "On a floor that is not level, furniture, doors and the next floor do not meet",
}
_CONDITION: Mapping[ConditionName, str] = {
    "dry": "Moisture shut in beneath a covering lets adhesive go, makes wood swell and lets mould grow",
    "sound": "Tiles that are hollow or loose move beneath the new floor and can take compound and covering with them",
    "crack_free": "A crack that moves comes through compound and covering",
    "clean": "On grease, wax, dust or old adhesive neither primer nor compound holds",
    "climate": "In a room too cold, too warm or too damp compound sets badly, and the covering moves after it is laid",
    "acclimatised": "A covering laid before it has settled to the room shrinks or swells: joints open or it bulges",
    "heating": "Heat can loosen a covering that is not made for it, and drilling or grinding can hit pipes or cables",
    "movement_joints": "What is laid across a movement joint breaks there",
}
_FIBRES = "cutting, grinding or lifting it sets free fibres that make people ill"


def follows(concerns: Concerns, site: Site) -> Iterator[str]:
    """A sentence for each thing found; of what nobody wrote down only for what must be known."""
    for finding in (*concerns.over, *concerns.undecided):
        if finding.what in {"gap", "span_gap"}:
            yield _of_gap(site.covering.kind)
        elif finding.what == "lip":
            yield _of_lip(site.covering.kind)
        elif finding.what in _FOUND:
            yield _FOUND[finding.what]
    for condition in (*concerns.not_met, *concerns.open, *concerns.unknown):
        if condition.name == "old_covering":
            yield _of_asbestos(site)
        elif condition.name in _CONDITION:
            yield _CONDITION[condition.name]


def _of_gap(kind: CoveringKind | None) -> str:
    known = kind in (*_PLANKS, *_TILES, "glued_vinyl")
    breaks = ["joints between planks work loose or break"] if kind in _PLANKS or not known else []
    breaks += ["thin tiles crack"] if kind in _TILES or not known else []
    breaks += ["it is worn through sooner and lets go of its glue"] if kind == "glued_vinyl" else []
    creaks = "" if kind == "glued_vinyl" else " and the floor creaks" if len(breaks) == 1 else ", and the floor creaks"
    return f"Over a hollow the new floor gives way under load: {', '.join(breaks)}{creaks}"


def _of_lip(kind: CoveringKind | None) -> str:
    if kind in _TILES:
        return "Over a lip a thin tile lies hollow and can crack"
    if kind in _PLANKS:
        return "A lip shows through a thin covering, wears it through sooner and can break the joint between planks"
    return "A lip shows through a thin covering and wears it through sooner"


def _of_asbestos(site: Site) -> str:
    if site.old.asbestos == "found":
        return f"The old covering or its adhesive holds asbestos: {_FIBRES}"
    return f"Should the old covering or its adhesive hold asbestos, {_FIBRES}"
