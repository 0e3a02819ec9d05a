"""An invented survey of the invented floor, and how the tests read a PDF."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest
from PIL import Image

from flatscan.judgement.readiness.readiness import Condition, ConditionName, ConditionWord, Readiness
from flatscan.report.record import record_pdf
from flatscan.report.report import Report
from flatscan.sources.scan import InputFile
from flatscan.sources.survey.site import (
    Climate,
    Covering,
    Heating,
    Moisture,
    Note,
    OldCovering,
    Photo,
    SeenCrack,
    Site,
    Sound,
    Tapped,
    Visit,
)
from flatscan.sources.survey.survey import Survey

SHA = "".join(f"{k:02x}" for k in range(32))
CONDITIONS: tuple[ConditionName, ...] = (
    "flat", "joints", "lips", "dry", "sound", "crack_free", "clean", "climate", "acclimatised", "heating",
    "movement_joints", "old_covering",
)  # fmt: skip


def ready(words: dict[ConditionName, ConditionWord] | None = None) -> Readiness:
    """All conditions met but those named."""
    return Readiness(
        tuple(
            Condition(
                name,
                name.replace("_", " ").capitalize(),
                (words or {}).get(name, "met"),
                f"recorded of {name}",
                f"asked of {name}",
                "an invented document",
                "from memory",
                f"advice for {name}",
            )
            for name in CONDITIONS
        )
    )


def picture(size: tuple[int, int] = (600, 400), form: str = "PNG", seed: int = 0) -> bytes:
    """Soft colours with a dark frame: a picture that is the same everywhere."""
    wide, high = size
    x, y = np.meshgrid(np.linspace(0, 1, wide), np.linspace(0, 1, high))
    values = np.stack([90 + 120 * x, 90 + 120 * y, 160 + 60 * np.sin(6 * x + seed)], axis=2).astype(np.uint8)
    values[:4] = values[-4:] = 30
    values[:, :4] = values[:, -4:] = 30
    buffer = io.BytesIO()
    Image.fromarray(values).save(buffer, form)
    return buffer.getvalue()


def site() -> Site:
    at = (1200.0, 800.0)
    return Site(
        Visit(
            place="Invented house",
            address="1 Invented Lane",
            room="kitchen",
            client="Invented Client",
            reference="R-17",
            date=dt.date(2025, 3, 4),
            measured_by="Invented Surveyor",
            firm="Invented Floors",
            instruments=("2 m straightedge", "carbide meter"),
            notes="units stand on the floor",
        ),
        Covering("click_vinyl", "invented planks", 5.0, ("over-old-tiles",), dt.datetime(2025, 3, 2, 9, 0), 48.0),  # noqa: DTZ001 - a survey's own clock
        (
            Moisture("carbide", 2.4, "cement_screed", 0.2, at, 40.0, True, 2.0, "data sheet"),
            Moisture("surface_humidity", 78.0, beneath_tiles=False),
        ),
        Climate(19.0, 16.5, 55.0, 30.0),
        Heating("water", 29.0, True, 45.0),
        Sound(Tapped(24, 2, 0, (at,)), True, (SeenCrack(((0.0, 2160.0), (920.0, 2340.0)), 0.4),), False, ("wax",), 1.2),
        OldCovering("ceramic_tile", "300 mm tiles", 1978, "black glue", "not_tested"),
        None,
        (Note("threshold stands 4 mm proud", (3300.0, 1400.0)),),
        (
            Photo(
                InputFile(Path("/home/somebody/door.jpg"), "ab" * 32, "survey photo"),
                "the door",
                at,
                picture(form="JPEG"),
            ),
        ),
    )


@pytest.fixture(scope="session")
def surveyed(report: Report) -> Report:
    """The invented floor with everything recorded, read from a folder whose name is nobody's business."""
    survey = Survey(InputFile(Path("/home/somebody/survey.toml"), "cd" * 32, "survey"), site=site())
    inputs = (
        InputFile(Path("/home/somebody/job/kitchen.laz"), "5f" * 32, "las"),
        survey.file,
        *(photo.file for photo in survey.site.photos),
    )
    settings = replace(
        report.settings,
        level=replace(report.settings.level, survey_file="/home/somebody/survey.toml", margin_mm=0.5),
        joints=replace(report.settings.joints, readings_file="C:\\Users\\somebody\\read.csv"),
    )
    words: dict[ConditionName, ConditionWord] = {"dry": "not_met", "sound": "open", "movement_joints": "not_recorded"}
    return replace(
        report, survey=survey, inputs=inputs, settings=settings, verdict=replace(report.verdict, readiness=ready(words))
    )


def draw(report: Report, paper: str = "a4", marking_pdf: bytes = b"") -> bytes:
    """The record with invented pictures."""
    return record_pdf(
        report,
        map_png=picture(),
        after_png=picture((800, 300)),
        floor_jpg=picture((500, 400), "JPEG"),
        result_sha256=SHA,
        paper=paper,  # type: ignore[arg-type]
        marking_pdf=marking_pdf,
    )


def reader_of(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf))


def words_of(pdf: bytes) -> str:
    """The text that can be selected, blanks made one; the breaks that long words were given are taken out."""
    pages = " ".join(page.extract_text() for page in reader_of(pdf).pages)
    return " ".join(pages.replace("\u200b", "").split())


@pytest.fixture(scope="session")
def drawn(surveyed: Report) -> Callable[[str], bytes]:
    """The surveyed record on a paper, set once."""
    known: dict[str, bytes] = {}

    def of(paper: str) -> bytes:
        if paper not in known:
            known[paper] = draw(surveyed, paper)
        return known[paper]

    return of


@pytest.fixture(scope="session")
def tools() -> SimpleNamespace:
    """What the tests of this folder share."""
    return SimpleNamespace(
        sha=SHA, draw=draw, picture=picture, reader_of=reader_of, words_of=words_of, ready=ready, site=site
    )
