"""How thin and how thick a covering layer may be, and what is said where it is too thick."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flatscan import said
from flatscan.judgement.places import place_in_words
from flatscan.levelling.binding.unmet import unmet_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from flatscan.levelling.binding.bounds import Bounds
    from flatscan.levelling.plan import Product
    from flatscan.surface.surface import Surface

#: Thickness beyond a bound that is rounding to float32.
_ROUNDING_MM = 1e-4


def thinnest_mm(bounds: Bounds, product: Product) -> NDArray[np.float64]:
    """(rows, cols) float64, the least that a pour or a screed may be."""
    return np.maximum(bounds.least_fill_mm, product.least_layer_mm).astype(np.float64)


def too_thick_words(
    surface: Surface, layer_mm: NDArray[np.float64], bounds: Bounds, product: Product, what: str
) -> str:
    """One sentence on the build-up that is missed most, else on the product's greatest layer, with the place; "": none.

    ``layer_mm``: (rows, cols), 0 where there is no layer; NaN is not seen. ``what``: the layer, to begin a sentence.
    """
    beyond = layer_mm - bounds.most_fill_mm
    words = unmet_words(surface, bounds, (beyond > _ROUNDING_MM) & (layer_mm > 0.0), beyond)
    if words or product.greatest_layer_mm is None:
        return words
    thickness = np.nan_to_num(layer_mm)
    row, col = (int(n) for n in np.unravel_index(int(thickness.argmax()), thickness.shape))
    if thickness[row, col] <= product.greatest_layer_mm + _ROUNDING_MM:
        return ""
    thick, place = said.thickness(float(thickness[row, col])), place_in_words(surface.xy_mm(row, col))
    may = said.length(product.greatest_layer_mm)
    return f"{what} would be {thick} thick {place}; the product may lie {may} thick"
