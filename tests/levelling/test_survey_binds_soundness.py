"""What the survey file says of taps and asbestos binds the plan."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flatscan.levelling.basis import Basis
from flatscan.levelling.binding.constraints import bounds_of
from flatscan.levelling.joints.lifting import ASBESTOS_STAYS, lift, lifting_called_for
from flatscan.levelling.product import load_product
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import NO_SITE, AsbestosTest, OldCovering
from flatscan.sources.survey.survey import Survey


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
