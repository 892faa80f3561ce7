"""`report`: one self-contained HTML file, CSV and JSON beside it, PDF and letter on request."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._acts import explain_option
from triage.cli._common import (
    advise,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    open_library,
    progress_line,
    say,
)
from triage.errors import WrongUsage

if TYPE_CHECKING:
    from triage.assess import Assessment
    from triage.domain.acts import Refused
    from triage.library import Library

_ISSUE_ONLY = ("signer", "scope", "limits", "weather", "date", "amends")


@named("report")
@click.argument("decks", nargs=-1)
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write into.")
@click.option("--pdf", is_flag=True, help="PDF as well (needs the pdf extra).")
@click.option("--plan", is_flag=True, help="Only the plan: close or repair first, go and see, the rest.")
@click.option(
    "--full", is_flag=True, help="Bind the full record in, instead of record.html beside the report."
)
@click.option("--per-deck", is_flag=True, help="One file per deck as well.")
@click.option("--letter", is_flag=True, help="A letter for each owner; refused while DRAFT.")
@click.option("--show-position", is_flag=True, help="Print where photos were taken.")
@click.option("--show-address", is_flag=True, help="Print addresses and clients.")
@click.option("--show-names", is_flag=True, help="Print the names of people other than the signer.")
@click.option("--paper", default="letter", show_default=True, help="letter or A4.")
@click.option("--ready", is_flag=True, help="Write nothing: list what is left before it may be issued.")
@explain_option("issue", "letter")
@click.option("--issue", is_flag=True, help="Freeze it with a number; needs the four options below.")
@click.option("--signer", metavar="NAME", help="Who issues it. A claim, not a proof of identity.")
@click.option("--scope", metavar="TEXT", help="What was asked for and looked at.")
@click.option("--limits", metavar="TEXT", help="What could not be reached.")
@click.option("--weather", metavar="TEXT", help="The weather at the visit.")
@click.option("--date", metavar="DATE", help="Date of issue (else today).")
@click.option("--amends", metavar="NUMBER", help="The issued report that this one replaces.")
@click.option("--again", metavar="NUMBER", help="Write the files of a report that was issued, as they were.")
@library_option
@json_option
def command(
    decks: tuple[str, ...],
    out: Path | None,
    library_path: Path | None,
    as_json: bool,
    issue: bool,
    ready: bool,
    again: str | None,
    **given: Any,
) -> Any:
    """Write the report of all decks, or of those named, worst first.

    report.html holds the plan for the next working day and two pages for each deck's owner; record.html
    holds the full record behind them.

    Firm, inspector and whom to call come from firm.toml in the library's folder: name, inspector, license,
    address, phone, email and web, all as text; [call] with engineer, contractor and building-official;
    [due_days] with days from the visit by tier, as repair-before-use = 14. One deck's own date is set by
    deck set --due.

    A report is a DRAFT, and no letter is written, until everything was looked at: --ready lists what is left.

    Examples:
    deck-triage report --ready
    deck-triage report --out report
    deck-triage report --plan --out tomorrow --pdf --show-address
    deck-triage report D-17 --out report --pdf --letter
    deck-triage report --out issued --issue --signer Ann --scope 'visual' --limits 'no ladder' --weather dry
    """
    if ready:
        return _ready(decks, library_path, as_json)
    if out is None:
        raise WrongUsage("No folder is named.", "Say where to write with --out DIR.")
    from triage.assess import assess_once
    from triage.report import Issue, changed_since, is_draft, write_report

    if again is not None:
        return _again(again, out, library_path, as_json)
    said = {name: given.pop(name) for name in _ISSUE_ONLY}
    if not issue and any(said.values()):
        first = next(name for name in _ISSUE_ONLY if said[name])
        raise WrongUsage(f"--{first} belongs to --issue.", "Add --issue, or leave it out.")
    the_issue = (
        Issue(
            **{name: text or "" for name, text in said.items() if name not in ("date", "amends")},
            date=said["date"],
            amends=said["amends"],
        )
        if issue
        else None
    )
    with open_library(library_path) as library:
        assessed = assess_once(library, list(decks) or None)
        refused = None
        if given["letter"] and the_issue is None:
            refused = _no_letter(library, assessed)
            given["letter"] = refused is None
        files = write_report(library, assessed, out, issue=the_issue, progress=progress_line(), **given)
        changed = changed_since(library)
    _show_files(files, as_json)
    if is_draft(assessed.summaries):
        advise("DRAFT: not everything was looked at. See what is left: deck-triage report --ready")
    for flag in changed:
        advise(str(flag))
    if refused is not None:
        advise(f"No letter was written. {refused}")
        advise(refused.hint)
    return exit_for(refused is not None)


def _show_files(files: Sequence[Path], as_json: bool) -> None:
    """Print the files that were written."""
    if as_json:
        emit({"files": [str(file) for file in files]})
    else:
        for file in files:
            say(str(file))


def _no_letter(library: Library, assessed: Assessment) -> Refused | None:
    """Return why no letter may be written yet, or null; the report itself is written as a draft."""
    from triage.domain.acts import Refused
    from triage.report.ready import check_ready

    try:
        check_ready(library, assessed.summaries, "letter", assessed.evidence)
    except Refused as error:
        return error
    return None


def _again(number: str, out: Path, library_path: Path | None, as_json: bool) -> None:
    from triage.report.issuing import write_again

    with open_library(library_path) as library:
        files = write_again(library, number, out)
    _show_files(files, as_json)


def _ready(decks: tuple[str, ...], library_path: Path | None, as_json: bool) -> int:
    from triage.report.ready import KINDS, blocking

    with open_library(library_path) as library:
        left = blocking(library, list(decks) or None)
    if as_json:
        emit({"ready": not left, "blocking": [one.to_json() for one in left]})
        return exit_for(bool(left))
    if not left:
        say("Ready to issue: nothing is left.")
    for kind, words in KINDS.items():
        mine = [one for one in left if one.kind == kind]
        if mine:
            say(f"{len(mine)} x {kind} ({words}):")
        for one in mine:
            say(f"  {one.name or one.deck or 'library'}: {one.detail}\n    {one.mend}")
    return exit_for(bool(left))
