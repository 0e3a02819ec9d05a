"""How people write the kinds in a survey file: the words of each, the first being the one we write ourselves."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.sources.survey.section import Section
    from flatscan.sources.survey.site import (
        AsbestosTest,
        CoveringKind,
        HeatingKind,
        MoistureBase,
        MoistureMethod,
        OldCoveringKind,
    )
    from flatscan.sources.survey.survey import ZoneKind

KindT = TypeVar("KindT", bound=str)

COVERING: dict[CoveringKind, tuple[str, ...]] = {
    "click_vinyl": ("click vinyl", "vinyl click", "click vinyl planks"),
    "planks_on_mat": ("planks on a mat", "planks on mat"),
    "glued_vinyl": ("glued vinyl", "glue down vinyl", "glued sheet"),
    "laminate": ("laminate",),
    "parquet": ("parquet", "wood"),
    "thin_tile": ("thin tiles", "thin tile"),
    "other": ("other",),
}
METHOD: dict[MoistureMethod, tuple[str, ...]] = {
    "carbide": ("carbide", "carbide meter", "carbide bomb"),
    "in_base_humidity": ("in-base humidity", "in base humidity", "in slab humidity"),
    "surface_humidity": ("surface humidity", "hygrometer box"),
    "emission": ("emission", "calcium chloride"),
    "wood_moisture": ("wood moisture", "timber moisture"),
}
BASE: dict[MoistureBase, tuple[str, ...]] = {
    "cement_screed": ("cement screed",),
    "calcium_sulfate_screed": ("calcium sulfate screed", "calcium sulphate screed", "anhydrite screed"),
    "concrete": ("concrete",),
    "timber": ("timber", "wood"),
}
HEATING: dict[HeatingKind, tuple[str, ...]] = {
    "none": ("none", "no"),
    "water": ("water", "warm water"),
    "electric": ("electric",),
    "unknown": ("unknown", "not known"),
}
OLD_COVERING: dict[OldCoveringKind, tuple[str, ...]] = {
    "ceramic_tile": ("ceramic tiles", "ceramic tile"),
    "stone": ("stone",),
    "resilient_tile": ("resilient tiles", "resilient tile", "vinyl tiles"),
    "sheet": ("sheet", "vinyl sheet", "linoleum"),
    "screed": ("screed",),
    "concrete": ("concrete",),
    "timber": ("timber", "wood"),
    "other": ("other",),
}
ZONE: dict[ZoneKind, tuple[str, ...]] = {
    "no_fill": ("no fill",),
    "no_grind": ("no grinding",),
    "keep_slope": ("keeps its slope",),
    "fixed_height": ("fixed height",),
    "greatest_build_up": ("greatest build-up",),
    "remove_tiles": ("tiles come out",),
}
ASBESTOS: dict[AsbestosTest, tuple[str, ...]] = {
    "not_tested": ("not tested",),
    "none_found": ("none found",),
    "found": ("found",),
}


def one_of(section: Section, key: str, kinds: Mapping[KindT, tuple[str, ...]], noun: str = "") -> KindT | None:
    """The kind that the text under ``key`` names, by its words or its own name; None where the key is not there.

    ``noun`` is what messages call the choice, ``key`` if not given.
    """
    said = section.text(key)
    if said is None:
        return None
    noun = noun or key
    by_words = {_plain(words): kind for kind, every in kinds.items() for words in (str(kind), *every)}
    found = by_words.get(_plain(said))
    if found is not None:
        return found
    near = difflib.get_close_matches(_plain(said), by_words, n=1)
    advice = f'Did you mean "{kinds[by_words[near[0]]][0]}"?' if near else f"Known {noun}s: {listed(kinds)}"
    raise section.refuse(f'there is no {noun} "{said}"', advice)


def listed(kinds: Mapping[KindT, tuple[str, ...]]) -> str:
    """The words of every kind, each in quotes.

    >>> listed({"a_b": ("a b", "b"), "c": ("c",)})
    '"a b", "c"'
    """
    return ", ".join(f'"{words[0]}"' for words in kinds.values())


def _plain(words: str) -> str:
    return " ".join(words.lower().replace("-", " ").replace("_", " ").split())
