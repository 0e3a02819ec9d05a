"""The kinds of a survey file as a record calls them, which is fuller than what is typed into the file."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from flatscan.sources.survey.site import AsbestosTest, CoveringKind, HeatingKind, MoistureMethod, OldCoveringKind

COVERING: Mapping[CoveringKind, str] = {
    "click_vinyl": "vinyl planks that click together",
    "planks_on_mat": "planks on a mat",
    "glued_vinyl": "glued vinyl",
    "laminate": "laminate",
    "parquet": "parquet",
    "thin_tile": "thin tiles",
    "other": "another covering",
}
METHOD: Mapping[MoistureMethod, str] = {
    "carbide": "carbide method",
    "in_base_humidity": "humidity in the base",
    "surface_humidity": "humidity under a hood on the surface",
    "emission": "moisture given off",
    "wood_moisture": "wood moisture",
}
HEATING: Mapping[HeatingKind, str] = {
    "none": "none in the floor",
    "water": "warm water pipes",
    "electric": "electric",
    "unknown": "nobody knows whether there is any",
}
OLD: Mapping[OldCoveringKind, str] = {
    "ceramic_tile": "ceramic tiles",
    "stone": "stone",
    "resilient_tile": "vinyl, linoleum or asphalt tiles",
    "sheet": "sheet covering",
    "screed": "bare screed",
    "concrete": "bare concrete",
    "timber": "timber",
    "other": "another covering",
}
ASBESTOS: Mapping[AsbestosTest, str] = {
    "not_tested": "no sample was tested",
    "none_found": "none found in the samples tested",
    "found": "found in a sample",
}
