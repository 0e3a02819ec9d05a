"""The record of whole runs over the samples: size, bytes, hashes, and the figures of its own result file."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from flatscan.report.picture.after_map import planned_png
from flatscan.report.picture.floor_photo import floor_jpg
from flatscan.report.picture.heatmap import heatmap_png
from flatscan.report.record import concern_letter_pdf, record_pdf
from flatscan.report.report import Report
from flatscan.report.result.result import json_of, result_of
from flatscan.report.words.joint_words import judged_joints
from flatscan.settings import LevelSettings, Settings
from flatscan.workflow import check

Tools = SimpleNamespace
_SAMPLES = Path(__file__).resolve().parents[3] / "sample_scans"


def record_of(report: Report, result: bytes) -> bytes:
    """As the result folder has it."""
    picture = report.picture
    return record_pdf(
        report,
        map_png=heatmap_png(report),
        after_png=planned_png(report.surface, report.plan),
        floor_jpg=b"" if picture is None else floor_jpg(picture, report.surface, judged_joints(report)),
        result_sha256=hashlib.sha256(result).hexdigest(),
        paper="a4",
    )


def agrees(report: Report, tools: Tools) -> None:
    """The record is small, repeats byte for byte, and says what ``result.json`` says."""
    result = json_of(result_of(report))
    pdf = record_of(report, result)
    assert len(pdf) < 5e6
    assert pdf == record_of(report, result)
    said = tools.words_of(pdf)
    told: dict[str, Any] = json.loads(result)
    assert hashlib.sha256(result).hexdigest() in said
    for file in told["inputs"]:
        assert file["sha256"] in said
        assert file["path"] not in said or "/" not in file["path"]
    assert str(_SAMPLES.parent) not in said
    assert told["answer"]["text"] in said
    over = next(f for f in told["findings"] if f["verdict"] == "over")
    value, expanded = over["value"]["value"], 2.0 * over["value"]["u"]
    assert f"{value:.1f} ± {expanded:.1f} mm" in said
    assert f"{over['limit_mm'] - value:.1f} ± {expanded:.1f} mm".replace("-", "−") in said
    for area in told["levelling"]["areas"]:
        assert f"{area['area_m2']:.2f} m²" in said
        assert f"{area['max_mm']:.1f} mm" in said
    letter = concern_letter_pdf(report, result_sha256=hashlib.sha256(result).hexdigest(), paper="letter")
    assert letter is not None
    assert f"over the limit by {value - over['limit_mm']:.1f} ± {expanded:.1f} mm" in tools.words_of(letter)


def test_the_hall(tools: Tools) -> None:
    agrees(check(_SAMPLES / "large_hall_laser" / "scan.laz"), tools)


@pytest.mark.long
def test_the_kitchen(tools: Tools) -> None:
    kitchen = _SAMPLES / "old_tiled_kitchen"
    level = LevelSettings(product_file=str(kitchen / "product.toml"), survey_file=str(kitchen / "survey.toml"))
    agrees(check(kitchen, settings=Settings(level=level)), tools)
