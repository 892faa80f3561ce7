"""What people say about a deck: findings, warnings, private fields.

What may make a deck look better is in `acts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from triage.domain.tiers import TIERS
from triage.errors import BadInput, WrongUsage
from triage.library import EventDraft, Library, queries
from triage.library.records import Photo

HOW = ("seen", "probed", "measured")
PRIVATE_FIELDS = ("address", "client")
DUE = "due"
"""The field that holds by when a deck is to be repaired: a date, and not private."""


def known_deck(library: Library, deck: str) -> str:
    """Return a deck's code if the library knows it. Raises BadInput with near names otherwise."""
    import difflib

    decks = queries.decks(library)
    if deck in decks:
        return deck
    near = difflib.get_close_matches(deck, decks, n=3)
    hint = f"Did you mean {' or '.join(near)}?" if near else "List the decks with: deck-triage decks"
    raise BadInput(f"There is no deck {deck!r} in this library.", hint)


def check_tier(tier: str) -> str:
    """Return a tier. Raises WrongUsage for a word that is none."""
    if tier not in TIERS:
        raise WrongUsage(f"{tier!r} is not a tier.", f"Tiers, worst first: {', '.join(TIERS)}.")
    return tier


def add_finding(
    library: Library,
    deck: str,
    *,
    tier: str,
    text: str,
    by: str,
    photos: Sequence[Photo] = (),
    place: str | None = None,
    how: str = "seen",
    visit: str | None = None,
) -> dict[str, Any]:
    """Record what a person saw that no tag covers.

    Raises BadInput for an unknown deck, WrongUsage for an unknown word.
    """
    if how not in HOW:
        raise WrongUsage(f"{how!r} is not a valid value of --how.", f"Ways: {', '.join(HOW)}.")
    if not text.strip():
        raise WrongUsage("A finding needs a description.", "Say what was seen with --text TEXT.")
    payload = {
        "deck": known_deck(library, deck),
        "tier": check_tier(tier),
        "visit": visit or queries.latest_visit(library, deck),
        "photos": [photo.sha for photo in photos],
        "how": how,
    }
    private = {"text": text} | ({"place": place} if place else {})
    event = library.say("finding", payload, by=by, private=private)
    return {"deck": deck, "tier": tier, "finding": event.hash[:12]}


def set_private(library: Library, deck: str, fields: dict[str, str], *, by: str) -> dict[str, Any]:
    """Set fields of a deck: private ones, which stay out of everything unless asked for, and the date due.

    Raises WrongUsage for a field that is none, BadInput for a date that is none.
    """
    known_deck(library, deck)
    if not fields:
        raise WrongUsage("Nothing to set.", "Give --address TEXT, --client TEXT or --due DATE.")
    for field, text in fields.items():
        if field not in (*PRIVATE_FIELDS, DUE):
            raise WrongUsage(f"{field!r} is not a private field.", f"Fields: {', '.join(PRIVATE_FIELDS)}.")
        if field == DUE:
            _check_day(text)
    library.say_many(
        [
            EventDraft("deck-set", {"deck": deck, "field": field}, by, None, {"text": text})
            for field, text in fields.items()
        ]
    )
    return {"deck": deck, "set": sorted(fields)}


def _check_day(text: str) -> None:
    try:
        date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is not a date.", "Write it as 2026-06-01.") from error


def warn(library: Library, deck: str, *, told: str, how: str, at: str, by: str) -> dict[str, Any]:
    """Record who was told to stop using a deck, when and how.

    Raises BadInput for a time that is not valid.
    """
    try:
        when = datetime.fromisoformat(at).isoformat()
    except ValueError as error:
        raise BadInput(
            f"{at!r} is not a time.", "Write it as 2026-05-04T16:30 (a zone may follow)."
        ) from error
    if not told.strip() or not how.strip():
        raise WrongUsage("A warning names who was told and how.", "Give --told WHO and --how TEXT.")
    payload = {"deck": known_deck(library, deck), "told_at": when}
    library.say("warned", payload, by=by, private={"told": told, "how": how})
    return {"deck": deck, "told_at": when}
