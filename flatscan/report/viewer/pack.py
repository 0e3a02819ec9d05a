"""The floor packed for the interactive page, which lays edges on it without a server.

How a layer is undone: :mod:`flatscan.report.viewer.layer`. How an edge is laid: :mod:`flatscan.measures.laid_edge`;
its uncertainty: :mod:`flatscan.report.viewer.edge_doubt`; its verdict: :mod:`flatscan.report.viewer.edge_verdict`.
Nothing is in the data that a reader of the report does not see there: no file's name, no path, no setting.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from flatscan.judgement.decision import guard_factor
from flatscan.measures.left_noise import LeftNoise
from flatscan.measures.surface_chord import SurfaceChord
from flatscan.report.viewer import marked, on_site
from flatscan.report.viewer.edge_doubt import doubt_of_edge, sigma_of
from flatscan.report.viewer.edge_verdict import edge_rules
from flatscan.report.viewer.layer import Layer, pack
from flatscan.report.viewer.photo import place_of_photo
from flatscan.report.words.wording import laid
from flatscan.surface.noise.draws import posterior_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.report.report import Report
    from flatscan.surface.surface import Surface

FORM = "flatscan-page/1"
#: Steps of heights: a gap from heights so rounded is no more than one step off. The finer one for small floors.
_HEIGHT_STEP_MM, _COARSE_STEP_MM, _MANY_CELLS = 0.002, 0.004, 500_000
_SIGMA_STEPS, _LEAST_SIGMA_STEP_MM = 240, 0.001
_GAP_STEP_MM = 0.02
#: Gaps and shares are looked at, not worked with: coarser where there are more cells than this.
_MOST_SHOWN_CELLS = 150_000
_SHARE_STEP = 0.01
#: Signs that may not stand in a script element, or end a line of one.
_ESCAPED = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029\x7f"}
WALL, UNSEEN, SEEN = 0, 1, 2


@dataclass(frozen=True, slots=True)
class FloorData:
    """What the page is given: ``head`` holds everything but the layers."""

    head: dict[str, Any]
    layers: tuple[Layer, ...]

    def json(self) -> str:
        """Compact JSON that nothing in it can break out of a script element with; ASCII keys, finite numbers only."""
        whole = {**self.head, "layers": [layer.as_dict() for layer in self.layers]}
        return json.dumps(whole, ensure_ascii=False, allow_nan=False, separators=(",", ":")).translate(_ESCAPED)


def floor_data(report: Report) -> FloorData:
    """The floor, what was found on it and what the page needs to lay edges of its own. The same for the same run."""
    surface = report.surface
    known = posterior_of(surface) if surface.realisations_mm is None else None
    left = None if known is None else LeftNoise.of(surface, known)
    floor = SurfaceChord.of(surface, left=left)
    edge, modes = doubt_of_edge(floor)
    limits = marked.limits_of(report)
    edges = sorted({rule["edge_mm"] for rule in limits} | {m.edge_mm for m in report.measurement.gap_maps})
    rules = edge_rules(surface, edges, np.random.default_rng(report.settings.seed), known)
    confidence = report.settings.judge.confidence
    edge |= {
        "guard": guard_factor(confidence),
        "systematic_mm": 0.0 if known is None else surface.noise.systematic_mm,
        "rules": [
            {"edge_mm": r.edge_mm, "bias_mm": round(r.bias_mm, 3), "lift_mm": round(r.lift_mm, 3)} for r in rules
        ],
    }
    head = {
        "form": FORM,
        "rows": surface.height_mm.shape[0],
        "cols": surface.height_mm.shape[1],
        "cell_mm": surface.cell_mm,
        "origin_mm": [float(x) for x in surface.origin_mm],
        "outline": [marked.line(ring) for ring in surface.outline],
        "joints": marked.joints_of(report),
        "findings": marked.findings_of(report),
        "judged": marked.judged_of(report),
        "areas": marked.areas_of(report),
        "doors": [marked.line(door) for door in report.doors_mm],
        "zones": marked.zones_told(report),
        "on_site": on_site.on_site_of(report),
        "tape": on_site.tape_outline(report),
        "limits": limits,
        "edge": edge,
        "photo": None if report.picture is None else place_of_photo(report.picture),
    }
    return FloorData(head, (*_grids(report, floor), *_gaps(report), *_shares(report), *modes))


def _grids(report: Report, floor: SurfaceChord) -> list[Layer]:
    """What edges are laid on, at full resolution."""
    surface, plan = report.surface, report.plan
    step = _HEIGHT_STEP_MM if surface.height_mm.size <= _MANY_CELLS else _COARSE_STEP_MM
    sigma = sigma_of(floor)
    most = float(np.nanmax(sigma, initial=0.0))
    after = plan.fill_mm if plan.grind_mm is None else plan.fill_mm - plan.grind_mm
    grids = [
        pack(surface.estimate_mm, name="height", title="Height", cell_mm=surface.cell_mm, scale=step),
        pack(
            sigma,
            name="sigma",
            title="Doubt of a height",
            cell_mm=surface.cell_mm,
            scale=max(_LEAST_SIGMA_STEP_MM, most / _SIGMA_STEPS),
            kind="size",
        ),
        pack(_seen(surface), name="seen", title="Seen", unit="", cell_mm=surface.cell_mm, scale=1.0, kind="class"),
    ]
    title = "Work as planned: fill up, grind down"
    return [*grids, pack(after, name="after", title=title, cell_mm=surface.cell_mm, scale=step)]


def _seen(surface: Surface) -> NDArray[np.float32]:
    return np.where(surface.seen, SEEN, np.where(surface.inside, UNSEEN, WALL)).astype(np.float32)


def _gaps(report: Report) -> list[Layer]:
    """The largest gap at each place and its u, for each edge that was laid, with its strictest limit."""
    surface = report.surface
    limit_mm: dict[float, float] = {}
    for rule in marked.limits_of(report):
        limit_mm[rule["edge_mm"]] = min(rule["limit_mm"], limit_mm.get(rule["edge_mm"], math.inf))
    layers = []
    for of_edge in report.measurement.gap_maps:
        edge, said = of_edge.edge_mm, laid(of_edge.edge_mm)
        told: dict[str, Any] = {"scale": _GAP_STEP_MM, "kind": "size", "edge_mm": edge}
        gap, doubt = (
            _shown(values, surface.cell_mm, name=f"{name}_{edge:g}", title=title, limit_mm=limit, **told)
            for values, name, title, limit in (
                (of_edge.gap_mm, "gap", f"Largest gap {said}", limit_mm.get(edge)),
                (of_edge.u_mm, "gap_u", f"Doubt of the gap {said}", None),
            )
        )
        layers += [gap, doubt]
    return layers


def _shares(report: Report) -> list[Layer]:
    """Largest gap as a share of its limit before and after the planned work; none where nothing was planned."""
    plan = report.plan
    chosen = next((method for method in plan.methods if method.name == plan.chosen), None)
    proofs = [("before", plan.before), ("after", None if chosen is None else chosen.proof)]
    return [
        _shown(
            proof.share,
            report.surface.cell_mm,
            name=f"share_{when}",
            title=f"Gap as a share of its limit, {when} the work",
            scale=_SHARE_STEP,
            unit="",
            kind="share",
        )
        for when, proof in proofs
        if proof is not None
    ]


def _shown(values: NDArray[np.float32], cell_mm: float, **told: Any) -> Layer:
    """A layer to look at: the largest of square blocks, so that no bad place vanishes."""
    from flatscan.report.picture.after_map import block_max

    step = math.ceil(math.sqrt(max(1.0, values.size / _MOST_SHOWN_CELLS)))
    return pack(block_max(values, step), cell_mm=cell_mm * step, **told)
