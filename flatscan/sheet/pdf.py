"""The printed pages: the template of this folder, filled with data."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from flatscan.sheet.page_data import page_data
from flatscan.typeset import typeset

if TYPE_CHECKING:
    from flatscan.sheet.layout import Layout
    from flatscan.sheet.predicted import Outlook
    from flatscan.sheet.request import SheetRequest

_TEMPLATE = Path(__file__).parent / "sheet.typ"


def as_pdf(request: SheetRequest, layout: Layout, found: Outlook) -> bytes:
    """Set the pages."""
    return typeset(_TEMPLATE, page_data(request, layout, found))
