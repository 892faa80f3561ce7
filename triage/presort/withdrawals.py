"""Promises that an audit has withdrawn: until the next model passes an audit, or a person lifts it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from triage.errors import BadInput
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.log import Event

LIFTED = "withdrawal-lifted"


def withdrawals(library: Library) -> dict[str, Event]:
    """Return by tag the audit that withdrew its promise, where the withdrawal still stands.

    A later audit of the same model with another seed does not end it; an audit of another model that shows
    the promise kept does, and so does a person's lifting with a reason. Training again alone does not.
    """
    found: dict[str, Event] = {}
    said = [*queries.statements(library, "audited"), *queries.statements(library, LIFTED)]
    for event in sorted(said, key=lambda one: (one.lamport, one.log_id, one.seq)):
        tag = str(event.payload["tag"])
        if event.kind == LIFTED:
            found.pop(tag, None)
        elif event.payload.get("contradicts"):
            found[tag] = event
        elif event.payload.get("verdict") == "within" and tag in found:
            other = event.payload["model"] != found[tag].payload["model"]
            found = {one: by for one, by in found.items() if one != tag or not other}
    return found


def lift_withdrawal(library: Library, tag: str, *, why: str, by: str) -> None:
    """Lift a withdrawal with a reason, which goes on record.

    Raises BadInput where nothing is withdrawn for the tag, or no reason is given.
    """
    if tag not in withdrawals(library):
        raise BadInput(f"No audit has withdrawn the promise on {tag}.", "See: deck-triage audit register")
    if not why.strip():
        raise BadInput("Lifting a withdrawal needs a reason.", "Give one with --why TEXT.")
    library.say(LIFTED, {"tag": tag}, by=by, private={"why": why.strip()})
