"""Every file that a figure of the result comes from is named with its hash."""

import hashlib
import json
from pathlib import Path

from typer.testing import CliRunner

from flatscan.cli.main import app

SAMPLES = Path(__file__).parents[2] / "sample_scans"
KITCHEN = SAMPLES / "old_tiled_kitchen"
LIMITS = """
id = "contract"
title = "What the contract asks"
limits = [{ what = "gap", limit_mm = 4.0, edge_mm = 2000.0 }]
[source]
document = "an invented contract"
mark = "read"
"""


def test_product_survey_photo_and_limits_are_among_the_inputs(tmp_path: Path) -> None:
    ours = tmp_path / "contract.toml"
    ours.write_text(LIMITS, encoding="utf-8")
    beside = [KITCHEN / "product.toml", ours, SAMPLES / "dining_room_straightedge" / "survey.toml"]
    arguments = ["check", str(SAMPLES / "dining_room_straightedge"), "--json"]
    arguments += ["--product", str(beside[0]), "--limits", str(ours), "--survey", str(beside[2])]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    named = {one["path"]: one["sha256"] for one in json.loads(done.stdout)["inputs"]}
    for path in beside:
        assert named[path.name] == hashlib.sha256(path.read_bytes()).hexdigest()
