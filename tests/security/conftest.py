"""One hostile job, run once: every text that a person or a file can give carries something that wants to be run.

Most tests of this folder look at what came out of it, each channel by its own library.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from .hostile import QUICK, RAW_NAME, hostile_inputs, write_cloud
from .running import Job, run, watched


@pytest.fixture(scope="session")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """``flatscan check`` on nothing but hostile files, printed as on a terminal with colours."""
    place = tmp_path_factory.mktemp("SECRETPLACE")
    inputs = hostile_inputs(place / "inputs")
    with watched(place) as changed:
        result = place / "working" / f"result {RAW_NAME}"
        ran = run(
            "check", inputs["cloud"], *QUICK, "--readings", inputs["readings"], "--survey", inputs["survey"],
            "--product", inputs["product"], "--limits", inputs["limits"], "--out", result, "--full", terminal=True,
        )  # fmt: skip
        assert ran.code == 0, (ran.out[-2000:], ran.err[-2000:])
        return Job(place, place / "inputs", place / "home", ran, result, inputs, changed())


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory with a capture, a folder of somebody's and a file of somebody's."""
    place = tmp_path / "work"
    (place / "mine").mkdir(parents=True)
    (place / "mine" / "letter.txt").write_text("mine", encoding="utf-8")
    (place / "file").write_text("mine", encoding="utf-8")
    (place / "capture").mkdir()
    write_cloud(place / "capture" / "cloud.csv")
    monkeypatch.chdir(place)
    return place
