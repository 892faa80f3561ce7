"""Writing a report into a folder, as a draft or issued."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from triage.batch import Cancel, Progress
from triage.report.gather import gather_source
from triage.report.issuing import issue_report
from triage.report.ready import check_ready
from triage.report.source import Options
from triage.report.write import checked_paper, make_pack, write_pack

if TYPE_CHECKING:
    from triage.assess.evidence import Assessment
    from triage.assess.records import DeckSummary
    from triage.library import Library
    from triage.report.source import Issue


def write_report(
    lib: Library,
    summaries: Sequence[DeckSummary] | Assessment,
    out: Path,
    *,
    pdf: bool = False,
    per_deck: bool = False,
    letter: bool = False,
    full: bool = False,
    plan: bool = False,
    show_position: bool = False,
    show_address: bool = False,
    show_names: bool = False,
    paper: str = "letter",
    issue: Issue | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Path]:
    """Write the report of some decks (worst first) into a folder and return the files.

    Handed an `Assessment`, nothing is assessed again; handed summaries, an issue assesses them again first.

    Always `report.html` (the plan, then two pages a deck), `record.html` (the full record; with `full` it is
    bound into the report instead), `decks.csv`, `concerns.csv`, `said.csv` and `assessment.json`; with `plan`
    the plan alone. The same library gives the same bytes. Raises BadInput where a letter or an issue is asked
    for while the report is a DRAFT, for an unknown paper, for a `firm.toml` that cannot be read, or where the
    `pdf` extra is not installed; Cancelled, with nothing written, when it is stopped.
    """
    options = Options(
        show_position, show_address, checked_paper(paper), per_deck, letter, pdf, full, plan, show_names
    )
    assessed = None if isinstance(summaries, Sequence) else summaries
    if not isinstance(summaries, Sequence):
        summaries = summaries.summaries
    if issue is not None:
        return issue_report(lib, summaries, out, options, issue, progress, cancel, assessed)
    if letter:
        check_ready(lib, summaries, "letter", assessed.evidence if assessed else None)
    source = gather_source(lib, summaries, positions=show_position)
    return write_pack(make_pack(summaries, source, options, progress=progress, cancel=cancel), out)
