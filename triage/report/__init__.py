"""The report room: HTML, PDF, CSV, JSON, the owner's letter, the crew's sheet, issuing and checking."""

from triage.report.blackout import black_out
from triage.report.changes import Flag, changed_since
from triage.report.compare import Mutation
from triage.report.content import is_draft
from triage.report.deliver import write_report
from triage.report.repairs_sheet import read_repairs, write_repairs
from triage.report.source import Issue
from triage.report.verify import hash_only, verify_report

__all__ = [
    "Flag",
    "Issue",
    "Mutation",
    "black_out",
    "changed_since",
    "hash_only",
    "is_draft",
    "read_repairs",
    "verify_report",
    "write_repairs",
    "write_report",
]
