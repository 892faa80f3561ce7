"""The register: every draw, audit, promise, withdrawal, dispute's end, report and correction, in one table.

Each row is one event of the log with who said it and when. The head of the log can be written down as a short
code and kept elsewhere; a later `verify --head` tells whether history since then was only added to.
"""

from __future__ import annotations

import html
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from triage.errors import WrongUsage
from triage.library import queries
from triage.tabular import csv_text

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event

KINDS: Mapping[str, str] = {
    "trained": "model trained, with its promises",
    "presorted": "photos sorted by the machine",
    "pool-begun": "decks drawn at random for a promise",
    "audit-drawn": "decks drawn for an audit",
    "audited": "audit finished",
    "withdrawal-lifted": "withdrawal of a promise lifted",
    "settled": "dispute settled",
    "issued": "report issued",
    "blackout": "picture blacked out",
    "undone": "act taken back",
    "forgotten": "photo removed for good",
}
COLUMNS = ("when", "kind", "what", "who", "tag", "deck", "model", "seed", "result", "why", "event")


@dataclass(frozen=True)
class Entry:
    """One row of the register; what an event does not state is empty."""

    when: str
    kind: str
    what: str
    who: str
    tag: str = ""
    deck: str = ""
    model: str = ""
    seed: str = ""
    result: str = ""
    why: str = ""
    event: str = ""


@dataclass(frozen=True)
class Record:
    """How often a person's first words agreed with the settled ones, month by month: (month, agreed, of)."""

    who: str
    agreed: int
    of: int
    months: tuple[tuple[str, int, int], ...]


def register(library: Library, *, show_names: bool = False) -> list[Entry]:
    """Return every entry in the order of the log; people are pseudonyms unless their names are asked for."""
    found = [event for event in library.events() if event.kind in KINDS]
    opened = {one.hash: one for kind in KINDS for one in queries.statements(library, kind)}
    return [_entry(opened.get(one.hash, one), show_names) for one in found]


def _entry(event: Event, show_names: bool) -> Entry:
    said = event.payload
    why = said.get("why")
    return Entry(
        when=event.recorded_at,
        kind=event.kind,
        what=KINDS[event.kind],
        who=_who(event.by, event.by_ref, show_names),
        tag=str(said.get("tag", "")),
        deck=str(said.get("deck") or ""),
        model=str(said.get("model") or "")[:12],
        seed=str(said.get("seed", "")),
        result=_result(event),
        why=str(why) if why and show_names else "",
        event=event.hash,
    )


def _who(name: str, ref: str, show_names: bool) -> str:
    return name if show_names else f"person-{ref[:8]}"


def _result(event: Event) -> str:
    """What came of it, in a few words."""
    said = event.payload
    if event.kind == "audited":
        verdict = said.get("verdict") or "not shown either way"
        return f"draw {said.get('draws', 1)}: promise {verdict}" + (
            "; withdrawn" if said.get("contradicts") else ""
        )
    if event.kind == "audit-drawn":
        return (
            f"draw {said.get('number', 1)}: {len(said.get('decks', ()))} of {said.get('frame_decks')} decks"
        )
    if event.kind == "pool-begun":
        return f"{len(said.get('drawn', ()))} of {said.get('population')} decks"
    if event.kind == "trained":
        tags = said.get("tags")
        rows = tags.items() if isinstance(tags, dict) else ()
        held = [tag for tag, row in rows if isinstance(row, dict) and row.get("promise", {}).get("holds")]
        return "promises hold for " + (", ".join(held) or "no tag")
    if event.kind == "presorted":
        standing = said.get("standing", {})
        gone = [tag for tag, one in standing.items() if one.get("standing") == "withdrawn"]
        return "withdrawn for this batch: " + ", ".join(gone) if gone else ""
    if event.kind == "issued":
        return str(said.get("number", ""))
    return str(said.get("value", ""))


def records(library: Library, *, show_names: bool = False) -> list[Record]:
    """Return each labeller's record against settled words; the settler's own words are left out."""
    months: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    refs = {event.by: event.by_ref for event in library.events("label")}
    for event in queries.statements(library, "settled"):
        photo, tag, value = (event.payload[name] for name in ("photo", "tag", "value"))
        for label in queries.labels(library, photo=photo, tag=tag):
            if label.by != event.by and label.value != "unclear":
                count = months[label.by][label.at[:7]]
                count[0] += label.value == value
                count[1] += 1
    return [
        Record(
            _who(name, refs.get(name, ""), show_names),
            sum(one[0] for one in by_month.values()),
            sum(one[1] for one in by_month.values()),
            tuple((month, *counts) for month, counts in sorted(by_month.items())),  # type: ignore[misc]
        )
        for name, by_month in sorted(months.items())
    ]


def to_csv(entries: Sequence[Entry]) -> str:
    """Return the register as CSV; texts that a spreadsheet takes for formulas get an apostrophe."""
    return csv_text(COLUMNS, [tuple(asdict(one).values()) for one in entries])


def to_html(entries: Sequence[Entry], people: Sequence[Record], code: str) -> str:
    """Return the register as one HTML file that loads nothing from elsewhere."""

    def table(heads: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
        head = "".join(f"<th>{html.escape(one)}</th>" for one in heads)
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"

    said = [
        (one.who, one.agreed, one.of, "; ".join(f"{month}: {a} of {n}" for month, a, n in one.months))
        for one in people
    ]
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Audit register</title>'
        "<style>body{font-family:sans-serif;margin:2em}td,th{text-align:left;padding:.2em .6em;"
        "border-bottom:1px solid #ccc;vertical-align:top}</style><h1>Audit register</h1>"
        f"<p>Head of the log: <code>{html.escape(code)}</code></p>"
        + table(COLUMNS, [list(asdict(one).values()) for one in entries])
        + "<h2>Labellers against settled words</h2>"
        + table(("who", "agreed", "of", "by month"), said)
        + "</html>\n"
    )


_CODE = re.compile(r"[0-9a-f]{8}\.\d{1,10}\.[0-9a-f]{32}")


def head_code(library: Library) -> str:
    """Return the head of every chain as a short code: `LOG.SEQ.HASH`, joined by `+`."""
    heads = library.head()
    return "+".join(f"{log[:8]}.{one['seq']}.{str(one['hash'])[:32]}" for log, one in sorted(heads.items()))


def head_faults(library: Library, code: str) -> list[str]:
    """Return what of the history behind a code is gone or was changed; none where it was only added to.

    The chain itself must be checked as well (`Library.faults`). Raises WrongUsage for a text that is no code.
    """
    parts = code.strip().split("+")
    if not all(_CODE.fullmatch(part) for part in parts):
        raise WrongUsage(
            f"{code[:80]!r} is not the code of a head.", "Write it as printed by: deck-triage audit register"
        )
    found = []
    with library.read() as connection:
        for part in parts:
            log, seq, start = part.split(".")
            hashes = queries.event_hashes(connection, log, int(seq))
            if not hashes:
                found.append(f"event {seq} of log {log} is gone: history was cut")
            elif not any(one.startswith(start) for one in hashes):
                found.append(f"event {seq} of log {log} is another one now: history was rewritten")
    return found
