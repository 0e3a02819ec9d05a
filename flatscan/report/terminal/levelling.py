"""The levelling part of the summary: which way, the ways side by side, and what the chosen one asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan import said
from flatscan.report.terminal.lines import Column, Page
from flatscan.report.words import levelling_places, levelling_words, product_words, proof_words, wording
from flatscan.report.words.areas_words import areas_line

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from flatscan.judgement.verdict import AnswerCode, Finding
    from flatscan.levelling.plan import LevellingPlan, Method
    from flatscan.report.words.cautions import Caution

#: More dams or pours than this are told in the files only.
_MOST_LISTED = 4
_TO_MARK_OUT = {"marking_out.pdf": "to print", "marking_out.csv": "as a table", "plan.dxf": "for a drawing program"}


def levelling_lines(
    plan: LevellingPlan,
    code: AnswerCode,
    *,
    by_hand: bool = False,
    cautions: Sequence[Caution] = (),
    files: Sequence[Path] = (),
    width: int = 80,
    colour: bool = False,
    ascii_text: bool = False,
) -> list[str]:
    """The levelling by itself, for a plan that was made anew; no line is longer than ``width``.

    Parameters
    ----------
    plan : the ways side by side and the chosen one
    code : the answer that the floor as it is was given
    by_hand : the floor was read by hand, not captured
    cautions : those that the plan calls for
    files : what was written, to be named
    """
    page = Page(width, colour=colour, ascii_text=ascii_text)
    add_levelling(page, plan, code, by_hand=by_hand, files=[path.name for path in files])
    page.section("Doubts", [f"{c.text}. {c.advice}" for c in dict.fromkeys(plan.caveats)])
    page.section("Take care", [f"{c.title}: {c.text}" for c in cautions])
    if files:
        page.section("Written", [f"{files[0].parent}: {', '.join(path.name for path in files)}"])
    lines = page.lines()
    return lines[1:] if lines and not lines[0] else lines


def add_levelling(
    page: Page,
    plan: LevellingPlan,
    code: AnswerCode,
    *,
    by_hand: bool,
    files: Sequence[str] = (),
    findings: Sequence[Finding] = (),
) -> None:
    """The section on the page; nothing where no way was worked out."""
    if not plan.methods:
        return
    page.title(levelling_words.title(code))
    if levelling_words.nothing_to_level(plan):
        joints = levelling_places.joint_lines(plan.joint_work)
        page.items([levelling_words.nothing_line(by_hand=by_hand), *joints])
        return
    page.items(plan.recommendation)
    possible = [method for method in plan.methods if method.possible]
    if possible:
        add_ways(page, plan, possible)
        page.add(["", *(line for way in possible for line in page.wrap(_what(way), "  ", "    "))])
        ranges = levelling_words.brackets_line(plan, by_hand=by_hand, sealed="those to keep sealed (in brackets)")
        page.items([ranges, product_words.product_line(plan.product)])
    refused = levelling_words.not_possible(plan)
    page.section("Not possible here" if possible else "None is possible here", [f"{n}: {why}" for n, why in refused])
    chosen = levelling_words.chosen_of(plan)
    if chosen is not None:
        page.section(
            f"The way planned: {wording.METHOD_TEXT[chosen.name]}",
            _planned(plan, chosen, files, by_hand=by_hand, findings=findings),
        )


def add_ways(page: Page, plan: LevellingPlan, ways: Sequence[Method]) -> None:
    """Side by side where the table fits, else one below the other."""
    page.add([""])
    marked = [way.name == plan.chosen for way in ways]
    columns = _columns(plan, ways)
    fewer = [column for column in columns if column.heading[0] != "Ground"]
    if not (page.table(columns, marked) or page.table(fewer, marked)):
        page.items([_way_line(way, plan) for way in ways])
        return
    if any(marked):
        page.add(page.wrap("* the way planned below", "", ""))


def _what(way: Method) -> str:
    return f"{levelling_words.NAME[way.name]}: {levelling_words.what(way)}"


def _columns(plan: LevellingPlan, ways: Sequence[Method]) -> list[Column]:
    rises = [levelling_words.rise(way) for way in ways]
    grinds = any(way.ground_m2 > 0.0 for way in ways)
    columns = [
        Column(("", "Way"), [levelling_words.NAME[way.name] for way in ways], left=True),
        Column(("", _headed("litres")), [_bare(levelling_words.litres(way), "litres") for way in ways]),
        Column(("Bags", "(keep)"), [_bags(way) for way in ways]),
        Column(("", said.unit("m²")), [_bare(wording.area(way.area_m2 or way.lifted_m2), "m²") for way in ways]),
        *([Column(("Ground", said.unit("m²")), [_or_none(way.ground_m2, "m²", 2) for way in ways])] if grinds else []),
        Column(("Thick", said.unit("mm")), [_or_none(way.max_mm, "mm", 1) for way in ways]),
    ]
    if any(rises):
        columns.append(Column(("Doors", f"up {said.unit('mm')}"), rises))
    if any(way.cost is not None for way in ways):
        columns.append(Column(("Cost", plan.product.currency), [_cost(way) for way in ways]))
    return columns


def _or_none(value: float, unit: str, places: int) -> str:
    return said.number(value, unit, places) if value > 0.0 else "-"


def _bare(text: str, unit: str) -> str:
    """The figures without the unit that the heading names."""
    return text.replace(f" {said.unit(unit)}", "")


def _headed(unit: str) -> str:
    name = said.unit(unit)
    return f"{name[0].upper()}{name[1:]}"


def _cost(way: Method) -> str:
    if way.cost is None:
        return "?"
    return f"{way.cost.value:.0f}{'' if levelling_words.takes_known(way) else '+'}"


def _bags(way: Method) -> str:
    if not levelling_words.takes_known(way):
        return "-"
    return f"{way.buy} ({way.keep_sealed})" if way.keep_sealed else f"{way.buy}"


def _way_line(way: Method, plan: LevellingPlan) -> str:
    """One way with all its figures, where a table is too wide."""
    known = levelling_words.takes_known(way)
    litres = levelling_words.litres(way) if known else f"{said.unit('litres')} not known"
    parts = [litres, *([levelling_words.to_buy(way, plan.product.bag_kg)] if known else [])]
    parts.append(levelling_words.worked_on(way))
    parts += [f"at the thickest place {thickest}"] if (thickest := levelling_words.thickest(way)) else []
    rise = levelling_words.rise(way)
    parts += [f"{rise} {said.unit('mm')} at doors"] if rise else []
    parts += [] if way.cost is None else [levelling_words.cost(way)]
    planned = " (the way planned below)" if way.name == plan.chosen else ""
    return f"{levelling_words.NAME[way.name]}{planned}: {'; '.join(parts)}"


def _planned(
    plan: LevellingPlan, chosen: Method, files: Sequence[str], *, by_hand: bool, findings: Sequence[Finding]
) -> list[str]:
    """What the chosen way asks for, how far it is proven, and where it is drawn."""
    lines = [areas_line(plan, by_hand=by_hand), *levelling_places.joint_lines(levelling_words.joint_work_of(plan))]
    lines += levelling_words.work_lines(chosen, plan.product)
    lines += _few([levelling_places.dam_line(dam) for dam in plan.dams], "dams")
    lines += _few([levelling_places.pour_line(n, pour) for n, pour in enumerate(plan.pours, 1)], "pours")
    lines += [levelling_words.door_line(door) for door in levelling_words.doors_of(chosen)]
    lines += chosen.notes
    if chosen.proof is not None:
        found = proof_words.worst_found(findings)
        lines += [proof_words.proof_line(chosen.proof, plan.before, found)]
        lines += chosen.proof.open if plan.joint_work is None else ()
    lines.append(levelling_words.bound_line(chosen))
    drawn = [f"{name} ({what})" for name, what in _TO_MARK_OUT.items() if name in files]
    if drawn:
        areas = f"{len(plan.areas)} {'area' if len(plan.areas) == 1 else 'areas'}" if plan.areas else "The work"
        lines.append(f"{areas} to mark out: {', '.join(drawn)}")
    return [line for line in lines if line]


def _few(lines: list[str], what: str) -> list[str]:
    more = len(lines) - _MOST_LISTED
    return lines if more <= 0 else [*lines[:_MOST_LISTED], f"{more} more {what}: see the drawings"]
