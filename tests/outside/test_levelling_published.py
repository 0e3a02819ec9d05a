"""Compound by the bag against published worked examples; volumes: ``test_volumes_published``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import bags_to_buy, mass_kg, volume_l


@pytest.mark.parametrize(
    ("area_m2", "depth_mm", "kg_per_m2_mm", "bag_kg", "kg", "bags"),
    [
        (6.0, 30.0, 1.7, 25.0, 306.0, 13),  # goodwin.crimea.ua: floor compound
        (20.0, 25.0, 2.2, 50.0, 1100.0, 22),  # eng.kakprosto.ru how-50068: cement screed; 22 bags exactly
    ],
)
def test_compound_by_the_bag(area_m2, depth_mm, kg_per_m2_mm, bag_kg, kg, bags):
    product = replace(load_product(), kg_per_m2_mm=kg_per_m2_mm, bag_kg=bag_kg, waste_share=0.0)
    cells = np.full((100, 100), depth_mm)
    litres = volume_l(cells, np.sqrt(area_m2) * 10.0)
    assert mass_kg(litres, product) == pytest.approx(kg, rel=1e-12)
    assert bags_to_buy(litres, product) == bags


def test_the_built_in_product_is_within_what_pages_quote_and_says_it_has_no_source():
    """1.3 to 1.7 kg per m² and mm is what pages quote for levelling compounds."""
    product = load_product()
    assert 1.3 <= product.kg_per_m2_mm <= 1.7
    assert product.source.startswith("common practice, no source")
