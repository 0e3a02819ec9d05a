"""The levelling compound: figures from a data sheet, read from TOML."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from flatscan.errors import InputError
from flatscan.levelling.plan import Product

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable


def load_product(path: Path | str | None = None) -> Product:
    """A product file, or the built-in figures, which are common practice without a source.

    Raises
    ------
    InputError
        for a file that is missing or does not make a product
    """
    if path is None:
        return _read(files("flatscan.levelling").joinpath("products", "levelling-compound.toml"))
    return _read(Path(path))


def _read(path: Path | Traversable) -> Product:
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise InputError(path.name, "there is no such product file", "Check the path") from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(path.name, f"not a readable TOML file ({error})", "Correct it") from error
    known = [f.name for f in fields(Product)]
    for key in table:
        if key not in known:
            raise InputError(path.name, f"unknown key {key}", f"Known keys: {', '.join(known)}")
    try:
        product = msgspec.convert({"greatest_layer_mm": None} | table, Product)
    except msgspec.ValidationError as error:
        raise InputError(path.name, str(error), "Correct that key") from error
    _check(product, path.name)
    return product


def _check(product: Product, where: str) -> None:
    if not (product.kg_per_m2_mm > 0 and product.bag_kg > 0):
        raise InputError(where, "kg_per_m2_mm and bag_kg must be more than 0", "Take them from the data sheet")
    if not (product.least_layer_mm >= 0 and 0 <= product.waste_share < 1):
        raise InputError(where, "least_layer_mm or waste_share is out of range", "Give mm, and a share from 0 to 1")
    if product.greatest_layer_mm is not None and product.greatest_layer_mm <= product.least_layer_mm:
        raise InputError(where, "greatest_layer_mm must be more than least_layer_mm", "Take both from the data sheet")
