"""``notice_of_concern.pdf``: a draft of the letter that tells concerns about the base before work starts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatscan.report.record.concerns import concerns_of
from flatscan.report.record.letter_data import letter_data
from flatscan.report.record.setting import set_pages

if TYPE_CHECKING:
    from flatscan.report.report import Report
    from flatscan.settings import Paper


def concern_letter_pdf(report: Report, *, result_sha256: str, paper: Paper) -> bytes | None:
    """The draft; None where there is nothing to be concerned about. Two runs agree byte for byte.

    ``result_sha256``: SHA-256 of ``result.json``, which the letter names as its attachment.
    """
    concerns = concerns_of(report)
    if concerns is None:
        return None
    return set_pages("letter.typ", letter_data(report, concerns, result_sha256, paper), {})
