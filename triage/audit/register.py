"""The register: draws, audits, promises, withdrawals, disputes, reports and corrections, in one table.

Each row is one event of the log with who said it and when. The head of the log can be written down as a short
code and kept elsewhere; a later `verify --head` tells whether history since then was only added to.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.audit.corrections import Correction, corrections
from triage.errors import WrongUsage
from triage.library import queries
from triage.library.counts import disputed_pairs
from triage.library.people import pseudonyms

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event
    from triage.library.records import Label, Word

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
    "same-person": "two spellings of a name said to be one person's, or two people's",
    "forgotten": "photo removed for good",
}
COLUMNS = (
    "when",
    "kind",
    "what",
    "who",
    "tag",
    "deck",
    "model",
    "seed",
    "result",
    "why",
    "event",
    "saw_machine",
    "method",
)


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
    saw_machine: str = ""
    method: str = ""


def register(library: Library, *, show_names: bool = False) -> list[Entry]:
    """Return every entry in the order of the log, what corrects an issued report and open disputes with it.

    People are pseudonyms, and reasons stay back, unless names are asked for.
    """
    found = [event for event in library.events() if event.kind in KINDS]
    opened = {one.hash: one for kind in KINDS for one in queries.statements(library, kind)}
    later = corrections(library)
    disputes = [
        word
        for sha, tag in disputed_pairs(library)
        for word in queries.words(library, photo=sha, tag=tag).values()
    ]
    names = {one.by for one in found} | {one.event.by for one in later}
    names |= {label.by for word in disputes for label in word.labels}
    with library.read() as connection:
        private = pseudonyms(connection, names)
    shown = {name: name for name in names} if show_names else private
    rows = [
        ((one.lamport, one.log_id, one.seq), _entry(library, opened.get(one.hash, one), shown, show_names))
        for one in found
    ]
    rows += [((one.event.lamport, one.event.log_id, one.event.seq), _correction(one, shown)) for one in later]
    rows.sort(key=lambda row: row[0])
    return [entry for _, entry in rows] + [_dispute(word, shown) for word in disputes]


def _entry(library: Library, event: Event, shown: Mapping[str, str], show_names: bool) -> Entry:
    said = event.payload
    why = said.get("why")
    return Entry(
        when=event.recorded_at,
        kind=event.kind,
        what=_what(event),
        who=shown[event.by],
        tag=str(said.get("tag", "")),
        deck=str(said.get("deck") or ""),
        model=str(said.get("model") or "")[:12],
        seed=str(said.get("seed", "")),
        result=_result(event),
        why=str(why) if why and show_names else "",
        event=event.hash,
        saw_machine=_seen(library, event),
        method=_method(event),
    )


def _what(event: Event) -> str:
    if event.kind == "issued" and event.payload.get("amends"):
        return f"amendment of report {event.payload['amends']} issued"
    return KINDS[event.kind]


def _correction(one: Correction, shown: Mapping[str, str]) -> Entry:
    said = one.event.payload
    saw = said.get("saw_machine") if one.event.kind == "label" else None
    return Entry(
        when=one.event.recorded_at,
        kind="correction",
        what=f"after report {one.report}: photo {one.photo[:12]} {one.what}",
        who=shown[one.event.by],
        tag=str(said.get("tag", "")),
        result=str(said.get("value", "")),
        event=one.event.hash,
        saw_machine="" if saw is None else ("yes" if saw else "no"),
    )


def _dispute(word: Word, shown: Mapping[str, str]) -> Entry:
    """A dispute that nobody has settled: the newest of its words says since when."""
    newest = max(word.labels, key=lambda label: label.at)
    sides = [f"{label.value} by {shown[label.by]}" for label in word.labels]
    return Entry(
        when=newest.at,
        kind="dispute",
        what=f"open dispute about photo {word.photo[:12]}",
        who=shown[newest.by],
        tag=word.tag,
        result="; ".join(sorted(sides)),
        event=newest.event,
        saw_machine=_of_labels(word.labels),
    )


def _of_labels(labels: Sequence[Label]) -> str:
    """How many of some answers were given with the machine's word in view."""
    return f"{sum(label.saw_machine for label in labels)} of {len(labels)} answers" if labels else ""


def _seen(library: Library, event: Event) -> str:
    if event.kind != "settled":
        return ""
    return _of_labels(
        queries.labels(library, photo=str(event.payload["photo"]), tag=str(event.payload["tag"]))
    )


def _method(event: Event) -> str:
    """By which method, and which version of it."""
    said = event.payload
    if event.kind == "issued" and said.get("version"):
        return f"deck-triage {said['version']}, rules {str(said.get('rule_book') or '')[:12]}"
    if event.kind == "audited" and said.get("bounds"):
        how = "looked at after every deck" if said["bounds"] == "anytime" else "decks, at the end"
        return f"bounds by betting, {how}"
    if event.kind == "trained":
        return " ".join(str(said[name])[:12] for name in ("version", "recipe") if said.get(name))
    return str(said.get("rule", "")) if event.kind in ("audit-drawn", "pool-begun") else ""


def _result(event: Event) -> str:
    """Return the result in a few words."""
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
    if event.kind == "same-person":
        return "one person" if said.get("same") else "two people"
    return str(said.get("value", ""))


_CODE = re.compile(r"[0-9a-f]{8}\.\d{1,10}\.[0-9a-f]{32}")


def head_code(library: Library) -> str:
    """Return the head of every chain as a short code: `LOG.SEQ.HASH`, joined by `+`."""
    heads = library.head()
    return "+".join(f"{log[:8]}.{one['seq']}.{str(one['hash'])[:32]}" for log, one in sorted(heads.items()))


def head_faults(library: Library, code: str) -> list[str]:
    """Return what of the history behind a code is gone or was changed; none where it was only added to.

    The chain itself must be checked as well (`Library.faults`). Raises WrongUsage for a text that is not a
    head code.
    """
    parts = code.strip().split("+")
    if not all(_CODE.fullmatch(part) for part in parts):
        raise WrongUsage(
            f"{code[:80]!r} is not a head code.", "Write it as printed by: deck-triage audit register"
        )
    found = []
    with library.read() as connection:
        for part in parts:
            log, seq, start = part.split(".")
            hashes = queries.event_hashes(connection, log, int(seq))
            if not hashes:
                found.append(f"event {seq} of log {log} is gone: history was cut")
            elif not any(one.startswith(start) for one in hashes):
                found.append(f"event {seq} of log {log} is a different one now: history was rewritten")
    return found
