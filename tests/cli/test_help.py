"""Asking for help is instant, complete and the same as what the commands themselves say."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import flatscan

HELP_FILE = Path(flatscan.__file__).parent / "cli" / "help.txt"
HEAVY = ("numpy", "cv2", "open3d", "matplotlib", "scipy", "numba", "trimesh", "laspy", "skimage")


def run_python(code: str) -> str:
    environment = os.environ | {"COLUMNS": "80", "TERMINAL_WIDTH": "80"}
    return subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, env=environment
    ).stdout


def test_stored_help_is_what_the_commands_print() -> None:
    code = "import sys; sys.argv = ['flatscan', '--help']\nfrom flatscan.cli.main import app\napp(prog_name='flatscan')"
    assert run_python(code) == HELP_FILE.read_text(encoding="utf-8")


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['flatscan', 'check', '--help']\n"
        "from flatscan.cli.main import app\n"
        "try:\n    app(prog_name='flatscan')\nexcept SystemExit:\n    pass\n"
        f"print('loaded', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    assert run_python(code).endswith("loaded []\n")


def test_plain_help_loads_not_even_the_commands() -> None:
    code = (
        "import sys; sys.argv = ['flatscan', '--help']\n"
        "from flatscan.cli.entry import main\nmain()\n"
        "print('loaded', [m for m in ('typer', 'rich', 'numpy') if m in sys.modules])"
    )
    assert run_python(code).endswith("loaded []\n")


def test_the_package_itself_loads_nothing_heavy() -> None:
    code = f"import sys, flatscan\nprint('loaded', [m for m in {HEAVY!r} if m in sys.modules])"
    assert run_python(code) == "loaded []\n"
