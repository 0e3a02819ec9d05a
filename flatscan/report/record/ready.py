"""The table of readiness, for the template."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flatscan.report.words.readiness_words import readiness_rows, readiness_summary

if TYPE_CHECKING:
    from flatscan.judgement.verdict import Verdict


def ready_table(verdict: Verdict) -> dict[str, Any]:
    """One line for the first page and a row for each condition; both empty where nobody asked for them."""
    return {
        "line": readiness_summary(verdict.readiness),
        "rows": [
            {
                "shape": row.shape,
                "word": row.told,
                "title": row.title,
                "recorded": row.recorded,
                "asked": row.asked,
                "from": row.asked_from,
                "advice": row.advice,
            }
            for row in readiness_rows(verdict)
        ],
    }
