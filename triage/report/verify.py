"""Checks a report file against the library alone: every sentence is made again and compared."""

from __future__ import annotations

import difflib
import hashlib
import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import assess_evidence
from triage.errors import BadInput
from triage.library import queries
from triage.report.compare import Mutation, compare_pages, read_page
from triage.report.gather import gather_source
from triage.report.issuing import Frozen, laid_out_before, rederive
from triage.report.past import at_head, evidence_of, head_faults
from triage.report.pdf import lines_of
from triage.report.source import Options
from triage.report.write import make_pack

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event

_NUMBER = re.compile(rb"\b\d{3,}-[0-9a-f]{6}\b")


def verify_report(lib: Library, file: Path) -> list[Mutation]:
    """Return every difference between a report file and what the library gives; none when all is well.

    An issued report is made again from the events up to its head and compared token by token; a working
    copy likewise, by the head that it names. A report that an earlier version laid out in another way is
    checked by the hash that its event holds: `hash_only` says where that is all. A PDF, CSV or JSON working
    copy is checked by the head that the report.html beside it names. Raises BadInput where the file cannot
    be read, or says of nothing what it was made from.
    """
    try:
        data = file.read_bytes()
    except OSError as error:
        raise BadInput(f"{file} cannot be read ({error.strerror or type(error).__name__}).") from error
    event = find_issue(lib, data, file.name)
    if event is not None and laid_out_before(event):
        return _by_hash(event, data, file.name)
    if event is not None:
        return _against_issue(rederive(lib, event), data, file.name)
    return _against_head(lib, data, file)


def hash_only(lib: Library, file: Path) -> str:
    """Return, in words, that a report was checked by its hash alone; empty where it was made again."""
    data = file.read_bytes()
    event = find_issue(lib, data, file.name)
    if event is None or not laid_out_before(event):
        return ""
    return (
        f"Report {event.payload['number']} was issued by an earlier version ({event.payload['version']}), "
        "which laid pages out in another way: the file was compared with the hash recorded when it was "
        "issued, and its sentences were not made again."
    )


def _by_hash(event: Event, data: bytes, name: str) -> list[Mutation]:
    """Compare a file with the hashes of an issued report that this version cannot make again."""
    recorded = event.payload["files"]
    digest = hashlib.sha256(data).hexdigest()
    if digest in recorded.values():
        return []
    file = _which_file(recorded, data, name)
    if file is None:
        return [Mutation("the file", "not a file of the report", f"the name '{name}'", "other files")]
    what = "not the file that was issued, and this version cannot say where it differs"
    return [Mutation(file, what, f"SHA-256 {digest[:16]}", f"SHA-256 {recorded[file][:16]}")]


def find_issue(lib: Library, data: bytes, name: str) -> Event | None:
    """Return the issued report that a file is, or claims to be: by its hash, else by the number it prints."""
    known = queries.statements(lib, "issued")
    digest = hashlib.sha256(data).hexdigest()
    for event in known:
        if digest in event.payload["files"].values():
            return event
    by_number = {str(event.payload["number"]): event for event in known}
    said = made_from(data) or {}
    claims = [str(said.get("number"))] + [found.decode() for found in _NUMBER.findall(_words(data))]
    for claim in claims:
        if claim in by_number:
            return by_number[claim]
    if len(known) == 1 and not data.startswith(b"<") and name in known[0].payload["files"]:
        return known[0]
    return None


def _words(data: bytes) -> bytes:
    """Return where a report's number may be read: a PDF packs its words."""
    if not data.startswith(b"%PDF-"):
        return data
    try:
        return " ".join(text for _, text in lines_of(data)).encode()
    except BadInput:
        return data


def made_from(data: bytes) -> dict[str, Any] | None:
    """Return what a page says that it was made from, or None where it says nothing that can be read."""
    start = data.find(b'<meta name="deck-triage" content="')
    if start < 0:
        return None
    text = data[start:].split(b'"', 4)
    if len(text) < 5:
        return None
    try:
        found = json.loads(html.unescape(text[3].decode("utf-8", "replace")))
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def _against_issue(frozen: Frozen, data: bytes, name: str) -> list[Mutation]:
    recorded = frozen.event.payload["files"]
    file = _which_file(recorded, data, name)
    if file is None:
        names = ", ".join(sorted(recorded))
        return [Mutation("the file", "not a file of the report", f"the name '{name}'", f"only {names}")]
    mutations = []
    expected = frozen.files.get(file)
    if expected is None or hashlib.sha256(expected).hexdigest() != recorded[file]:
        mutations.append(_made_otherwise(frozen, file))
    if hashlib.sha256(data).hexdigest() == recorded[file]:
        return mutations
    return mutations + _compared(data, expected or b"", file)


def _made_otherwise(frozen: Frozen, file: str) -> Mutation:
    """Name why the library no longer gives the bytes that were issued."""
    payload = frozen.event.payload
    if frozen.stamp.assessment_hash != payload["assessment_hash"]:
        what = "the library (its log, rule book or tables) no longer gives the assessment that was issued"
    else:
        what = "the assessment is the one that was issued, but this version prints it in other bytes"
    return Mutation(file, what, f"version {payload['version']}", "this version and library")


def _which_file(recorded: dict[str, str], data: bytes, name: str) -> str | None:
    digest = hashlib.sha256(data).hexdigest()
    for known, known_digest in recorded.items():
        if known_digest == digest:
            return known
    said = made_from(data) or {}
    if said.get("file") in recorded:
        return str(said["file"])
    if name in recorded:
        return name
    return "report.html" if data.lstrip().startswith(b"<") else None


def _compared(data: bytes, expected: bytes, file: str) -> list[Mutation]:
    if file.endswith(".html"):
        return compare_pages(data, expected)
    if file.endswith(".pdf"):
        return _printed(data, expected, file)
    have, want = (one.decode("utf-8", "replace").splitlines() for one in (data, expected))
    same = Mutation(file, "other line ends or bytes", "other bytes", "the bytes issued")
    return _lines(have, want, lambda line: f"{file}, line {line + 1}") or [same]


def _printed(data: bytes, expected: bytes, file: str) -> list[Mutation]:
    """Compare what two PDFs say; where they say the same, pictures or bytes that nobody reads differ."""
    other = Mutation(file, "another file than the one issued", "other bytes", "the bytes issued")
    if not expected:
        return [other]
    want = lines_of(expected)
    try:
        have = lines_of(data)
    except BadInput as error:
        return [other, Mutation(file, str(error), "no text", "the text issued")]
    silent = Mutation(file, "the text is the one issued", "other pictures or bytes", "the bytes issued")
    pages = [page for page, _ in want] or [1]

    def place(line: int) -> str:
        return f"{file}, page {pages[min(line, len(pages) - 1)]}"

    found = _lines([text for _, text in have], [text for _, text in want], place)
    return [other, *(found or [silent])]


def _lines(have: list[str], want: list[str], place: Callable[[int], str]) -> list[Mutation]:
    """Compare what a file says with what it should say, line by line."""
    matcher = difflib.SequenceMatcher(None, want, have, autojunk=False)
    found = []
    for code, i1, i2, j1, j2 in matcher.get_opcodes():
        if code != "equal":
            says, should = "; ".join(have[j1:j2])[:200], "; ".join(want[i1:i2])[:200]
            found.append(Mutation(place(i1), "changed line", says and f"'{says}'", should and f"'{should}'"))
    return found


def _beside(file: Path) -> dict[str, Any] | None:
    """Return what the report in a file's folder was made from: a PDF, CSV or JSON does not say it itself."""
    for name in ("report.html", "record.html"):
        page = file.parent / name
        if page.is_file():
            return made_from(page.read_bytes())
    return None


def _against_head(lib: Library, data: bytes, path: Path) -> list[Mutation]:
    """Check a working copy, which no event of the library speaks of, by the head that it names.

    A PDF, CSV or JSON file is checked by the head that the report beside it names.
    """
    said = made_from(data)
    if said is None and not data.lstrip().startswith(b"<"):
        said = _beside(path)
        said = {**said, "file": path.name} if said is not None else None
    if said is None:
        raise BadInput(
            "The file does not say what it was made from; no issued report has its hash or its number.",
            "Name a file that deck-triage report wrote from this library, with its report.html beside it.",
        )
    try:
        decks = [(str(deck), None if visit is None else str(visit)) for deck, visit in said["decks"]]
        head = {str(log_id): (int(seq), str(digest)) for log_id, (seq, digest) in said["head"].items()}
        options, file = Options(**said["options"]), str(said["file"])
    except (KeyError, TypeError, ValueError, AttributeError):
        return [
            Mutation("head of the file", "it does not say what it was made from", "something else", "that")
        ]
    faults = head_faults(lib, head)
    if faults:
        return [Mutation("head of the file", one, "this log head", "another one") for one in faults]
    with at_head(lib, head) as view:
        unknown = [deck for deck, _ in decks if deck not in queries.decks(view)]
        if unknown:
            return [Mutation("head of the file", "a deck that the library does not know", unknown[0], "")]
        summaries = assess_evidence(view, evidence_of(view, decks))
        source = gather_source(view, summaries, positions=options.show_position)
        try:
            files = make_pack(summaries, source, options)
        except BadInput as error:
            return [Mutation("head of the file", "it cannot be made like this", str(error), "")]
    expected = files.get(file)
    if expected is None:
        return [Mutation("head of the file", "no file of the report", file, ", ".join(sorted(files)))]
    if hashlib.sha256(data).hexdigest() == hashlib.sha256(expected).hexdigest():
        return []
    if file.endswith(".html"):
        return compare_pages(data, expected, read_page(expected))
    return _compared(data, expected, file)
