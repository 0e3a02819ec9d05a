"""What makes a capture unusable, and what makes its result doubtful."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.caveats import Caveat, caveat
from flatscan.errors import InputError
from flatscan.surface.finding.floor import LEAST_FLOOR_M2

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.settings import SurfaceSettings
    from flatscan.sources.scan import Scan
    from flatscan.surface.finding.floor import FloorPlane
    from flatscan.surface.finding.masks import Thing
    from flatscan.surface.surface import NoiseModel

LEAST_POINTS = 300
#: Points further apart than this show no straightedge gap of 0.2 m.
MOST_SPACING_MM = 100.0
#: Points this close to one line are a line.
_LINE_MM = 5.0
#: A standard uncertainty above this leaves limits of 2 to 3 mm undecided whatever is measured.
COARSE_SIGMA_MM = 1.5
_SAME_PLACE_MM = 300.0
_UNSEEN_SHARE = 0.02
_APART_M2 = 0.3
#: A level surface is worth telling from this area and share of the floor's: not every seat and shelf.
_LEVEL_M2, _LEVEL_SHARE = 1.0, 0.05


def name_of(scan: Scan) -> str:
    """What to call the capture in a message."""
    return ", ".join(str(item.path) for item in scan.inputs[:3]) or "capture"


def refuse_unusable(scan: Scan) -> None:
    """Raise where no floor can come of these points, whatever is done with them."""
    points = scan.points_mm
    if len(points) < LEAST_POINTS:
        raise InputError(
            name_of(scan), f"it holds {len(points)} points", f"A floor takes at least {LEAST_POINTS}; capture it again"
        )
    if not np.isfinite(points).all():
        bad = int((~np.isfinite(points)).any(axis=1).sum())
        raise InputError(
            name_of(scan), f"{bad} of {len(points)} points are not numbers", "Export it again without them"
        )
    some = points[:: max(1, len(points) // 100_000)].astype(np.float64)
    spread = np.linalg.svd(some - some.mean(axis=0), compute_uv=False) / math.sqrt(len(some))
    if spread[1] < _LINE_MM:
        raise InputError(
            name_of(scan),
            f"all points lie on one line, within {said.thickness(float(spread[1]))}",
            f"A floor needs readings beside that line too, at least {said.thickness(300.0, 0)} off it",
        )


def refuse_no_floor(scan: Scan, floor: FloorPlane | None) -> FloorPlane:
    """Hand the floor back, or say that there is none."""
    if floor is None:
        raise InputError(
            name_of(scan),
            f"no floor in view: no level surface of {said.area(LEAST_FLOOR_M2)} or more seen from above",
            "Capture it with the floor in view, or state which way is up with --up",
        )
    return floor


def refuse_small(scan: Scan, area_m2: float) -> None:
    """Raise where the floor found is smaller than any edge can be laid on."""
    if area_m2 < LEAST_FLOOR_M2:
        raise InputError(
            name_of(scan),
            f"only {said.area(area_m2)} of floor was found",
            f"The least that can be judged is {said.area(LEAST_FLOOR_M2)}; capture more of it",
        )


def refuse_sparse(scan: Scan, density_per_m2: float) -> None:
    """Raise where points lie too far apart for the shortest straightedge."""
    spacing_mm = math.sqrt(1e6 / max(density_per_m2, 1e-9))
    if spacing_mm > MOST_SPACING_MM:
        raise InputError(
            name_of(scan),
            f"floor points lie about {said.thickness(spacing_mm, 0)} apart",
            f"At least one every {said.thickness(MOST_SPACING_MM, 0)} is needed; scan finer, or give the points as a "
            "levels table",
        )


def refuse_unseen(scan: Scan, seen_share: float, settings: SurfaceSettings) -> None:
    """Raise where less than the stated share of the floor was seen."""
    if seen_share < settings.least_seen_share:
        raise InputError(
            name_of(scan),
            f"only {100 * seen_share:.0f} % of the floor within its outline was seen",
            f"Capture more of it; {100 * settings.least_seen_share:.0f} % is the least (least_seen_share)",
        )


def view_count(scan: Scan) -> int | None:
    """Places the capture was made from, at least 300 mm apart; None when unknown. Counts to 2."""
    if scan.viewpoints_mm is None or len(scan.viewpoints_mm) == 0:
        return None
    apart = np.linalg.norm(scan.viewpoints_mm - scan.viewpoints_mm[0], axis=1).max()
    return 2 if apart > _SAME_PLACE_MM else 1


def doubts(
    scan: Scan,
    floor: FloorPlane,
    noise: NoiseModel,
    *,
    seen_share: float,
    cell_mm: float,
    band_mm: float,
    left_out_m2: float,
    things: list[Thing],
) -> tuple[Caveat, ...]:
    """Caveats of this stage, in the order of caveats.py."""
    rows: list[Caveat] = []
    if floor.up_reason is not None:
        axis = ", ".join(f"{v:.2f}" for v in floor.normal)
        rows.append(caveat("up_inferred", axis=f"({axis})", reason=floor.up_reason))
    if not scan.gravity_known:
        rows.append(caveat("gravity_unknown"))
    if view_count(scan) == 1:
        rows.append(caveat("single_view"))
    if 1.0 - seen_share > _UNSEEN_SHARE:
        rows.append(caveat("partly_seen", percent=100.0 * (1.0 - seen_share)))
    sigma_mm = noise.height_sigma_mm
    if sigma_mm > COARSE_SIGMA_MM:
        rows.append(caveat("too_coarse", sigma_mm=sigma_mm, cell_mm=cell_mm))
    if things:
        first = things[0]
        rows.append(
            caveat(
                "things_left_out",
                count=len(things),
                area_m2=sum(thing.area_m2 for thing in things),
                edge_mm=first.edge_mm,
                x_m=first.at_mm[0] / 1000.0,
                y_m=first.at_mm[1] / 1000.0,
            )
        )
    for area_m2, height_mm in floor.other_levels:
        if area_m2 >= max(_LEVEL_M2, _LEVEL_SHARE * floor.area_m2) and abs(height_mm) > band_mm:
            side = "above" if height_mm > 0 else "below"
            rows.append(caveat("other_level", area_m2=area_m2, height_mm=abs(height_mm), side=side))
    if left_out_m2 > _APART_M2:
        rows.append(caveat("floor_apart", area_m2=left_out_m2))
    return tuple(rows)


def sentence_of_frame(outline: tuple[NDArray[np.float64], ...]) -> str:
    """Where the floor frame lies, in words a person with a tape can follow."""
    size = [said.tape(float(side)) for side in np.ptp(outline[0], axis=0)]
    return (
        f"floor frame: origin at a corner, x along the longest straight side ({size[0]} in all), "
        f"y square to it, to the left ({size[1]})"
    )
