"""The marking-out sheet as a PDF, its drawings true to scale."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from flatscan.report.marking.page_data import page_data
from flatscan.typeset import typeset

if TYPE_CHECKING:
    from collections.abc import Sequence

    from flatscan.report.marking.data import MarkingData
    from flatscan.report.words.cautions import Caution
    from flatscan.settings import Paper

_TEMPLATE = Path(__file__).parent / "marking.typ"


def marking_pdf(data: MarkingData, paper: Paper = "a4", cautions: Sequence[Caution] = ()) -> bytes:
    """Set the pages. Where nothing is to be marked out, one page says so. Two runs agree byte for byte."""
    return typeset(_TEMPLATE, page_data(data, paper, cautions))
