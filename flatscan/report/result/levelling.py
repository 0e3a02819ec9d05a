"""From the levelling plan to its part of ``result.json``, and to ``levelling.json``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from flatscan.report.result import levelling_records as records
from flatscan.report.result import rounding

if TYPE_CHECKING:
    from collections.abc import Iterable

    from flatscan.levelling.joints.joint_work import JointFill, LipDown
    from flatscan.levelling.plan import Area, Cost, LevellingPlan, MarkedOut, Method, Product, Proof, Wall
    from flatscan.report.result.measured import XY

#: Decimals kept of layers and volumes, of money, of hours.
_LAYER_MM, _MONEY, _HOURS = 2, 2, 1


def levelling_record(plan: LevellingPlan) -> records.LevellingRecord:
    """Every part of the plan, rounded; raises ValueError where a value is not a finite number."""
    work = plan.joint_work
    return records.LevellingRecord(
        methods=[_method(method) for method in plan.methods],
        areas=[_area(area) for area in plan.areas],
        product=_product(plan.product),
        targets=[
            records.TargetRecord(edge_mm=rounding.figures(edge), limit_mm=rounding.figures(t))
            for edge, t in plan.targets
        ],
        chosen=plan.chosen,
        recommendation=list(plan.recommendation),
        joints_to_fill=[] if work is None else [_joint_fill(fill) for fill in work.fills],
        lips_to_take_down=[] if work is None else [_lip(lip) for lip in work.lips],
        all_joints=None
        if work is None
        else records.JointsInAllRecord(
            volume=rounding.quantity(work.every_joint),
            length_m=rounding.number(work.joints_m, rounding.HEIGHT_MM),
            unmeasured_m=rounding.number(work.unmeasured_m, rounding.HEIGHT_MM),
        ),
        dams=[
            records.DamRecord(
                line=_line(dam.line), height_mm=rounding.number(dam.height_mm, _LAYER_MM), where=dam.where
            )
            for dam in plan.dams
        ],
        pours=[
            records.PourRecord(
                polygon=rounding.rings(pour.rings),
                level_mm=rounding.number(pour.level_mm, _LAYER_MM),
                area_m2=rounding.number(pour.area_m2, rounding.HEIGHT_MM),
                volume_l=rounding.number(pour.volume_l, _LAYER_MM),
            )
            for pour in plan.pours
        ],
        scattered_l=rounding.maybe_quantity(plan.scattered_l),
        draws=plan.draws,
    )


def _method(method: Method) -> records.MethodRecord:
    low, high = method.volume_interval_l
    return records.MethodRecord(
        name=method.name,
        volume_l=rounding.quantity(method.volume_l),
        mass_kg=rounding.quantity(method.mass_kg),
        bags=method.bags,
        cost=None if method.cost is None else _cost(method.cost),
        area_m2=rounding.number(method.area_m2, rounding.HEIGHT_MM),
        mean_mm=rounding.number(method.mean_mm, _LAYER_MM),
        max_mm=rounding.number(method.max_mm, _LAYER_MM),
        interval=records.IntervalRecord(
            volume_l=(rounding.number(low, _LAYER_MM), rounding.number(high, _LAYER_MM)), bags=method.bags_interval
        ),
        possible=method.possible,
        why_not=method.why_not,
        min_mm=rounding.number(method.min_mm, _LAYER_MM),
        volume_p_l=_percentiles(method.volume_p_l, _LAYER_MM),
        bags_p=_percentiles(method.bags_p, 0),
        buy=method.buy,
        keep_sealed=method.keep_sealed,
        ground_l=rounding.number(method.ground_l, _LAYER_MM),
        ground_m2=rounding.number(method.ground_m2, rounding.HEIGHT_MM),
        lifted_m2=rounding.number(method.lifted_m2, rounding.HEIGHT_MM),
        holes_mm=rounding.number(method.holes_mm, _LAYER_MM),
        holes_m2=rounding.number(method.holes_m2, rounding.HEIGHT_MM),
        primer_kg=rounding.maybe(method.primer_kg, _LAYER_MM),
        layers=method.layers,
        walk_on_h=rounding.maybe(method.walk_on_h, _HOURS),
        cover_h=rounding.maybe(method.cover_h, _HOURS),
        doors=[
            records.DoorRecord(
                door=door.door,
                mean_mm=rounding.number(door.mean_mm, _LAYER_MM),
                max_mm=rounding.number(door.max_mm, _LAYER_MM),
                most_allowed_mm=rounding.maybe(door.most_allowed_mm, _LAYER_MM),
            )
            for door in method.doors
        ],
        edges_mm=rounding.number(method.edges_mm, rounding.MM),
        bound=_share_below(method.bound),
        proof=None if method.proof is None else _proof(method.proof),
        notes=list(method.notes),
    )


def _percentiles(values: Iterable[float], places: int) -> records.PercentilesRecord:
    p10, p50, p90 = (rounding.number(value, places) for value in values)
    return records.PercentilesRecord(p10=p10, p50=p50, p90=p90)


def _cost(cost: Cost) -> records.CostRecord:
    return records.CostRecord(
        value=rounding.number(cost.value, _MONEY),
        currency=cost.currency,
        percentiles=_percentiles(cost.p10_p50_p90, _MONEY),
        parts=[records.CostPartRecord(name=name, value=rounding.number(value, _MONEY)) for name, value in cost.parts],
    )


def _share_below(bound: float | None) -> float | None:
    """Rounded down: a proof must not promise more than it proves."""
    if bound is None:
        return None
    scale = 10.0**rounding.SHARE
    return rounding.number(math.floor(bound * scale + 1e-9) / scale, rounding.SHARE)


def _proof(proof: Proof) -> records.ProofRecord:
    return records.ProofRecord(
        passes=proof.passes,
        gaps=[
            records.GapAfterRecord(
                edge_mm=rounding.number(after.edge_mm, rounding.MM),
                limit_mm=rounding.figures(after.limit_mm),
                gap_mm=rounding.number(after.gap_mm, rounding.HEIGHT_MM),
                at=None if after.at is None else rounding.xy(after.at),
            )
            for after in proof.gaps
        ],
        joints_over=proof.joints_over,
        lips_over=proof.lips_over,
        open=list(proof.open),
    )


def _area(area: Area) -> records.AreaRecord:
    return records.AreaRecord(
        number=area.number,
        polygon=rounding.rings(area.rings),
        area_m2=rounding.number(area.area_m2, rounding.HEIGHT_MM),
        volume_l=rounding.quantity(area.volume_l),
        mean_mm=rounding.number(area.mean_mm, _LAYER_MM),
        max_mm=rounding.number(area.max_mm, _LAYER_MM),
        action=area.action,
        min_mm=rounding.number(area.min_mm, _LAYER_MM),
        marking=None if area.marked is None else _marking(area.marked),
    )


def _marking(marked: MarkedOut) -> records.MarkingRecord:
    first, second = marked.walls
    return records.MarkingRecord(
        walls=(_wall(first), _wall(second)),
        polygon=rounding.rings(marked.rings),
        from_mm=rounding.rings(marked.from_mm),
        check_mm=rounding.number(marked.check_mm, rounding.MM),
    )


def _wall(wall: Wall) -> records.WallRecord:
    return records.WallRecord(number=wall.number, start=rounding.xy(wall.start), end=rounding.xy(wall.end))


def _product(product: Product) -> records.ProductRecord:
    """Field by field of the same name, so that none is left out."""
    said: dict[str, Any] = {name: getattr(product, name) for name in records.ProductRecord.__struct_fields__}
    for name, value in said.items():
        if isinstance(value, int | float):
            said[name] = rounding.figures(value)
    return records.ProductRecord(**said)


def _joint_fill(fill: JointFill) -> records.JointFillRecord:
    return records.JointFillRecord(
        id=fill.joint,
        line=_line(fill.line),
        length_mm=rounding.number(fill.length_mm, rounding.MM),
        width=rounding.maybe_quantity(fill.width),
        depth=rounding.maybe_quantity(fill.depth),
        volume=rounding.quantity(fill.volume),
        word=fill.word,
        guessed=fill.guessed,
    )


def _lip(lip: LipDown) -> records.LipDownRecord:
    return records.LipDownRecord(
        id=lip.joint,
        line=_line(lip.line),
        at=rounding.xy(lip.at),
        high_at=rounding.xy(lip.high_at),
        length_mm=rounding.number(lip.length_mm, rounding.MM),
        lip=rounding.quantity(lip.lip),
        limit_mm=rounding.figures(lip.limit_mm),
        word=lip.word,
    )


def _line(points: Iterable[Iterable[float]]) -> list[XY]:
    return [rounding.xy(point) for point in points]
