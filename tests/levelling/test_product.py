"""Product files: one number said in three ways is one number, and every fault is told in a sentence."""

from __future__ import annotations

from dataclasses import fields, replace
from importlib.resources import files
from pathlib import Path

import pytest

from flatscan.errors import InputError
from flatscan.levelling.plan import Product
from flatscan.levelling.product import load_product

SAMPLE = Path(__file__).parents[2] / "sample_scans" / "old_tiled_kitchen" / "product.toml"
SOUND = """name = "mine"
source = "data sheet"
kg_per_m2_mm = 1.6
bag_kg = 20
least_layer_mm = 1
greatest_layer_mm = 30
waste_share = 0.05
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_three_ways_to_say_the_yield_are_one_product(tmp_path):
    """1 m² x 1 mm is 1 litre, so kg per m² and mm is kg per litre; 20 kg making 12.5 litres is 1.6 kg per litre."""
    by_area = load_product(written(tmp_path, SOUND))
    by_litre = load_product(written(tmp_path, SOUND.replace("kg_per_m2_mm", "kg_per_litre")))
    by_bag = load_product(written(tmp_path, SOUND.replace("kg_per_m2_mm = 1.6", "litres_per_bag = 12.5")))
    assert by_area == by_litre == by_bag
    assert by_area.kg_per_m2_mm == 1.6


def test_every_field_of_the_record_can_be_given(tmp_path):
    texts = {"name": '"n"', "source": '"s"', "currency": '"EUR"'}
    numbers = {
        "kg_per_m2_mm": 1.5,
        "bag_kg": 20.0,
        "least_layer_mm": 1.0,
        "greatest_layer_mm": 30.0,
        "layer_per_lift_mm": 10.0,
        "waste_share": 0.1,
        "feather_mm_per_m": 12.0,
        "coat_mm": 2.0,
        "primer_kg_per_m2": 0.2,
        "walk_on_h": 3.0,
        "cover_h": 20.0,
        "cover_h_per_mm": 5.0,
        "greatest_grind_mm": 2.0,
        "bag_price": 30.0,
        "primer_price_per_kg": 9.0,
        "fill_price_per_m2": 10.0,
        "grind_price_per_m2_mm": 14.0,
        "lift_price_per_m2": 30.0,
    }
    assert {f.name for f in fields(Product)} == {*texts, *numbers}
    product = load_product(written(tmp_path, "".join(f"{k} = {v}\n" for k, v in (texts | numbers).items())))
    assert all(getattr(product, key) == value for key, value in numbers.items())
    assert (product.name, product.source, product.currency) == ("n", "s", "EUR")


def test_a_thin_coat_left_unsaid_is_within_the_products_layers(tmp_path):
    usual = load_product(written(tmp_path, SOUND)).coat_mm
    thick = load_product(written(tmp_path, SOUND.replace("least_layer_mm = 1", "least_layer_mm = 3"))).coat_mm
    thin = SOUND.replace("least_layer_mm = 1", "least_layer_mm = 0").replace(
        "greatest_layer_mm = 30", "greatest_layer_mm = 1"
    )
    assert (usual, thick, load_product(written(tmp_path, thin)).coat_mm) == (1.5, 3.0, 1.0)


def test_a_file_from_a_windows_editor_is_read(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert load_product(path) == load_product(written(tmp_path, SOUND))


def test_the_built_in_figures_keep_their_layers_have_no_prices_and_say_where_each_is_from():
    """The layers are those of the pages in the sources' table: 1 to 10 mm, 1.3 to 1.7 kg per m² and mm."""
    product = load_product()
    assert (product.least_layer_mm, product.greatest_layer_mm, product.kg_per_m2_mm) == (1.0, 10.0, 1.7)
    assert not any(getattr(product, f.name) for f in fields(Product) if "price" in f.name or f.name == "currency")
    # 12 to 24 h for every few mm.
    assert 12.0 <= product.cover_h + product.cover_h_per_mm * 3.0 <= 24.0
    assert 2.0 <= product.walk_on_h <= 4.0
    lines = files("flatscan.levelling").joinpath("products", "levelling-compound.toml").read_text("utf-8").split("\n")
    for key in ("feather_mm_per_m", "coat_mm", "primer_kg_per_m2", "walk_on_h", "cover_h", "greatest_grind_mm"):
        at = next(n for n, line in enumerate(lines) if line.startswith(f"{key} ="))
        comment = at - next(k for k in range(1, 9) if not lines[at - k].startswith("#")) + 1
        said = " ".join(lines[comment:at]).lower()
        assert "from memory" in said or "common practice, no source" in said, key


def test_the_sample_says_that_it_is_invented():
    product = load_product(SAMPLE)
    assert "invented" in product.name
    assert "invented" in product.source
    assert product.kg_per_m2_mm == pytest.approx(25.0 / 14.5)
    assert replace(product, kg_per_m2_mm=1.7) != product


@pytest.mark.parametrize(
    ("swap", "says"),
    [
        (("bag_kg = 20", "bag = 20"), "unknown key bag. Did you mean bag_kg?"),
        (("bag_kg = 20", "bag_kg = 20\nqqqq = 1"), "unknown key qqqq. Known here: name, kg_per_m2_mm,"),
        (("bag_kg = 20\n", ""), "bag_kg is missing. Take it from the data sheet."),
        (('name = "mine"\n', ""), 'name is missing. Write name = "...".'),
        (('name = "mine"', "name = 3"), 'name is the number 3, not a text. Put it in quotes: name = "...".'),
        (
            ('name = "mine"', 'name = ""'),
            "name is empty or holds signs that cannot be printed. Write a few plain words.",
        ),
        (("bag_kg = 20", 'bag_kg = "20"'), 'bag_kg is the text "20", not a number. Give more than 0'),
        (("bag_kg = 20", "bag_kg = true"), "bag_kg is a yes or no, not a number."),
        (("bag_kg = 20", "bag_kg = 0"), "bag_kg must be more than 0 and at most 5000 kg, not 0. Correct bag_kg."),
        (("bag_kg = 20", "bag_kg = nan"), "bag_kg must be more than 0 and at most 5000 kg, not nan."),
        (("bag_kg = 20", "bag_kg = inf"), "bag_kg must be more than 0 and at most 5000 kg, not inf."),
        (
            ("kg_per_m2_mm = 1.6", "kg_per_m2_mm = 1600"),
            "kg_per_m2_mm must be more than 0 and at most 10 kg, not 1600.",
        ),
        (("kg_per_m2_mm = 1.6\n", ""), "how much powder the fill takes is missing. Give exactly one of kg_per_m2_mm,"),
        (
            ("kg_per_m2_mm = 1.6", "kg_per_litre = 1.6\nlitres_per_bag = 12"),
            "kg_per_litre and litres_per_bag say the same thing twice. Give exactly one",
        ),
        (("kg_per_m2_mm = 1.6", "litres_per_bag = 0"), "litres_per_bag must be more than 0 and at most 5000 litres"),
        (("kg_per_m2_mm = 1.6", "litres_per_bag = 1"), "a bag of 20 kg that makes 1 litres is 20 kg per litre"),
        (("least_layer_mm = 1", "least_layer_mm = -1"), "least_layer_mm must be from 0 to 500 mm, not -1."),
        (
            ("least_layer_mm = 1", "least_layer_mm = 30"),
            "greatest_layer_mm must be more than least_layer_mm, but 30 mm and 30 mm were given. Take both",
        ),
        (("waste_share", "layer_per_lift_mm = 31\nwaste_share"), "layer_per_lift_mm must be at most greatest_layer_mm"),
        (("waste_share", "layer_per_lift_mm = 0.5\nwaste_share"), "layer_per_lift_mm must be at least least_layer_mm"),
        (("waste_share", "coat_mm = 0.5\nwaste_share"), "coat_mm must be at least least_layer_mm"),
        (("waste_share", "coat_mm = 31\nwaste_share"), "coat_mm must be at most greatest_layer_mm"),
        (
            ("waste_share = 0.05", "waste_share = 5"),
            "waste_share must be a share from 0 to 0.9, such as 0.1 for a tenth, not 5",
        ),
        (("waste_share", "feather_mm_per_m = 0\nwaste_share"), "feather_mm_per_m must be more than 0"),
        (("waste_share", "walk_on_h = -1\nwaste_share"), "walk_on_h must be from 0 to 2000 hours, not -1."),
        (("waste_share", "greatest_grind_mm = -1\nwaste_share"), "greatest_grind_mm must be from 0 to 50 mm, not -1."),
        (("waste_share", 'currency = "EUR"\nbag_price = -1\nwaste_share'), "bag_price must be 0 or more"),
        (
            ("waste_share", "bag_price = 30\nwaste_share"),
            "bag_price is given but no currency. Add a line such as currency",
        ),
        (
            ("bag_kg = 20", "bag_kg = "),
            "not a readable TOML file (Invalid value (at line 4, column 10)). Write a value behind",
        ),
        (("bag_kg = 20", "bag_kg = 1" + "0" * 5000), "not a readable TOML file (a number or list is too long)"),
        (("bag_kg = 20", "bag_kg = 1" + "0" * 400), "bag_kg must be more than 0 and at most 5000 kg, not inf"),
    ],
)
def test_a_fault_is_named_with_file_key_and_cure(tmp_path, swap, says):
    assert swap[0] in SOUND
    with pytest.raises(InputError) as caught:
        load_product(written(tmp_path, SOUND.replace(*swap)))
    assert str(caught.value).startswith(f"mine.toml: {says}")


def test_what_is_no_product_file_at_all(tmp_path):
    for content, says in (
        (b"\xff\xfe\x00n", "it is not text, so it cannot be a product file"),
        (b"name = '\xff'", "it is not text in UTF-8"),
        (b"#" * 1_000_001, "it is 1.0 MB large, too large for a product file"),
        (b"a = " + b"[" * 9000, "not a readable TOML file"),
    ):
        path = tmp_path / "mine.toml"
        path.write_bytes(content)
        with pytest.raises(InputError, match=says):
            load_product(path)
    with pytest.raises(InputError, match="it is a folder, not a product file"):
        load_product(tmp_path)
    with pytest.raises(InputError, match="there is no such product file"):
        load_product(tmp_path / "none.toml")
