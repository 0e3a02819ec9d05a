"""The survey record to keep, and the letter that tells concerns before work starts: both as PDF."""

from flatscan.report.record.letter_pdf import concern_letter_pdf
from flatscan.report.record.record_pdf import record_pdf

__all__ = ["concern_letter_pdf", "record_pdf"]
