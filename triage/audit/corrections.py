"""What happened to a report's photos after its issue: moved, labeled, settled, taken back, removed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event

WHAT: Mapping[str, str] = {
    "moved": "moved",
    "placed": "moved",
    "label": "labeled again",
    "settled": "settled again",
    "forgotten": "removed",
    "blackout": "given another blackout",
}


@dataclass(frozen=True)
class Correction:
    """An event after the issue of a report (by its number) that touches one of the report's photos."""

    report: str
    photo: str
    what: str
    event: Event


def corrections(library: Library) -> list[Correction]:
    """Return every correction after an issue, report by report, in the order of the log."""
    issued = queries.statements(library, "issued")
    if not issued:
        return []
    events = list(library.events())
    acts: dict[str, list[Event]] = {}
    for one in events:
        acts.setdefault(one.act, []).append(one)
    found = []
    for report in issued:
        head: Mapping[str, Any] = report.payload.get("head", {})
        used = set(report.payload.get("photos", ()))
        number = str(report.payload["number"])
        for one in events:
            if one.seq > head.get(one.log_id, (0, ""))[0]:
                found += [
                    Correction(number, sha, what, one) for sha, what in _touched(one, acts) if sha in used
                ]
    return found


def _touched(event: Event, acts: Mapping[str, Sequence[Event]]) -> list[tuple[str, str]]:
    """Return the photos that an event touches, and how."""
    if event.kind == "undone":
        taken_back = acts.get(str(event.payload.get("act")), ())
        return [
            (sha, f"touched by an undo ({what})") for one in taken_back for sha, what in _touched(one, {})
        ]
    if event.kind not in WHAT:
        return []
    sha = event.payload.get("photo") or event.payload.get("sha")
    return [(str(sha), WHAT[event.kind])] if sha else []
