"""Taking the old tiles up: when it is called for, and what can be said of it beforehand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan.judgement.readiness.old_covering import BARE
from flatscan.judgement.soundness import LEAST_TAPS, MOST_HOLLOW_SHARE
from flatscan.levelling.binding.constraints import asbestos_found
from flatscan.levelling.plan import Proposal
from flatscan.said import counted

if TYPE_CHECKING:
    from flatscan.levelling.basis import Basis
    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.plan import Product
    from flatscan.surface.surface import Surface

#: Facts behind it: HSE asbestos essentials A23 and national licensing rules.
ASBESTOS_STAYS = "Asbestos was found in the old floor: only a licensed firm may take it up"


def lifting_called_for(basis: Basis) -> str:
    """Why the whole covering comes up: more than a tenth of the places tapped are bad; "" where nothing says so.

    Of a bare floor nothing can come up.

    The rule and its source are those of ``judgement.soundness``: French renovation rules, CSTB Cahier 3635_V2
    (November 2012), read on a page that restates them. It is of area; places tapped all over stand for it.
    """
    if bare_kind(basis) or basis.tapped < LEAST_TAPS or basis.bad <= MOST_HOLLOW_SHARE * basis.tapped:
        return ""
    share = 100.0 * basis.bad / basis.tapped
    licensed = f". {ASBESTOS_STAYS}" if asbestos_found(basis.survey) else ""
    return (
        f"{basis.bad} of {basis.tapped} places tapped sound hollow or loose ({share:.0f} %), and above a tenth of a "
        f"room's area French renovation rules take the whole covering up{licensed}"
    )


def lift(surface: Surface, basis: Basis, bounds: Bounds, product: Product) -> Proposal:  # noqa: ARG001 - as its sisters
    """All tiles come up: always possible but where asbestos was found or none lie there. Nobody has seen beneath."""
    called_for = lifting_called_for(basis)
    nothing = np.where(surface.seen, np.float32(0.0), np.float32(np.nan))
    notes = (
        "What lies beneath the tiles has not been seen, so its levelling cannot be told",
        "Measure again when the tiles are up",
    )
    return Proposal(
        name="lift_tiles",
        fill_mm=nothing,
        grind_mm=nothing.copy(),
        why_not=_why_not(basis),
        notes=(called_for, *notes) if called_for else notes,
    )


def bare_kind(basis: Basis) -> str:
    """``concrete`` where the survey says that no covering lies there; "" where one does, or nobody said."""
    kind = None if basis.survey is None else basis.survey.site.old.kind
    return kind if kind is not None and kind in BARE else ""


def waiting_tiles(basis: Basis) -> str:
    """What is hollow or named to come out, and stays: asbestos was found; "" for nothing."""
    if not asbestos_found(basis.survey) or basis.survey is None:
        return ""
    told = [counted(basis.bad, "tile") + " that sound hollow or loose"] if basis.bad else []
    told += [f"'{zone.name}'" for zone in basis.survey.zones if zone.kind == "remove_tiles"]
    return (
        f"{' and '.join(told)} stay as they are: asbestos was found, so they wait for a licensed firm" if told else ""
    )


def _why_not(basis: Basis) -> str:
    if asbestos_found(basis.survey):
        return ASBESTOS_STAYS
    return f"The old floor is {bare_kind(basis)}: there are no tiles to take up" if bare_kind(basis) else ""
