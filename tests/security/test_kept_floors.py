"""Floors and results that were kept, and came back from a stranger: nothing in them runs or swells."""

from __future__ import annotations

import pickle
import shutil
import struct
import zipfile
import zlib
from pathlib import Path

import pytest

from flatscan.errors import FlatscanError
from flatscan.report.saved_basis import load_floor

from .running import Job, refused


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


class Runs:
    """What pickle would run."""

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return Path.touch, (Path("pwned"),)


def with_array(source: Path, target: Path, name: str, content: bytes) -> None:
    """A copy of a floor's file with one array's file replaced."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.namelist():
            if entry != name:
                new.writestr(entry, old.read(entry))
        new.writestr(name, content)


def npy(header: dict[str, object], data: bytes = b"") -> bytes:
    text = repr(header).encode().ljust(118) + b"\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(text)) + text + data


def stored_object() -> bytes:
    return npy({"descr": "|O", "fortran_order": False, "shape": (1,)}, pickle.dumps(Runs()))


ARRAYS = {
    "a pickle": stored_object(),
    "only a pickle": pickle.dumps(Runs()),
    "a shape without end": npy({"descr": "<f4", "fortran_order": False, "shape": (10**9, 10**9)}),
    "a large shape": npy({"descr": "<f4", "fortran_order": False, "shape": (40_000, 40_000)}),
    "a negative shape": npy({"descr": "<f4", "fortran_order": False, "shape": (-1, 5)}),
    "a code in its head": b"\x93NUMPY\x01\x00"
    + struct.pack("<H", 60)
    + b"__import__('pathlib').Path('pwned').touch()".ljust(60),
    "another kind": npy({"descr": "|S10", "fortran_order": False, "shape": (1,)}, b"x" * 10),
    "nothing": b"",
}


@pytest.mark.parametrize("array", ["height_mm.npy", "head.npy", "planned_mm.npy", "outline_0.npy", "more.npy"])
@pytest.mark.parametrize("kind", ARRAYS)
def test_no_array_of_a_floor_runs_or_swells(job: Job, here: Path, kind: str, array: str) -> None:
    """A floor file is data from outside: numpy would unpickle it, and run what is in it, if it were let."""
    folder = here / "result"
    folder.mkdir()
    shutil.copy(job.result / "result.json", folder)
    with_array(job.result / "floor.npz", folder / "floor.npz", array, ARRAYS[kind])
    refused("level", folder)
    refused("compare", folder, folder)
    assert sorted(path.name for path in here.iterdir()) == ["result"]
    assert not Path("pwned").exists()


def forged(data: bytes, name: bytes, size: int) -> bytes:
    """The archive with another unpacked size of one entry in its list."""
    at = data.rindex(name) - 46
    assert data[at : at + 4] == b"PK\x01\x02"
    return data[: at + 24] + struct.pack("<I", size) + data[at + 28 :]


def test_a_floor_that_unpacks_to_gigabytes(job: Job, here: Path) -> None:
    """A zip bomb: refused by what its list says, and no more is unpacked than that, where the list lies."""
    folder = here / "result"
    folder.mkdir()
    shutil.copy(job.result / "result.json", folder)
    data = (job.result / "floor.npz").read_bytes()
    (folder / "floor.npz").write_bytes(forged(data, b"height_mm.npy", 4_000_000_000))
    refused("level", folder, most_mb=100)
    refused("compare", folder, folder, most_mb=100)
    zeros = npy({"descr": "<f4", "fortran_order": False, "shape": (5_000, 10_000)}, bytes(200_000_000))
    with_array(job.result / "floor.npz", folder / "floor.npz", "height_mm.npy", zeros)
    del zeros
    lying = forged((folder / "floor.npz").read_bytes(), b"height_mm.npy", 10_000)
    (folder / "floor.npz").write_bytes(lying)
    refused("level", folder, most_mb=250)


@pytest.mark.parametrize(
    "data",
    [
        b"PK\x03\x04" + b"\0" * 100,
        b"\x93NUMPY\x01\x00",
        pickle.dumps(Runs()),
        b"",
        b"\x80\x04]",
        zlib.compress(b"x" * 1000),
    ],
)
def test_what_is_no_archive_is_not_run(here: Path, data: bytes) -> None:
    """Numpy takes a bare pickle for a file of its own."""
    (here / "floor.npz").write_bytes(data)
    with pytest.raises(FlatscanError):
        load_floor(here / "floor.npz")
    assert not Path("pwned").exists()


RESULTS = {
    "foreign": b'{"name": "somebody else\'s", "rooms": []}',
    "deep": b"[" * 200_000,
    "deep in place": b'{"answer": ' + b'{"a":' * 200_000,
    "no JSON": b"\x1b]0;owned\x07",
    "a number without end": b'{"answer": ' + b"9" * 5_000_000 + b"}",
    "half a sign": b'{"answer": "\\ud800"}',
    "not text": b"\xff\xfe\x00",
    "nothing": b"",
    "many keys": b"{" + b",".join(b'"k%d": 1' % k for k in range(300_000)) + b"}",
}


@pytest.mark.parametrize("kind", RESULTS)
def test_a_foreign_result_is_refused(job: Job, here: Path, kind: str) -> None:
    """result.json is a common name; one of another program, or a crafted one, must be told from ours."""
    folder = here / "result"
    folder.mkdir()
    shutil.copy(job.result / "floor.npz", folder)
    (folder / "result.json").write_bytes(RESULTS[kind])
    refused("compare", folder, job.result)
    refused("compare", job.result, folder)
