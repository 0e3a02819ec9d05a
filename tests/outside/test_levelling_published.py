"""Volumes and compound against published worked examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from flatscan.levelling.flood import flood_fill
from flatscan.levelling.product import load_product
from flatscan.levelling.quantities import bags_to_buy, mass_kg, volume_l

MM_PER_FT = 304.8
LITRES_PER_FT3 = MM_PER_FT**3 / 1e6


def test_one_grid_cell():
    """A pocket calculator guide's example (manualshive.com 483108 p. 37).

    Corners 75.4, 77.5, 74.6 and 80.5 ft, target 83 ft, 2000 ft²: mean 77.0 ft, so fill 6 ft x 2000 ft² =
    12 000 ft³ = 444.4 yd³. The height runs bilinearly between the corners, whose mean is the corners' mean.
    """
    n = 200
    s = (np.arange(n) + 0.5) / n  # cell centres: the midpoint rule is exact for a bilinear height
    height_ft = (
        np.outer(1 - s, 1 - s) * 75.4 + np.outer(1 - s, s) * 77.5 + np.outer(s, 1 - s) * 74.6 + np.outer(s, s) * 80.5
    )
    cell_mm = np.sqrt(2000.0) * MM_PER_FT / n
    fill_mm = (83.0 - height_ft) * MM_PER_FT
    cubic_feet = volume_l(fill_mm, cell_mm) / LITRES_PER_FT3
    assert height_ft.mean() == pytest.approx(77.0, abs=1e-9)
    assert cubic_feet == pytest.approx(12_000.0, rel=1e-9)
    assert cubic_feet / 27 == pytest.approx(444.4, abs=0.05)


def test_contour_stack():
    """Contours 3 m apart enclosing 375 to 2570 m² (engineeringdiscoveries.com, contour volume): 18 847.5 m³.

    A basin whose enclosed area grows evenly between the contours holds the trapezoidal sum exactly. The page's own
    "prismoidal" figure of 16 535 m³ is wrong (Simpson's rule needs an odd number of sections: with it and one
    trapezoid 18 760 m³), so the volume must not come near it.
    """
    areas_m2 = np.array([375.0, 620.0, 945.0, 1365.0, 1880.0, 2570.0])
    levels_mm = 3000.0 * np.arange(6)
    cell_mm = 100.0
    cells = round(areas_m2[-1] * 1e6 / cell_mm**2)
    enclosed_m2 = (np.arange(cells) + 0.5) * cell_mm**2 / 1e6
    basin = np.interp(enclosed_m2, areas_m2, levels_mm).reshape(1, -1)  # flat at the bottom, as the sum has it
    cubic_metres = volume_l(flood_fill(basin, least_layer_mm=0.0), cell_mm) / 1000.0
    # The highest cell centre stands half a cell (0.005 m², 0.02 mm) below the top contour: 0.06 m³ in all.
    assert cubic_metres == pytest.approx(18_847.5, abs=0.1)
    assert abs(cubic_metres - 16_535.0) > 2000.0


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
