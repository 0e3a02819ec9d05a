"""What the survey file says of taps and asbestos binds the plan."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.joints.lifting import ASBESTOS_STAYS, lift, lifting_called_for, waiting_tiles
from flatscan.levelling.product import load_product
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, AsbestosTest, OldCovering
from flatscan.sources.survey.survey import Survey, Zone


@pytest.fixture
def made(make_surface):
    def make(asbestos: AsbestosTest | None, *, tapped: int = 50, bad: int = 6) -> Basis:
        survey = Survey(
            InputFile(Path("survey.toml"), "0" * 64, "survey"),
            site=replace(NO_SITE, old=OldCovering(asbestos=asbestos)),
        )
        return Basis(
            make_surface(),
            ((2000.0, 3.0),),
            ("own",),
            "level_areas",
            None,
            tapped=tapped,
            survey=survey,
            counted_bad=bad,
        )

    return make


@pytest.mark.parametrize("asbestos", [None, "not_tested", "none_found", "found"])
def test_where_asbestos_was_found_nothing_is_ground_and_no_tile_lifted(made, asbestos: AsbestosTest | None) -> None:
    basis, product = made(asbestos), load_product()
    bounds = bounds_of(basis.survey, basis, product)
    proposal = lift(basis.surface, basis, bounds, product)
    assert np.all(bounds.most_grind_mm == 0.0) == (asbestos == "found")
    assert (proposal.why_not == ASBESTOS_STAYS) == (asbestos == "found")
    assert ("licensed" in lifting_called_for(basis)) == (asbestos == "found")


def test_tiles_counted_without_a_place_count(made) -> None:
    """More than a tenth: CSTB Cahier 3635_V2 (November 2012), as restated by a floor maker."""
    assert lifting_called_for(made(None, tapped=60, bad=6)) == ""
    assert "6 of 59 places" in lifting_called_for(made(None, tapped=59, bad=6))


@pytest.mark.parametrize("asbestos", [None, "not_tested", "none_found", "found"])
def test_where_asbestos_was_found_no_tile_comes_out_and_those_that_would_are_told(
    made, asbestos: AsbestosTest | None
) -> None:
    """HSE asbestos essentials A23: do not break up; a licensed firm decides."""
    basis = made(asbestos, tapped=50, bad=2)
    square = np.array([[400.0, 400.0], [800.0, 400.0], [800.0, 800.0], [400.0, 800.0]])
    ring = (square,)
    survey = replace(
        basis.survey,
        zones=(Zone("remove_tiles", "loose ones", polygon_mm=square, value_mm=12.0),),
        remove_hollow_mm=14.0,
    )
    basis = replace(basis, survey=survey, tiles=ring, bad_taps=((600.0, 600.0),))
    bounds = bounds_of(survey, basis, load_product())
    found = asbestos == "found"
    assert bounds.void_mm.max() == (0.0 if found else 14.0)
    assert any(rule.kind == "remove_tiles" for rule in bounds.rules) is not found
    assert ("2 tiles that sound hollow or loose and 'loose ones' stay" in waiting_tiles(basis)) is found


@pytest.mark.parametrize(
    ("kind", "bare"), [("concrete", True), ("screed", True), ("ceramic_tile", False), (None, False)]
)
def test_a_floor_without_tiles_has_none_to_take_up(made, kind, bare) -> None:
    basis = made("none_found", tapped=50, bad=20)
    site = replace(NO_SITE, old=OldCovering(kind=kind, asbestos="none_found"))
    basis = replace(basis, survey=replace(basis.survey, site=site))
    proposal = lift(basis.surface, basis, bounds_of(basis.survey, basis, load_product()), load_product())
    assert ("there are no tiles to take up" in proposal.why_not) is bare
    assert (lifting_called_for(basis) == "") is bare
