"""Issuing a report: number, date, signer, hashes; frozen from then on, amended and never changed."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import assess_evidence
from triage.batch import Cancel, Progress
from triage.errors import BadInput, Damaged, NotWritten, WrongUsage
from triage.library import EventDraft, queries
from triage.report.changes import assessment_changes
from triage.report.firm import firm_from_text
from triage.report.gather import CheckedPhotos, gather_source
from triage.report.past import (
    DeckVisit,
    at_head,
    digest,
    evidence_of,
    freeze_machine,
    short_head,
    thaw_machine,
)
from triage.report.ready import check_ready
from triage.report.source import LAYOUT, Issue, Options, Stamp
from triage.report.text import clean
from triage.report.write import make_pack, write_pack

if TYPE_CHECKING:
    from triage.assess.evidence import Assessment
    from triage.assess.records import DeckEvidence, DeckSummary
    from triage.library import Library
    from triage.library.database import Connection
    from triage.library.log import Event

SUMS = "SHA256SUMS"
"""The hashes of all files of an issued report, as `sha256sum -c` reads them."""
_TEXTS = ("scope", "limits", "weather")


@dataclass(frozen=True)
class Frozen:
    """An issued report as its event holds it, and the assessment that the library gives for it."""

    event: Event
    stamp: Stamp
    summaries: list[DeckSummary]
    files: dict[str, bytes]


def issue_report(
    lib: Library,
    summaries: Sequence[DeckSummary],
    out: Path,
    options: Options,
    issue: Issue,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    assessed: Assessment | None = None,
) -> list[Path]:
    """Record a report as issued, write it and return the files.

    Every picture is made from its original after checking that against its hash. The event comes first, so
    that no numbered file is ever there without it; `write_again` makes files that could not be written.
    Raises Refused where something is left before it is ready, BadInput where a field is empty, where the
    report to amend is not known, or where the assessment handed over is not the one that the library gives;
    Damaged, with nothing issued, where a photo that it cites cannot be shown; NotWritten where it is issued
    but could not be written. `assessed` is the assessment that the summaries come from, where it is at hand.
    """
    head = short_head(lib)
    _check(lib, summaries, issue, options)
    evidence = _evidence(lib, summaries, assessed)
    check_ready(lib, summaries, "issue", evidence)
    decks: list[DeckVisit] = [(one.deck, one.visit) for one in summaries]
    stamp = _stamp(lib, summaries, issue)
    source = gather_source(lib, summaries, positions=options.show_position)
    source = replace(source, provider=CheckedPhotos(lib))
    files = make_pack(
        summaries, source, options, stamp=stamp, complete=True, progress=progress, cancel=cancel
    )
    payload = _payload(source.versions, stamp, head, decks, options, evidence, files)
    private = {name: getattr(stamp, name) for name in _TEXTS} | {"firm": source.firm.to_text()}
    out.mkdir(parents=True, exist_ok=True)
    lib.say_after(lambda base: _the_event(base, stamp, payload, private))
    try:
        return write_pack({**files, SUMS: sums(files)}, out)
    except OSError as error:
        raise NotWritten(
            f"Report {stamp.number} is issued, but its files could not be written to {out}: "
            f"{error.strerror or error}.",
            f"Write them with: deck-triage report --again {stamp.number} --out DIR",
        ) from error


def _the_event(
    base: Connection, stamp: Stamp, payload: dict[str, Any], private: dict[str, str]
) -> list[EventDraft]:
    """Return the event of an issue. Raises BadInput where its number was given to another meanwhile."""
    if any(one.payload["number"] == stamp.number for one in queries.statements(base, "issued")):
        raise BadInput(
            "Another report was issued at the same moment; nothing was issued.", "Issue this one again."
        )
    return [EventDraft("issued", payload, stamp.signer, private=private)]


def write_again(lib: Library, number: str, out: Path) -> list[Path]:
    """Write the files of an issued report again, byte for byte, and return them.

    Raises BadInput for a number that was not issued, and Damaged where the files made now differ from those
    that were issued (another version of the program, a damaged original).
    """
    event = issued_event(lib, number)
    if laid_out_before(event):
        raise Damaged(
            f"Report {number} was issued by an earlier version, which laid pages out in another way; it "
            "cannot be made again.",
            "Look for a copy: deck-triage verify --report FILE says whether it is the one that was issued.",
        )
    files = rederive(lib, event).files
    for name, issued in event.payload["files"].items():
        if hashlib.sha256(files.get(name, b"")).hexdigest() != issued:
            raise Damaged(
                f"{name} of report {number} cannot be made again as it was issued.",
                f"It was issued by deck-triage {event.payload['version']}; look for a copy of the file.",
            )
    return write_pack({**files, SUMS: sums(files)}, out)


def sums(files: dict[str, bytes]) -> bytes:
    """Return the hashes of files, one a line."""
    lines = (f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items()))
    return "".join(lines).encode()


def issued_event(lib: Library, number: str) -> Event:
    """Return the event of an issued report; raises BadInput, with the numbers there are, for none."""
    known = queries.statements(lib, "issued")
    for event in known:
        if event.payload["number"] == number:
            return event
    there = ", ".join(str(event.payload["number"]) for event in known) or "none"
    raise BadInput(f"No report {number} was issued from this library.", f"Issued so far: {there}.")


def rederive(lib: Library, event: Event) -> Frozen:
    """Make an issued report again from the library alone: events up to its head, the words it froze."""
    payload = event.payload
    options = Options(**payload["options"])
    with at_head(lib, payload["head"], machine=False) as view:
        decks = [(deck, visit) for deck, visit in payload["decks"]]
        summaries = assess_evidence(view, thaw_machine(evidence_of(view, decks), payload["machine"]))
        source = gather_source(view, summaries, positions=options.show_position)
        changes = _changes(lib, payload["amends"], summaries)
        stamp = Stamp(
            number=str(payload["number"]),
            date=str(payload["date"]),
            signer=clean(event.by),
            assessment_hash=assessment_hash(summaries),
            amends=payload["amends"],
            changes=changes,
            **{name: payload.get(name) or "(text deleted)" for name in _TEXTS},
        )
        source = replace(source, versions={**source.versions, "model": payload["model"]})
        source = replace(source, firm=firm_from_text(payload.get("firm")))
        return Frozen(event, stamp, summaries, make_pack(summaries, source, options, stamp=stamp))


def laid_out_before(event: Event) -> bool:
    """Whether a report was issued by a version that laid its pages out in another way."""
    return bool(event.payload.get("layout", 1) != LAYOUT)


def assessment_hash(summaries: Sequence[DeckSummary]) -> str:
    """Return the hash of an assessment: SHA-256 of the canonical JSON of its decks."""
    return digest([summary.to_json() for summary in summaries])


def _check(lib: Library, summaries: Sequence[DeckSummary], issue: Issue, options: Options) -> None:
    if options.plan:
        raise WrongUsage("A plan is a working paper and is not issued.", "Leave out --plan, or --issue.")
    if not summaries:
        raise BadInput("There is no deck to report on; nothing was issued.")
    for name in ("signer", *_TEXTS):
        if not clean(getattr(issue, name) or ""):
            raise BadInput(f"A report is issued with its {name}; none was given.", f"Say it with --{name}.")
    if issue.amends is not None:
        issued_event(lib, issue.amends)


def _evidence(
    lib: Library, summaries: Sequence[DeckSummary], assessed: Assessment | None
) -> Sequence[DeckEvidence]:
    """Return the evidence of an assessment. Raises BadInput where the library gives another one now.

    Without the `Assessment` that the summaries come from, the decks are read and assessed again.
    """
    if assessed is None:
        evidence = evidence_of(lib, [(one.deck, one.visit) for one in summaries])
        own = assess_evidence(lib, evidence)
        is_own = [one.to_json() for one in summaries] == [one.to_json() for one in own]
    else:
        evidence = sorted(assessed.evidence, key=lambda one: one.deck)
        is_own = assessed.head == lib.head()
    if not is_own:
        raise BadInput(
            "The assessment to be issued is not the one that the library gives; nothing was issued.",
            "Assess again and issue at once; an issued report uses everything recorded up to then.",
        )
    return evidence


def _stamp(lib: Library, summaries: Sequence[DeckSummary], issue: Issue) -> Stamp:
    own = [one for one in queries.statements(lib, "issued") if one.log_id == lib.log_id]
    return Stamp(
        number=f"{len(own) + 1:03d}-{lib.log_id[:6]}",
        date=clean(issue.date) if issue.date else datetime.now(UTC).date().isoformat(),
        signer=clean(issue.signer),
        scope=clean(issue.scope),
        limits=clean(issue.limits),
        weather=clean(issue.weather),
        assessment_hash=assessment_hash(summaries),
        amends=issue.amends,
        changes=_changes(lib, issue.amends, summaries),
    )


def _changes(lib: Library, amends: str | None, summaries: Sequence[DeckSummary]) -> tuple[str, ...]:
    if amends is None:
        return ()
    before = rederive(lib, issued_event(lib, amends)).summaries
    return tuple(assessment_changes(before, summaries)) or ("Nothing in the assessment changed.",)


def _payload(
    versions: Any,
    stamp: Stamp,
    head: Any,
    decks: Sequence[DeckVisit],
    options: Options,
    evidence: Sequence[DeckEvidence],
    files: dict[str, bytes],
) -> dict[str, Any]:
    photos = {photo.sha for one in evidence for each in (*one.earlier, one) for photo in each.photos}
    return {
        "number": stamp.number,
        "date": stamp.date,
        "amends": stamp.amends,
        "decks": [list(one) for one in decks],
        "head": head,
        "options": options.to_json(),
        "model": versions.get("model"),
        "rule_book": versions.get("rule book"),
        "version": versions.get("deck-triage"),
        "layout": LAYOUT,
        "assessment_hash": stamp.assessment_hash,
        "report_hash": hashlib.sha256(files["report.html"]).hexdigest(),
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())},
        "photos": sorted(photos),
        "machine": freeze_machine(evidence),
    }
