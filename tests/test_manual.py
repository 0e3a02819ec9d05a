"""Nothing is documented by hand that is not checked: commands, options, caveats and formats are in the manual."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from flatscan.caveats import caveat_names
from flatscan.cli.main import app
from flatscan.sources.table import READERS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def paths(group: object, above: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every command and every command of a command."""
    found = []
    for name, command in getattr(group, "commands", {}).items():
        found += [(*above, name), *paths(command, (*above, name))]
    return found


def help_text(command: tuple[str, ...]) -> str:
    environment = os.environ | {"COLUMNS": "80", "TERMINAL_WIDTH": "80"}
    code = (
        f"import sys; sys.argv = ['flatscan', *{command!r}, '--help']\n"
        "from flatscan.cli.main import app\napp(prog_name='flatscan')"
    )
    return subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, env=environment
    ).stdout


@pytest.mark.parametrize("command", sorted(paths(typer.main.get_command(app))), ids=" ".join)
def test_every_command_s_help_stands_in_the_manual(command: tuple[str, ...]) -> None:
    said = f"README.md is behind: paste `flatscan {' '.join(command)} --help` (80 columns)"
    assert help_text(command).strip() in README, said


def test_every_block_of_the_manual_is_closed() -> None:
    fences = re.findall(r"^```(\w*)$", README, flags=re.M)
    assert all(bool(language) is (number % 2 == 0) for number, language in enumerate(fences))


@pytest.mark.parametrize("name", caveat_names())
def test_every_caveat_is_explained(name: str) -> None:
    assert f"`{name}`" in DEVELOPERS


def test_the_first_two_shell_blocks_are_the_two_commands() -> None:
    blocks = re.findall(r"^```sh\n(.*?)\n```$", README, flags=re.M | re.S)
    assert len(blocks) == 2
    assert all("\n" not in block for block in blocks)
    assert "flatscan check sample_scans/" in blocks[0]
    assert "pytest" in blocks[1]


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_every_reader_is_in_the_manual(reader: object) -> None:
    assert reader.name.lower() in README.lower()  # type: ignore[attr-defined]


def test_top_level_holds_only_the_agreed_names() -> None:
    listing = ["git", "ls-files"]
    tracked = subprocess.run(listing, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    names = {name.split("/")[0] for name in tracked if name and not name.startswith(".")}
    assert names <= {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "pyproject.toml",
        "flatscan",
        "tests",
        "sample_scans",
    }


def test_the_files_shown_in_the_manual_are_files_that_work(tmp_path: Path) -> None:
    from flatscan.judgement import load_limits
    from flatscan.levelling import load_product
    from flatscan.sources.survey import read_survey

    survey, product, limits = re.findall(r"^```toml\n(.*?)^```$", README, flags=re.M | re.S)
    paths = [tmp_path / f"{name}.toml" for name in ("survey", "product", "limits")]
    for path, text in zip(paths, (survey, product, limits), strict=True):
        path.write_text(text, encoding="utf-8")
    assert [zone.kind for zone in read_survey(paths[0]).zones] == ["fixed_height"]
    assert load_product(paths[1]).kg_per_m2_mm == 1.6
    assert load_limits([str(paths[2])])[0].id == "my-contract"
