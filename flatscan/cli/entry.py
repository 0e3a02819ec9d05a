"""Where the ``flatscan`` command starts: the plain help answers before anything heavy is loaded."""

from __future__ import annotations

import sys

_HELP_FILE = "help.txt"


def main() -> None:
    """Print the stored help for ``flatscan`` and ``flatscan --help``; hand the rest to the commands.

    The stored text is what the commands themselves print (a test compares them), so that asking
    for help on a slow site laptop costs no more than starting Python.
    """
    if sys.argv[1:] in ([], ["--help"]):
        with open(__file__.replace("entry.py", _HELP_FILE), encoding="utf-8") as text:  # noqa: PTH123
            sys.stdout.write(text.read())
        return
    from flatscan.cli.main import run

    run()
