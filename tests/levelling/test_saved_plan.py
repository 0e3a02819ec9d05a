"""A floor kept for planning it again: what comes back is what was kept, and what is no such file is refused."""

from __future__ import annotations

import gc
import io
import pickle
import warnings
import zipfile
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flatscan.caveats import Caveat
from flatscan.errors import InputError
from flatscan.levelling import load_product, plan_levelling
from flatscan.levelling.basis import Basis
from flatscan.levelling.joints.joint_work import JointFill, JointWork, LipDown
from flatscan.quantity import Quantity
from flatscan.report.saved_basis import FILE_NAME, basis_bytes, load_basis
from flatscan.surface.surface import NoiseModel

ADVICE = "Run flatscan check again and give its result folder."
#: Where a surface is kept without what no plan asks for.
NOT_KEPT = {"fit": None, "inferences": ()}


def same(kept: object, again: object, where: str = "basis") -> None:
    """Every field of records, every element of tuples, every bit, shape and type of arrays."""
    if isinstance(kept, np.ndarray):
        assert isinstance(again, np.ndarray), where
        assert (kept.dtype, kept.shape) == (again.dtype, again.shape), where
        assert kept.tobytes() == again.tobytes(), where
        return
    if is_dataclass(kept) and not isinstance(kept, type):
        assert type(kept) is type(again), where
        for field in fields(kept):
            same(getattr(kept, field.name), getattr(again, field.name), f"{where}.{field.name}")
        return
    if isinstance(kept, tuple):
        assert isinstance(again, tuple), where
        assert len(kept) == len(again), where
        for number, (one, other) in enumerate(zip(kept, again, strict=True)):
            same(one, other, f"{where}[{number}]")
        return
    assert type(kept) is type(again), where
    assert kept == again, where


def through_the_file(basis: Basis, folder: Path) -> Basis:
    path = folder / FILE_NAME
    path.write_bytes(basis_bytes(basis))
    return load_basis(path)


def work(size: float = 1.8) -> JointWork:
    line = ((200.0, 1000.0), (3900.0, 1003.5))
    depth = Quantity(2.7, 0.31, "mm")
    fills = (
        JointFill("J1", line, 1234.5, "over", Quantity(6.1, 0.2, "mm"), depth, Quantity(0.02, 0.004, "l")),
        JointFill("J2", (*line, (4000.0, 1100.0)), 0.1 + 0.2, "not_decided", None, None, Quantity(0.5, 0.3, "l"), True),
    )
    lip = LipDown("J1", (1500.0, 1002.0), line, (1500.0, 1102.0), 640.0, "over", Quantity(size, 0.1, "mm"), 1.0)
    return JointWork(fills, (lip,), Quantity(1.5, 0.2, "l"), 7.4, 0.6)


def dished() -> np.ndarray:
    y, x = np.mgrid[0:60, 0:83]
    dip = -9.0 * np.exp(-((x - 25) ** 2 + (y - 30) ** 2) / 80.0)
    dip[40:44, 60:63] = np.nan
    return np.asarray(dip)


@pytest.fixture
def scanned(make_surface) -> Basis:
    """Everything that a scan with joints may bring: a hole, two rings, a known fall, uneven noise."""
    noise = NoiseModel(0.3, 0.2, 120.0, 0.1, "from two views, ± a little", 0.3)
    surface = make_surface(dished(), noise=noise, fall=1.7, direction_rad=-2.1)
    scale = np.where(np.isfinite(surface.height_mm), 1.25, np.nan).astype(np.float32)
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(4, 4)))[0]
    column = np.array([[500.0, 500.0], [700.0, 500.0], [600.0, 650.0]])
    surface = replace(
        surface,
        correlated_scale=scale,
        floor_from_scan=turn,
        outline=(*surface.outline, column),
        origin_mm=(-12.5, 1.0 / 3.0),
        strip_mm=30.0,
        kind="depth_frames",
        caveats=(Caveat("unit_inferred", "The file’s unit, “m”, was inferred", "State it with --unit"),),
    )
    return Basis(
        surface,
        ((200.0, 1.0), (2000.0, 3.0)),
        ("over-old-tiles", "mine"),
        "level_areas",
        work(),
        tiles=(np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 300.0], [0.0, 300.0]]), column + 0.1),
        tapped=14,
        bad_taps=((250.0, 260.5),),
        doors_mm=(((0.0, 500.0), (0.0, 1400.0)),),
        directions=18,
        bridge_mm=120.0,
    )


@pytest.fixture
def by_hand(make_surface) -> Basis:
    """A floor made from readings: realisations in place of a noise model, no joints, nothing else told."""
    floors = dished() + np.random.default_rng(2).normal(0.0, 0.4, (12, 1, 1))
    surface = replace(make_surface(floors.mean(axis=0)), kind="readings", realisations_mm=floors.astype(np.float32))
    return Basis(surface, ((2000.0, 3.0),), ("over-old-tiles",), "not_decided", None)


@pytest.mark.parametrize("name", ["scanned", "by_hand"])
def test_what_comes_back_is_what_was_kept(name: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    kept: Basis = request.getfixturevalue(name)
    seen_once = np.isfinite(kept.surface.height_mm).astype(np.int32)
    expected = replace(kept, surface=replace(kept.surface, count=seen_once, **NOT_KEPT))
    again = through_the_file(kept, tmp_path)
    same(expected, again)
    assert not again.surface.height_mm.flags.writeable
    # And what was read is kept as the same file.
    assert basis_bytes(again) == basis_bytes(kept)


def test_same_would_see_a_difference(scanned: Basis) -> None:
    """One bit of one height, one digit of one lip, a ring less: the comparison itself."""
    bit = scanned.surface.height_mm.copy()
    bit[3, 4] = np.nextafter(bit[3, 4], np.float32(9.0))
    for other in (
        replace(scanned, surface=replace(scanned.surface, height_mm=bit)),
        replace(scanned, joint_work=work(1.8 + 1e-15)),
        replace(scanned, tiles=scanned.tiles[:1]),
        replace(scanned, directions=18.0),
    ):
        with pytest.raises(AssertionError):
            same(scanned, other)


NUMBERS = st.floats(-1e300, 1e300)
SIZES = st.floats(0.0, 1e300)
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


@given(
    origin=st.tuples(NUMBERS, NUMBERS),
    size=SIZES,
    u=SIZES,
    words=WORDS,
    pairs=st.lists(st.tuples(SIZES, SIZES), max_size=3).map(tuple),
    taps=st.lists(st.tuples(NUMBERS, NUMBERS), max_size=3).map(tuple),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_number_and_any_text_come_back(make_surface, tmp_path, origin, size, u, words, pairs, taps) -> None:
    noise = NoiseModel(size, u, 50.0, 0.0, words)
    surface = replace(
        make_surface(np.full((3, 4), size % 1e30), noise=NoiseModel(0.1, 0.0, 50.0, 0.0, "")),
        noise=noise,
        origin_mm=origin,
        caveats=(Caveat(words, words, words),),
    )
    kept = Basis(surface, pairs, (words,), "level_all", work(size), bad_taps=taps, tapped=len(taps))
    same(kept, through_the_file(kept, tmp_path))


@pytest.mark.parametrize("name", ["scanned", "by_hand"])
def test_a_plan_from_the_file_is_the_plan_from_the_run(
    name: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """The same seed: every figure of every way, every area, every cell, equal to the last bit."""
    run: Basis = request.getfixturevalue(name)
    # Fewer directions and one limit: the same question in less time.
    run = replace(run, directions=4, gap_limits=((2000.0, 3.0),))
    product = replace(load_product(), greatest_grind_mm=1.0)
    first, again = (
        plan_levelling(basis, product, rng=np.random.default_rng(5)) for basis in (run, through_the_file(run, tmp_path))
    )
    assert len(first.methods) == 6
    assert first.methods[0].volume_l.value > 0.0
    same(first.methods, again.methods, "methods")
    same(first.areas, again.areas, "areas")
    same(first.recommendation, again.recommendation, "recommendation")
    same(first.fill_mm, again.fill_mm, "fill_mm")
    same(first.grind_mm, again.grind_mm, "grind_mm")


def test_the_same_run_is_the_same_bytes(scanned: Basis, monkeypatch: pytest.MonkeyPatch) -> None:
    first = basis_bytes(scanned)
    monkeypatch.setattr("time.time", lambda: 2.0e9)
    assert basis_bytes(scanned) == first
    assert basis_bytes(replace(scanned, tapped=15)) != first


# Files that are none


def parts(basis: Basis) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(basis_bytes(basis))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(members: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def array(values: object, *, pickled: bool = False) -> bytes:
    buffer = io.BytesIO()
    np.save(buffer, np.asarray(values), allow_pickle=pickled)
    return buffer.getvalue()


def head(basis: Basis, **changed: object) -> dict[str, bytes]:
    """The head as it is kept, with values changed; None takes one out."""
    said = msgspec.json.decode(np.load(io.BytesIO(parts(basis)["head.npy"])).tobytes()) | changed
    told = {key: value for key, value in said.items() if value is not None}
    return {"head.npy": array(np.frombuffer(msgspec.json.encode(told), dtype=np.uint8))}


class Trap:
    """Makes a file where it is unpickled."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return Path.touch, (self.path,)


def refused(folder: Path, content: bytes) -> str:
    path = folder / FILE_NAME
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_basis(path)
    said = str(caught.value)
    assert said.startswith(f"{FILE_NAME}: ")
    assert said.endswith(ADVICE)
    assert "\n" not in said
    assert str(folder) not in said
    return said


def test_the_parts_put_together_again_are_read(scanned: Basis, tmp_path: Path) -> None:
    """Else what follows would be refused for how it is put together."""
    (tmp_path / FILE_NAME).write_bytes(zipped({**parts(scanned), **head(scanned)}))
    same(
        replace(scanned.surface, count=load_basis(tmp_path / FILE_NAME).surface.count),
        load_basis(tmp_path / FILE_NAME).surface,
    )


CUT = (0, 1, 30, 500, 0.5, 0.9, -23, -1)


@pytest.mark.parametrize("kept", CUT)
def test_a_file_that_was_cut_short(scanned: Basis, tmp_path: Path, kept: float) -> None:
    whole = basis_bytes(scanned)
    refused(tmp_path, whole[: int(kept * len(whole)) if isinstance(kept, float) else kept])


@pytest.mark.parametrize("content", [b"no zip", b"\x89PNG\r\n\x1a\n", array([1.0, 2.0]), zipped({})])
def test_what_is_no_such_archive(tmp_path: Path, content: bytes) -> None:
    refused(tmp_path, content)


def test_a_pickle_is_never_run(scanned: Basis, tmp_path: Path) -> None:
    """As the whole file, as an array of objects, and as more objects in the head."""
    sprung = tmp_path / "sprung"
    trap = Trap(sprung)
    good = parts(scanned)
    objects = np.empty((2, 2), dtype=object)
    objects[:] = trap
    for content in (
        pickle.dumps(trap),
        zipped({**good, "height_mm.npy": array(objects, pickled=True)}),
        zipped({**good, "head.npy": array(objects, pickled=True)}),
    ):
        refused(tmp_path, content)
    assert not sprung.exists()
    pickle.loads(pickle.dumps(trap))  # noqa: S301 - our own: the trap is one
    assert sprung.exists()


@pytest.mark.parametrize(
    "changed",
    [
        {"form": "flatscan-floor/2"},
        {"form": None},
        {"cell_mm": "50"},
        {"cell_mm": -50.0},
        {"gap_limits": [[2000.0]]},
        {"answer": "lovely"},
        {"outlines": 3},
        {"tiles": 9},
        {"noise": None},
        {"kind": "cloudy"},
    ],
)
def test_a_head_of_another_form(scanned: Basis, tmp_path: Path, changed: dict[str, object]) -> None:
    refused(tmp_path, zipped({**parts(scanned), **head(scanned, **changed)}))


@pytest.mark.parametrize("gone", ["head.npy", "height_mm.npy", "inside.npy", "outline_1.npy", "tile_0.npy"])
def test_a_part_that_is_missing(scanned: Basis, tmp_path: Path, gone: str) -> None:
    refused(tmp_path, zipped({name: content for name, content in parts(scanned).items() if name != gone}))


def test_a_head_that_is_not_text(scanned: Basis, tmp_path: Path) -> None:
    for content in (b"", b"{}", b"\xff\xfe", b'{"form": ', b"[1]"):
        refused(tmp_path, zipped({**parts(scanned), "head.npy": array(np.frombuffer(content, dtype=np.uint8))}))


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("height_mm", np.zeros(5, np.float32)),
        ("height_mm", np.zeros((3, 4), np.float32)),
        ("height_mm", np.full((60, 83), "a")),
        ("height_mm", np.float32(3.0)),
        ("estimate_mm", np.zeros((60, 82), np.float32)),
        ("white_mm", np.zeros((60, 83, 1), np.float32)),
        ("inside", np.ones((83, 60), bool)),
        ("inside", np.zeros((60, 83), bool)),
        ("correlated_scale", np.zeros((59, 83), np.float32)),
        ("realisations_mm", np.zeros((3, 59, 83), np.float32)),
        ("realisations_mm", np.zeros(60, np.float32)),
    ],
)
def test_arrays_that_do_not_fit_each_other(scanned: Basis, tmp_path: Path, name: str, values: np.ndarray) -> None:
    refused(tmp_path, zipped({**parts(scanned), f"{name}.npy": array(values)}))


def test_a_missing_file_is_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=rf"^{FILE_NAME}: the folder has no such file. {ADVICE}$"):
        load_basis(tmp_path / FILE_NAME)


# What is not refused yet: each mark goes when load_basis refuses it


def test_a_file_with_a_bad_sector(scanned: Basis, tmp_path: Path) -> None:
    """Bytes written over in the middle of what is compressed."""
    whole = basis_bytes(scanned)
    for seed in range(40):
        rng = np.random.default_rng(seed)
        at = int(rng.integers(100, len(whole) // 2))
        refused(tmp_path, whole[:at] + rng.bytes(8) + whole[at + 8 :])


@pytest.mark.parametrize("name", ["height_mm.npy", "head.npy", "inside.npy"])
def test_a_member_that_is_no_array(scanned: Basis, tmp_path: Path, name: str) -> None:
    refused(tmp_path, zipped({**parts(scanned), name: pickle.dumps([1, 2])}))


def test_an_array_that_claims_more_than_any_memory(scanned: Basis, tmp_path: Path) -> None:
    said = b"{'descr': '<f4', 'fortran_order': False, 'shape': (1000000000, 1000000), }"
    claim = b"\x93NUMPY\x01\x00" + (118).to_bytes(2, "little") + said.ljust(117) + b"\n"
    refused(tmp_path, zipped({**parts(scanned), "height_mm.npy": claim}))


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("inside", np.ones((60, 83), dtype=np.int64)),
        ("height_mm", np.zeros((60, 83), dtype=np.complex64)),
        ("outline_0", np.zeros(3)),
        ("tile_0", np.zeros((4, 3))),
        ("floor_from_scan", np.zeros(3)),
        ("estimate_mm", np.full((60, 83), np.nan, dtype=np.float32)),
    ],
)
def test_arrays_of_another_kind(scanned: Basis, tmp_path: Path, name: str, values: np.ndarray) -> None:
    refused(tmp_path, zipped({**parts(scanned), f"{name}.npy": array(values)}))


def test_a_broken_file_is_closed(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"PK\x03\x04 and no more")
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        with pytest.raises(InputError):
            load_basis(tmp_path / FILE_NAME)
        gc.collect()
    assert not [one for one in warned if issubclass(one.category, ResourceWarning)]
