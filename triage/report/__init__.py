"""The report room: HTML, PDF, CSV, JSON, the owner's letter, the crew's sheet, issuing and checking."""

from triage.report.source import Issue
from triage.report.write import write_report

__all__ = ["Issue", "write_report"]
