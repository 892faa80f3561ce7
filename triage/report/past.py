"""The library as it stood at a head of its log, and the assessment that it gave there."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import rfc8785

from triage.errors import BadInput
from triage.library import queries
from triage.library.past import Head
from triage.library.records import Suggestion

if TYPE_CHECKING:
    from triage.assess.records import DeckEvidence
    from triage.library import Library

DeckVisit = tuple[str, str | None]


def short_head(lib: Library) -> dict[str, list[Any]]:
    """Return the head of every chain as {log id: [seq, hash]}."""
    return {log_id: [head["seq"], head["hash"]] for log_id, head in sorted(lib.head().items())}


def head_faults(lib: Library, head: Head) -> list[str]:
    """Return what is wrong with a head: a log that is not here, an event that is not the one named."""
    faults = []
    with lib.read() as connection:
        for log_id, (seq, digest) in head.items():
            found = queries.event_hash(connection, str(log_id), seq)
            if found is None:
                faults.append(f"the library holds no event {seq} of log {str(log_id)[:12]}")
            elif found != digest:
                faults.append(f"event {seq} of log {str(log_id)[:12]} is another one in the library")
    return faults


def at_head(lib: Library, head: Head, *, machine: bool = True) -> Library:
    """Return a read-only view of the library as it stood at a head, folded in memory.

    The machine's words of the model in use at that head come along as they are now; with `machine` false
    there are none and no model is read. Raises BadInput where the head is not one of this library's.
    """
    from triage.library.past import up_to_head, view_of

    faults = head_faults(lib, head)
    if faults:
        raise BadInput(f"The library does not hold the log head that is named: {'; '.join(faults)}.")
    return view_of(lib, up_to_head(head), models=machine, suggestions=True)


def evidence_of(lib: Library, decks: Sequence[DeckVisit]) -> list[DeckEvidence]:
    """Return what is known of each deck at its visit, by the name of the deck.

    Raises BadInput for a deck that the library does not know.
    """
    from triage.assess.evidence import gather_all

    by_visit: dict[str | None, list[str]] = {}
    for deck, visit in decks:
        by_visit.setdefault(visit, []).append(deck)
    found = [one for visit, names in by_visit.items() for one in gather_all(lib, names, visit)]
    return sorted(found, key=lambda one: one.deck)


def freeze_machine(evidence: Sequence[DeckEvidence]) -> dict[str, Any]:
    """Return the machine's words and promises behind some decks as plain data, to keep in the log.

    Words in the pile `unlikely` keep no place: nothing in a report shows it.
    """
    rows: dict[tuple[str, str], Suggestion] = {}
    promise: dict[str, str] = {}
    for one in evidence:
        for each in (*one.earlier, one):
            rows.update(each.suggestions)
            promise.update(each.promise)
    return {
        "promise": dict(sorted(promise.items())),
        "rows": [
            [
                row.photo,
                row.tag,
                row.model,
                row.score,
                row.probability,
                row.pile,
                [] if row.pile == "unlikely" else [list(box) for box in row.where],
            ]
            for _, row in sorted(rows.items())
        ],
    }


def thaw_machine(evidence: Sequence[DeckEvidence], frozen: Mapping[str, Any]) -> list[DeckEvidence]:
    """Return the evidence with the machine's words as they were frozen, whatever the model says now."""
    said = {
        (photo, tag): Suggestion(
            photo, tag, model, score, probability, pile, tuple((x, y, w, h) for x, y, w, h in where)
        )
        for photo, tag, model, score, probability, pile, where in frozen["rows"]
    }
    return [_thawed(one, said, frozen["promise"]) for one in evidence]


def _thawed(
    one: DeckEvidence, said: Mapping[tuple[str, str], Suggestion], promise: Mapping[str, str]
) -> DeckEvidence:
    shas = {photo.sha for photo in one.photos}
    own = {key: row for key, row in said.items() if key[0] in shas}
    earlier = tuple(_thawed(each, said, promise) for each in one.earlier)
    return replace(one, suggestions=own, promise=dict(promise), earlier=earlier)


def digest(data: Any) -> str:
    """Return the SHA-256 of canonical JSON (RFC 8785)."""
    return hashlib.sha256(rfc8785.dumps(data)).hexdigest()
