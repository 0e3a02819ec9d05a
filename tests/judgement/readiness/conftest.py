"""A floor that is ready in every way, to take things away from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from flatscan.judgement.readiness.judging import readiness_of
from flatscan.judgement.soundness import Soundness
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import (
    Climate,
    Covering,
    Heating,
    Moisture,
    OldCovering,
    Site,
    Sound,
    Tapped,
    Visit,
)
from flatscan.sources.survey.survey import Survey

FILE = InputFile(Path("survey.toml"), "0b" * 32, "survey")
READING = Moisture("carbide", 1.6, base="cement_screed", plus_minus=0.2, beneath_tiles=True)
READY = Site(
    visit=Visit(),
    covering=Covering(kind="click_vinyl", acclimatised_hours=50.0),
    moisture=(READING,),
    climate=Climate(air_c=19.0, floor_c=18.5, held_hours=72.0),
    heating=Heating(kind="none"),
    sound=Sound(
        tapped=Tapped(tiles=60, hollow=0, loose=0),
        cracks_looked_for=True,
        clean=True,
        movement_joints_carried=True,
    ),
    old=OldCovering(kind="ceramic_tile", asbestos="none_found"),
)


@pytest.fixture
def ready() -> Site:
    return READY


@pytest.fixture
def survey_of():
    def make(site: Site, **parts) -> Survey:
        return Survey(FILE, site=site, **parts)

    return make


@pytest.fixture
def condition_of(survey_of):
    """One condition of the ready site with some parts changed; the measured ones apart."""

    def find(name: str, *, field=None, survey_parts=None, **parts):
        survey = survey_of(replace(READY, **parts), **(survey_parts or {}))
        found = readiness_of(
            (),
            (),
            Soundness.of(field, survey),
            survey,
            unseen_share=0.0,
            most_unseen_share=0.05,
            confidence=0.95,
        )
        return found.named(name)

    return find
