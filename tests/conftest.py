"""What tests of several rooms share: one browser, since a process can drive only one at a time."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

#: Kept apart from those of another run only by the sandbox, which a container's root cannot have.
ARGUMENTS = ["--no-sandbox", "--disable-gpu"]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium; without one these tests are skipped, or fail where FLATSCAN_BROWSER=needed."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        if os.environ.get("FLATSCAN_BROWSER") == "needed":
            pytest.fail("FLATSCAN_BROWSER=needed, and there is no Chromium on the path")
        pytest.skip("no Chromium on the path; FLATSCAN_BROWSER=needed makes this a failure")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield found
        found.close()
