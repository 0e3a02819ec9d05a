"""The command line run under watch: how long, in how much memory, and what it has changed on the disk."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from flatscan.cli import main

from .hostile import FORBIDDEN


@dataclass(frozen=True)
class Ran:
    """How a command ended: ``code`` as a shell sees it, processor ``seconds``."""

    code: int
    out: str
    err: str
    seconds: float
    grown_mb: float


def peak_mb(*, reset: bool = False) -> float:
    """Most memory this process has held, since it was last reset (Linux; else 0)."""
    with contextlib.suppress(OSError):
        if reset:
            Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
        for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1000.0
    return 0.0


class _Terminal(io.StringIO):
    """A stream that says it is a terminal, so that colours come."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@contextlib.contextmanager
def soon(within_s: int) -> Iterator[None]:
    """Fail where what is done takes longer, as the reading of a pipe does."""
    late = []

    def too_long(*_: object) -> None:
        late.append(within_s)
        raise KeyboardInterrupt  # all else may be taken for a broken file

    handler = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(within_s)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, handler)
        assert late == [], f"still running after {within_s} s"


def run(*words: object, terminal: bool = False, within_s: int = 300) -> Ran:
    """The command line in this process; it may neither hang nor raise."""
    out, err = (_Terminal() if terminal else io.StringIO()), io.StringIO()
    kept, before, start = sys.argv, peak_mb(reset=True), time.process_time()
    try:
        sys.argv = ["flatscan", *map(str, words)]
        with (
            soon(within_s),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            pytest.raises(SystemExit) as ended,
        ):
            main.run()
    finally:
        sys.argv = kept
    code = ended.value.code if isinstance(ended.value.code, int) else 0
    return Ran(code, out.getvalue(), err.getvalue(), time.process_time() - start, peak_mb() - before)


def refused(*words: object, within_s: float = 10.0, most_mb: float = 300.0) -> str:
    """The one sentence with which a command refuses, soon, in little memory, in signs that a terminal only shows."""
    ran = run(*words, within_s=60)  # on the wall: the machine may have other work
    assert ran.code == 2, (ran.code, ran.out[-500:], ran.err[-500:])
    assert ran.out == ""
    assert ran.err.startswith("flatscan: ")
    assert ran.err.endswith("\n")
    assert ran.err.count("\n") == 1, ran.err
    assert not FORBIDDEN & set(ran.err), sorted(map(hex, map(ord, FORBIDDEN & set(ran.err))))
    assert not any("\ud800" <= sign <= "\udfff" for sign in ran.err)
    assert ran.seconds < within_s
    assert ran.grown_mb < most_mb
    return ran.err


def snapshot(*folders: Path) -> dict[str, tuple[int, int, int]]:
    """Everything below: kind, size and time of change."""
    found = {}
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            state = path.lstat()
            found[os.fspath(path)] = (state.st_mode, state.st_size, state.st_mtime_ns)
    return found


@contextlib.contextmanager
def watched(place: Path) -> Iterator[Callable[[], set[str]]]:
    """The working directory, home and the place of passing files lie in ``place``; tells what has changed below it."""
    names = {"HOME": "home", "TMPDIR": "passing", "XDG_CACHE_HOME": "home/cache", "XDG_CONFIG_HOME": "home/config"}
    names |= {"USER": "SECRETUSER", "LOGNAME": "SECRETUSER"}
    kept = {name: os.environ.get(name) for name in names}
    for folder in ("home", "passing", "working"):
        (place / folder).mkdir(parents=True, exist_ok=True)
    here, passing = Path.cwd(), tempfile.tempdir
    os.environ |= {name: str(place / folder) for name, folder in names.items()}
    os.chdir(place / "working")
    tempfile.tempdir = str(place / "passing")
    before = snapshot(place)
    try:
        yield lambda: {name for name, _ in set(before.items()) ^ set(snapshot(place).items())}
    finally:
        os.chdir(here)
        tempfile.tempdir = passing
        for name, value in kept.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


@dataclass(frozen=True)
class Job:
    """Where the hostile inputs lie and what came of them. ``home``: watched, together with the working directory."""

    place: Path
    inputs: Path
    home: Path
    check: Ran
    result: Path
    inputs_of: dict[str, Path]
    changed: set[str]
