"""The levelling compound: figures from a data sheet and prices of one's own, read from TOML."""

from __future__ import annotations

from dataclasses import fields, replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatscan.levelling.plan import Product
from flatscan.sources.survey.section import Range, Section, read_toml

if TYPE_CHECKING:
    from flatscan.errors import InputError

#: Three ways a data sheet says how much powder a litre of fill takes. The first two are the same number:
#: 1 m² x 1 mm is 1 litre.
_YIELDS = ("kg_per_m2_mm", "kg_per_litre", "litres_per_bag")
_SHEET = "Take it from the data sheet"
_DENSITY = Range(0.0, 10.0, "more than 0 and at most 10 kg", open_below=True)
_LAYER = Range(0.0, 500.0, "from 0 to 500 mm")
_THICKNESS = Range(0.0, 500.0, "more than 0 and at most 500 mm", open_below=True)
_HOURS = Range(0.0, 2000.0, "from 0 to 2000 hours")
_PRICE = Range(0.0, 1e9, "0 or more, and no more than a thousand million")
_NUMBERS = {
    "kg_per_m2_mm": _DENSITY,
    "kg_per_litre": _DENSITY,
    "litres_per_bag": Range(0.0, 5000.0, "more than 0 and at most 5000 litres", open_below=True),
    "bag_kg": Range(0.0, 5000.0, "more than 0 and at most 5000 kg", open_below=True),
    "least_layer_mm": _LAYER,
    "greatest_layer_mm": _THICKNESS,
    "layer_per_lift_mm": _THICKNESS,
    "waste_share": Range(0.0, 0.9, "a share from 0 to 0.9, such as 0.1 for a tenth"),
    "feather_mm_per_m": Range(0.0, 1000.0, "more than 0 and at most 1000 mm per m", open_below=True),
    "coat_mm": _THICKNESS,
    "primer_kg_per_m2": Range(0.0, 10.0, "from 0 to 10 kg per m²"),
    "walk_on_h": _HOURS,
    "cover_h": _HOURS,
    "cover_h_per_mm": _HOURS,
    "greatest_grind_mm": Range(0.0, 50.0, "from 0 to 50 mm"),
    "bag_price": _PRICE,
    "primer_price_per_kg": _PRICE,
    "fill_price_per_m2": _PRICE,
    "grind_price_per_m2_mm": _PRICE,
    "lift_price_per_m2": _PRICE,
}
_TEXTS = ("name", "source", "currency")
_NEEDED = ("name", "bag_kg", "least_layer_mm", "waste_share", "source")


def load_product(path: Path | str | None = None) -> Product:
    """A product file, or the built-in figures, which are common practice without a source.

    How much powder a litre of fill takes is said in one of three ways: ``kg_per_m2_mm``, the same number as
    ``kg_per_litre``, or ``litres_per_bag``.

    Raises
    ------
    InputError
        for a file that is missing or does not make a product
    """
    if path is not None:
        return _product(read_toml(Path(path), "product file")[0])
    with as_file(files("flatscan.levelling").joinpath("products", "levelling-compound.toml")) as built_in:
        return _product(read_toml(built_in, "product file")[0])


def _product(section: Section) -> Product:
    section.check_keys([*(f.name for f in fields(Product)), *_YIELDS[1:]])
    for key in _NEEDED:
        if key not in section.values:
            raise section.refuse(f"{key} is missing", _SHEET if key not in _TEXTS else f'Write {key} = "..."')
    values: dict[str, Any] = {key: section.text(key) for key in _TEXTS if key in section.values}
    values |= {key: section.number(key, allowed) for key, allowed in _NUMBERS.items() if key in section.values}
    values["kg_per_m2_mm"] = _kg_per_m2_mm(section, values)
    values.pop("kg_per_litre", None)
    values.pop("litres_per_bag", None)
    _check_layers(section, values)
    _check_prices(section, values)
    product = Product(**({"greatest_layer_mm": None} | values))
    return product if "coat_mm" in values else _with_usual_coat(product)


def _kg_per_m2_mm(section: Section, values: dict[str, Any]) -> float:
    """Powder per litre of fill, from the one key that says it."""
    said = [key for key in _YIELDS if key in values]
    if len(said) != 1:
        what = f"{' and '.join(said)} say the same thing twice" if said else "how much powder the fill takes is missing"
        raise section.refuse(what, f"Give exactly one of {', '.join(_YIELDS)}")
    if said[0] != "litres_per_bag":
        return float(values[said[0]])
    kg = float(values["bag_kg"] / values["litres_per_bag"])
    if not _DENSITY.holds(kg):
        raise section.refuse(
            f"a bag of {values['bag_kg']:g} kg that makes {values['litres_per_bag']:g} litres is {kg:g} kg per litre, "
            f"which must be {_DENSITY.words}",
            "Check both on the data sheet",
        )
    return kg


def _check_layers(section: Section, values: dict[str, Any]) -> None:
    def clash(key: str, word: str, other: str) -> InputError:
        what = f"{key} must be {word} {other}, but {values[key]:g} mm and {values[other]:g} mm were given"
        return section.refuse(what, "Take both from the data sheet")

    least, most, lift = (values.get(k) for k in ("least_layer_mm", "greatest_layer_mm", "layer_per_lift_mm"))
    if most is not None and most <= values["least_layer_mm"]:
        raise clash("greatest_layer_mm", "more than", "least_layer_mm")
    if lift is not None and lift < least:
        raise clash("layer_per_lift_mm", "at least", "least_layer_mm")
    if lift is not None and most is not None and lift > most:
        raise clash("layer_per_lift_mm", "at most", "greatest_layer_mm")
    coat = values.get("coat_mm")
    if coat is not None and coat < least:
        raise clash("coat_mm", "at least", "least_layer_mm")
    if coat is not None and most is not None and coat > most:
        raise clash("coat_mm", "at most", "greatest_layer_mm")


def _check_prices(section: Section, values: dict[str, Any]) -> None:
    priced = [key for key in values if "price" in key]
    if priced and "currency" not in values:
        raise section.refuse(f"{priced[0]} is given but no currency", 'Add a line such as currency = "EUR"')


def _with_usual_coat(product: Product) -> Product:
    """Where the file does not say, a thin coat is as thin as usual, or as the product's layers allow."""
    most = product.coat_mm if product.greatest_layer_mm is None else product.greatest_layer_mm
    return replace(product, coat_mm=max(product.least_layer_mm, min(product.coat_mm, most)))
