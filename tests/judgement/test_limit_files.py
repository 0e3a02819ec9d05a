"""Limit sets as files: the package's own are sound, and a user's faults are named."""

from __future__ import annotations

from importlib.resources import files

import pytest

from flatscan.errors import LimitSetError
from flatscan.judgement import explain, known_limit_sets, list_as_text, load_limits
from flatscan.judgement.limit_files import read_limit_set

SOUND = """
id = "mine"
title = "my floor maker's sheet"
[source]
document = "data sheet"
mark = "read"
[[limits]]
what = "gap"
limit_mm = 2
edge_mm = 1500
"""


def test_every_set_of_the_package_loads_once_under_its_own_name():
    ids = [s.id for s in known_limit_sets()]
    names = {e.name for e in files("flatscan.judgement").joinpath("limit_sets").iterdir() if e.name.endswith(".toml")}
    assert len(ids) == len(set(ids)) == len(names)
    assert {f"{i}.toml" for i in ids} == names


@pytest.mark.parametrize("limit_set", known_limit_sets(), ids=lambda s: s.id)
def test_every_set_says_where_it_is_from_and_what_a_resting_edge_changes(limit_set):
    source = limit_set.source
    assert source.document
    assert source.reference or source.mark in ("from memory", "common practice, no source")
    assert limit_set.applies_to
    if limit_set.placement != "resting":
        assert "Here the gap beneath a resting edge is judged" in limit_set.note
    assert load_limits([limit_set.id]) == (limit_set,)
    assert source.document in explain(limit_set).replace("\n", " ")
    assert limit_set.id in list_as_text(known_limit_sets())


def test_a_users_file_by_path_and_by_folder(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SOUND)
    by_path = load_limits([str(path)])
    assert by_path == load_limits(["mine"], folder=tmp_path)
    assert by_path[0].limits[0].limit_mm == 2.0
    assert load_limits(["mine", "bs8204-sr1", "mine"], folder=tmp_path)[1].id == "bs8204-sr1"


@pytest.mark.parametrize(
    ("swap", "says"),
    [
        (("limit_mm = 2", 'limit_mm = "2"'), "limits[0].limit_mm: expected `float`, got `str`"),
        (("limit_mm = 2", "limit = 2"), "unknown key limits[0].limit. Did you mean limit_mm"),
        (("limit_mm = 2", "limit_mm = 0"), "limits[0].limit_mm must be more than 0"),
        (("limit_mm = 2", "limit_mm = nan"), "limits[0].limit_mm must be more than 0"),
        (("edge_mm = 1500", ""), "limits[0].edge_mm is missing"),
        (("edge_mm = 1500", "edge_mm = -1"), "limits[0].edge_mm must be more than 0"),
        (('mark = "read"', 'mark = "sure"'), "source.mark: invalid enum value 'sure'"),
        (('mark = "read"', ""), "source: object missing required field `mark`"),
        (('what = "gap"', 'what = "gaps"'), "limits[0].what: invalid enum value 'gaps'"),
        (('id = "mine"', 'id = "My floor"'), "id 'My floor' is not usable"),
        (('title = "my', "title = my"), "not a readable TOML file"),
        (("[source]", "spans = [[1000, 4], [100, 2]]\n[source]"), "spans must be above 0, distances rising"),
        (("[source]", "round_to_mm = 0\n[source]"), "round_to_mm must be more than 0"),
        (("[[limits]]", "[[limit]]"), "unknown key limit. Did you mean limits"),
    ],
)
def test_a_fault_is_named_with_file_and_key(tmp_path, swap, says):
    path = tmp_path / "mine.toml"
    assert swap[0] in SOUND
    path.write_text(SOUND.replace(*swap))
    with pytest.raises(LimitSetError) as caught:
        read_limit_set(path)
    assert str(caught.value).startswith("mine.toml: ")
    assert says in str(caught.value)


def test_a_set_without_limits_is_refused(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SOUND.split("[[limits]]", maxsplit=1)[0])
    with pytest.raises(LimitSetError, match="holds no limits"):
        read_limit_set(path)


@pytest.mark.parametrize(
    ("name", "near"), [("din18202-33", "din18202-3"), ("BS8204-SR1", "bs8204-sr1"), ("over-old-tile", "over-old-tiles")]
)
def test_an_unknown_name_gets_its_nearest(name, near):
    with pytest.raises(LimitSetError, match=f"Did you mean .*{near}"):
        load_limits([name])


def test_a_missing_file_and_no_name_at_all(tmp_path):
    with pytest.raises(LimitSetError, match="there is no such limit set"):
        load_limits([str(tmp_path / "nothing.toml")])
    with pytest.raises(LimitSetError, match="flatscan limits"):
        load_limits(["qqqq"])
    with pytest.raises(LimitSetError, match="no limit set was named"):
        load_limits([])
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LimitSetError, match="it is not text"):
        load_limits([str(binary)])
