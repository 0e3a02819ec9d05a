"""The site limits against what was read, figure by figure, and files that make none."""

from __future__ import annotations

from importlib.resources import files

import pytest

from flatscan.errors import LimitSetError
from flatscan.judgement.readiness.site_limits import site_limits, site_limits_from

TEXT = files("flatscan.judgement.readiness").joinpath("site_limits.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("method", "base", "heated", "least", "most", "mark"),
    [
        # betontechnische-daten.de 15.5, baunetzwissen.de "Belegreife": cement 2.0, heated 1.8 CM-%
        ("carbide", "cement_screed", False, None, 2.0, "read"),
        ("carbide", "cement_screed", True, None, 1.8, "read"),
        # 0.5 on the first page, heated 0.3 on the second (0.5 after the newer standard): the stricter
        ("carbide", "calcium_sulfate_screed", False, None, 0.5, "read"),
        ("carbide", "calcium_sulfate_screed", True, None, 0.3, "read"),
        # a Belgian sheet for vinyl planks: 2 %; NF DTU 51.11 as restated is milder
        ("carbide", "concrete", None, None, 2.0, "restated"),
        # ASTM F710: 75 % RH in the slab (F2170), 3 lb (F1869)
        ("in_base_humidity", "concrete", None, None, 75.0, "restated"),
        ("emission", "concrete", None, None, 3.0, "restated"),
        # AS 1884-2012: surface hood 70 %, timber 10 to 14 %
        ("surface_humidity", "cement_screed", None, None, 70.0, "read"),
        ("wood_moisture", "timber", None, 10.0, 14.0, "read"),
    ],
)
def test_moisture_limits_are_those_that_were_read(method, base, heated, least, most, mark):
    (found,) = [m for m in site_limits().moisture if m.method == method and m.may_hold(base, heated)]
    assert (found.least, found.most, found.source.mark) == (least, most, mark)


@pytest.mark.parametrize(
    ("name", "value", "document"),
    [
        ("air_least", 18.0, "NHBC Standards"),  # 18 °C or more
        ("air_most", 29.0, "Makers' sheets"),  # 65 to 85 °F
        ("held", 48.0, "Makers' sheets"),  # 48 h before, during, after; NHBC 24 h
        ("heated_surface_most", 27.0, "Dutch"),  # ASTM F710 85 °F
        ("pipe_cover_least", 25.0, "Dutch"),
        ("heating_off", 48.0, "NF DTU 51.11"),
        ("pull_off_least", 1.0, "BEB"),  # Dutch trade rules 0.7
        ("hollow_share_most", 0.1, "French"),  # CSTB Cahier 3635_V2
        ("water_drop", 60.0, "A trade's survey sheet"),  # 60 to 90 s
    ],
)
def test_other_figures_are_those_that_were_read(name, value, document):
    rule = site_limits().rule(name)
    assert rule.figure == value
    assert rule.source.document.startswith(document)


def test_where_sources_disagree_the_stricter_is_taken_and_it_is_said():
    disputed = [entry for entry in (*site_limits().moisture, *site_limits().rules) if entry.conflict]
    assert len(disputed) == 6
    assert all(
        e.conflict.startswith("Sources disagree") and e.conflict.endswith("stricter is taken.") for e in disputed
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("most = 1.8", "mots = 1.8", "mots"),
        ("most = 1.8", 'most = "1.8"', "moisture[1].most"),
        ("most = 1.8", "most = -1.8", "moisture[1].most must be above 0"),
        ("least = 10.0", "least = 15.0", "moisture[8].most must be above 0 and above least"),
        ('method = "emission"', 'method = "smell"', "moisture[7].method"),
        ('document = "BEB guide value"', 'documnt = "BEB guide value"', "document"),
        ('document = "BEB guide value"', 'document = "BEB", pages = "3"', "rules[7].source.pages"),
        ('mark = "restated", reference = "a floor', 'mark = "hearsay", reference = "a floor', "mark"),
        ('name = "held"', 'name = "air_most"', "the rule air_most is there 2 times"),
        ("value = 29.0", "", "the rule air_most needs a figure"),
        ('name = "cracks"', 'name = "cracks"\nvalue = 3.0', "the rule cracks has no figure"),
        ("[[moisture]]", "[[moisture", "not valid TOML"),
    ],
)
def test_a_slip_of_the_pen_is_named(old, new, said):
    assert old in TEXT
    with pytest.raises(LimitSetError) as caught:
        site_limits_from(TEXT.replace(old, new, 1), "mine.toml")
    assert str(caught.value).startswith("mine.toml: ")
    assert said in str(caught.value)
