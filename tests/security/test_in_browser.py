"""The hostile pages in a real browser, which is the judge of what they would do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .running import Job

if TYPE_CHECKING:
    from playwright.sync_api import Browser

#: Told by the browser itself, before any script of a page runs.
WATCH = """
window.violations = [];
document.addEventListener("securitypolicyviolation", one => {
  window.violations.push(one.violatedDirective + " " + one.sample);
});
"""


def visited(browser: Browser, path: Path, *, viewer: bool) -> dict[str, object]:
    """Open a page, press whatever can be pressed on it, and tell what happened."""
    context = browser.new_context(reduced_motion="reduce", viewport={"width": 1100, "height": 900})
    page = context.new_page()
    seen: dict[str, list[str]] = {"dialogs": [], "requests": [], "complaints": [], "windows": [], "downloads": []}
    page.on("dialog", lambda dialog: (seen["dialogs"].append(dialog.message), dialog.dismiss()))
    page.on("request", lambda asked: seen["requests"].append(asked.url))
    page.on("console", lambda said: seen["complaints"].append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: seen["complaints"].append(str(error)))
    page.on("download", lambda one: seen["downloads"].append(one.url))
    context.on("page", lambda one: seen["windows"].append(one.url))
    page.add_init_script(WATCH)
    page.goto(path.as_uri())
    if viewer:
        page.wait_for_selector("#viewer[data-prepared]")
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        page.evaluate("document.querySelectorAll('button.show').forEach(one => one.click())")
        page.evaluate("document.querySelectorAll('#viewer button, #viewer input').forEach(one => one.click())")
        box = page.locator("#map canvas").first.bounding_box()
        if box is not None:
            for k in range(1, 10):  # over the marks, whose names are shown there
                page.mouse.move(box["x"] + box["width"] * k / 10, box["y"] + box["height"] * (0.9 if k % 2 else 0.5))
                page.mouse.down()
                page.mouse.up()
    page.emulate_media(media="print")
    page.wait_for_timeout(100)
    found = {
        **seen,
        "broken": page.evaluate("window.broken"),
        "violations": page.evaluate("window.violations"),
        "title": page.title(),
        "url": page.url,
        "frames": len(page.frames),
        "words": page.evaluate("document.body.textContent"),
    }
    context.close()
    return found


def test_the_page_does_nothing_that_it_was_told(browser: Browser, job: Job) -> None:
    """Injected markup that a parser of ours does not see may still be seen by a browser."""
    found = visited(browser, job.result / "report.html", viewer=True)
    for what in ("dialogs", "complaints", "windows", "downloads", "violations"):
        assert found[what] == [], what
    assert found["broken"] is None
    outside = [url for url in found["requests"] if not url.startswith(("file:///", "data:", "blob:"))]  # type: ignore[attr-defined]
    assert outside == []
    assert [url for url in found["requests"] if url.startswith("file:")] == [(job.result / "report.html").as_uri()]  # type: ignore[attr-defined]
    assert found["url"] == (job.result / "report.html").as_uri()
    assert found["frames"] == 1
    assert "</script><script>window.broken=1</script>" in str(found["words"])


def test_the_policy_holds_what_would_get_in(browser: Browser, job: Job, tmp_path: Path) -> None:
    """Were a text not escaped, the policy would still stop its script: the second lock is a lock."""
    source = (job.result / "report.html").read_text(encoding="utf-8")
    broken = "<script>window.broken = 1</script><img src=x onerror='window.broken = 1'>"
    path = tmp_path / "broken.html"
    path.write_text(source.replace("<main>", f"<main>{broken}", 1), encoding="utf-8")
    found = visited(browser, path, viewer=False)
    assert found["broken"] is None
    assert len(found["violations"]) >= 2  # type: ignore[arg-type]
    path.write_text(path.read_text(encoding="utf-8").replace("Content-Security-Policy", "nothing", 1), encoding="utf-8")
    assert visited(browser, path, viewer=False)["broken"] == 1
