"""The page's section on levelling, as words for the template."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from flatscan import said
from flatscan.report.page.moving import spot
from flatscan.report.words import levelling_places, levelling_words, product_words, proof_words, wording
from flatscan.report.words.areas_words import areas_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.judgement.verdict import AnswerCode, Finding
    from flatscan.levelling.plan import Area, LevellingPlan, Method

_WITHIN = re.compile(r"(?<!,) (?!\()")
#: More rows than this and nobody reads them; the tables in the folder hold all.
_MOST_LIPS, _MOST_DAMS = 20, 12
#: How the sentence begins that stands under a heading of its own here.
_CHANGE = "What would change that: "


def levelling_page(
    plan: LevellingPlan, code: AnswerCode, *, by_hand: bool = False, findings: Sequence[Finding] = ()
) -> dict[str, Any]:
    """What the section says; a part without words is not shown. ``findings``: what was told of the floor before."""
    nothing = levelling_words.nothing_to_level(plan)
    chosen = levelling_words.chosen_of(plan)
    ways = [] if nothing else [method for method in plan.methods if method.possible]
    says = list(plan.recommendation)
    work = levelling_words.joint_work_of(plan)
    down = [] if work is None else [lip for lip in work.lips if lip.word == "over"]
    lips = [levelling_places.lip_line(lip) for lip in down]
    return {
        "title": levelling_words.title(code),
        "nothing": f"{levelling_words.nothing_line(by_hand=by_hand)}." if nothing else "",
        # Which way and why; then what would change that.
        "recommended": says[:2],
        "would_change": [_raised(line.removeprefix(_CHANGE)) for line in says[2:]],
        "ways": [_way(method, plan) for method in ways],
        "doors": any(method.doors for method in ways),
        "priced": any(method.cost is not None for method in ways),
        "brackets": levelling_words.brackets_line(plan, by_hand=by_hand),
        "refused": [] if nothing else levelling_words.not_possible(plan),
        "planned": wording.METHOD_TEXT[chosen.name] if chosen is not None and not nothing else "",
        "asks": _asks(plan, chosen, by_hand=by_hand),
        "proof": _proof(plan, chosen, findings),
        "passes": chosen is not None and chosen.proof is not None and chosen.proof.passes,
        "areas": [_area(area) for area in plan.areas],
        "thinnest": any(area.min_mm > 0.0 for area in plan.areas),
        "corners": [
            (area.number, levelling_places.corner_lines(area.marked)) for area in plan.areas if area.marked is not None
        ],
        "joints": levelling_places.joint_lines(work),
        "lips": lips[:_MOST_LIPS],
        "more_lips": _more(len(lips) - _MOST_LIPS, "joint_work.csv"),
        "pours": [levelling_places.pour_line(number, pour) for number, pour in enumerate(plan.pours, 1)],
        "dams": [levelling_places.dam_line(dam) for dam in plan.dams[:_MOST_DAMS]],
        "more_dams": _more(len(plan.dams) - _MOST_DAMS, "plan.dxf"),
        "product": product_words.product_line(plan.product),
        "prices": product_words.price_line(plan.product),
        "targets": ", ".join(f"{wording.length(t)} {wording.under_edge(edge)}" for edge, t in plan.targets),
    }


def _raised(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _way(method: Method, plan: LevellingPlan) -> dict[str, Any]:
    rise, known = levelling_words.rise(method), levelling_words.takes_known(method)
    return {
        "planned": method.name == plan.chosen,
        "name": levelling_words.NAME[method.name],
        "what": levelling_words.what(method),
        "litres": _together(levelling_words.litres(method)),
        "mass": wording.weight(method.mass_kg) if known else "",
        "buy": _together(levelling_words.to_buy(method, plan.product.bag_kg)),
        "size": _together(levelling_words.worked_on(method)),
        "mean": said.thickness(method.mean_mm) if method.max_mm > 0.0 else "",
        "most": levelling_words.thickest(method),
        "door": f"{rise} {said.unit('mm')}" if rise else "",
        "cost": _together(levelling_words.cost(method)),
        "notes": list(method.notes),
    }


def _together(text: str) -> str:
    """Broken only after a comma and before a bracket, so that a value keeps its unit and a range its ends."""
    return _WITHIN.sub("\u00a0", text)


def _asks(plan: LevellingPlan, chosen: Method | None, *, by_hand: bool) -> list[str]:
    if chosen is None:
        return []
    return [
        *levelling_words.work_lines(chosen, plan.product),
        *(levelling_words.door_line(door) for door in levelling_words.doors_of(chosen)),
        *filter(None, [areas_line(plan, by_hand=by_hand)]),
    ]


def _proof(plan: LevellingPlan, chosen: Method | None, findings: Sequence[Finding]) -> list[str]:
    if chosen is None or chosen.proof is None:
        return []
    found = proof_words.worst_found(findings)
    told = [proof_words.proof_line(chosen.proof, plan.before, found), levelling_words.bound_line(chosen)]
    # The lines on joints and lips say what of them is not decided.
    return [line for line in [*told, *(chosen.proof.open if plan.joint_work is None else ())] if line]


def _area(area: Area) -> dict[str, Any]:
    return {
        "number": area.number,
        "action": area.action,
        "size": wording.area(area.area_m2),
        "volume": wording.litres(area.volume_l),
        "least": said.thickness(area.min_mm),
        "mean": said.thickness(area.mean_mm),
        "most": said.thickness(area.max_mm),
        "place": levelling_places.area_place(area),
        "spot": spot(_middle(area), f"area {area.number}"),
    }


def _middle(area: Area) -> tuple[float, float] | None:
    """Middle of the box around an area: somewhere to look."""
    if not area.rings:
        return None
    low, high = area.rings[0].min(axis=0), area.rings[0].max(axis=0)
    return float(low[0] + high[0]) / 2.0, float(low[1] + high[1]) / 2.0


def _more(left: int, name: str) -> str:
    return f"{left} more: see {name}" if left > 0 else ""
