"""``comparison.html``: the comparison on one page that works offline, on a phone and on paper."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources
from typing import TYPE_CHECKING, Any

from flatscan.report.comparison.told import told
from flatscan.report.words import plain_text, wording

if TYPE_CHECKING:
    from flatscan.judgement.verdict import VerdictWord
    from flatscan.report.comparison.run import ComparisonRun


def page_html(run: ComparisonRun, picture_png: bytes) -> str:
    """Fill the page; every text is escaped, and nothing on it is fetched or run."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    style = _text_of("comparison.css")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    page = environment.from_string(_text_of("comparison.html"))
    filled = page.render(
        # The style is ours and holds no text of a user's; escaping it would break it.
        style=Markup(style),  # noqa: S704
        style_hash=Markup(_hash_source(style)),  # noqa: S704
        picture=base64.b64encode(picture_png).decode(),
        verdict=_verdict,
        **told(run),
    )
    return plain_text.printable_lines(filled)


def _verdict(word: VerdictWord) -> Any:
    """Shape, word and colour together."""
    from markupsafe import Markup

    return Markup('<span class="verdict {}"><span aria-hidden="true">{}</span> {}</span>').format(
        word, wording.VERDICT_SHAPE[word], wording.VERDICT_TEXT[word]
    )


def _text_of(name: str) -> str:
    return (resources.files("flatscan.report.comparison") / name).read_text(encoding="utf-8")


def _hash_source(style: str) -> str:
    """The style as a content security policy names it (CSP level 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
