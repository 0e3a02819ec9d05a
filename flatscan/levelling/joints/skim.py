"""A thin coat of even thickness over the whole floor, joints filled and lips taken down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.constants import MM3_PER_LITRE
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.unmet import unmet_words
from flatscan.levelling.joints.joint_work import joint_extra
from flatscan.levelling.joints.lip_work import lip_ramps, lips_to_grind
from flatscan.levelling.plan import Proposal

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.joints.joint_work import JointWork, LipDown
    from flatscan.levelling.plan import Product
    from flatscan.surface.surface import Surface

#: A coat this much over what is allowed is float32 rounding.
_ROUNDING_MM = 1e-4


def skim(surface: Surface, bounds: Bounds, work: JointWork | None, product: Product, *, worst: str) -> Proposal:
    """The coat where the floor was seen and takes compound; a coat changes no gap, so it goes over falls too.

    Places that must stay as they are (no fill, a height fixed at 0) are left bare. ``worst``: "" where the gaps are
    within their limits, else the worst one in words: the coat lies over it as it is.
    """
    coat_mm = max(product.coat_mm, product.least_layer_mm)
    ramps_mm, stays = lip_ramps(surface, bounds, work, product)
    bare = bounds.blocked | (bounds.most_fill_mm <= 0.0)
    fill = np.where(bare, 0.0, coat_mm + ramps_mm)
    fill[~surface.seen] = np.nan
    return Proposal(
        name="skim",
        fill_mm=fill.astype(np.float32),
        grind_mm=np.where(surface.seen, np.float32(0.0), np.float32(np.nan)),
        why_not=_why_not(surface, bounds, fill, stays, worst),
        extra_l=joint_extra("skim", work, float(bounds.void_mm.sum(dtype=np.float64)) * _litres_per_mm(surface)),
        notes=_notes(surface, bounds, work, coat_mm, ramps_mm),
    )


def _litres_per_mm(surface: Surface) -> float:
    return surface.cell_mm**2 / MM3_PER_LITRE


def _why_not(
    surface: Surface, bounds: Bounds, fill: NDArray[np.float64], stays: tuple[LipDown, ...], worst: str
) -> str:
    if worst:
        return f"A thin coat flattens nothing: {worst} stays"
    above = np.where(surface.seen, fill - bounds.most_fill_mm, -np.inf)
    if (above > _ROUNDING_MM).any():
        return unmet_words(surface, bounds, above > _ROUNDING_MM, above)
    short = np.where(surface.seen & ~bounds.blocked, bounds.least_fill_mm - fill, -np.inf)
    if (short > _ROUNDING_MM).any():
        row, col = np.unravel_index(int(np.argmax(short)), short.shape)
        place = place_in_words(surface.xy_mm(float(row), float(col)))
        return (
            f"{said.thickness(float(bounds.least_fill_mm[row, col]))} is asked for {place}, and a thin coat is "
            f"{said.thickness(float(fill[row, col]))}"
        )
    if stays:
        lip = stays[0]
        return f"The lip of {lip.lip.text()} {place_in_words(lip.at)} may be neither ground nor filled against"
    return ""


def _notes(
    surface: Surface, bounds: Bounds, work: JointWork | None, coat_mm: float, ramps_mm: NDArray[np.float32]
) -> tuple[str, ...]:
    notes = [f"A coat of {said.length(coat_mm)} lies as the floor lies: it closes joints and flattens nothing"]
    lips = len(lips_to_grind(surface, bounds, work))
    if lips:
        notes.append(f"First take down {lips} lip{'' if lips == 1 else 's'}")
    if ramps_mm.any():
        notes.append("Lips that may not be ground get a ramp on the low side")
    return tuple(notes)
