"""What people say about a deck: findings, their own tier, warnings, liftings, closings, private fields."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from triage.domain.tiers import TIERS
from triage.errors import BadInput, WrongUsage
from triage.library import Library
from triage.library.records import Closing, Photo

HOW = ("seen", "probed", "measured")
PRIVATE_FIELDS = ("address", "client")
DUE = "due"
"""The field that holds by when a deck is to be repaired: a date, and not private."""


def known_deck(library: Library, deck: str) -> str:
    """Return a deck's code if the library knows it. Raises BadInput with near names otherwise."""
    import difflib

    decks = library.decks()
    if deck in decks:
        return deck
    near = difflib.get_close_matches(deck, decks, n=3)
    hint = f"Did you mean {' or '.join(near)}?" if near else "List the decks with: deck-triage decks"
    raise BadInput(f"There is no deck {deck!r} in this library.", hint)


def check_tier(tier: str) -> str:
    """Return a tier. Raises WrongUsage for a word that is none."""
    if tier not in TIERS:
        raise WrongUsage(f"{tier!r} is no tier.", f"Tiers, worst first: {', '.join(TIERS)}.")
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
        raise WrongUsage(f"{how!r} is no way of finding out.", f"Ways: {', '.join(HOW)}.")
    if not text.strip():
        raise WrongUsage("A finding needs words.", "Say what was seen with --text TEXT.")
    payload = {
        "deck": known_deck(library, deck),
        "tier": check_tier(tier),
        "visit": visit or library.latest_visit(deck),
        "photos": [photo.sha for photo in photos],
        "how": how,
    }
    private = {"text": text} | ({"place": place} if place else {})
    event = library.say("finding", payload, by=by, private=private)
    return {"deck": deck, "tier": tier, "finding": event.hash[:12]}


def set_tier(
    library: Library, deck: str, tier: str, *, why: str, by: str, visit: str | None = None
) -> dict[str, Any]:
    """Record a person's own tier for a deck; it is shown beside the computed one, never instead."""
    if not why.strip():
        raise WrongUsage("A tier needs a reason.", "Say it with --why TEXT.")
    payload = {
        "deck": known_deck(library, deck),
        "tier": check_tier(tier),
        "visit": visit or library.latest_visit(deck),
    }
    library.say("tier", payload, by=by, private={"why": why})
    return {"deck": deck, "tier": tier}


def set_private(library: Library, deck: str, fields: dict[str, str], *, by: str) -> dict[str, Any]:
    """Set fields of a deck: private ones, which stay out of everything unless asked for, and the date due.

    Raises WrongUsage for a field that is none, BadInput for a date that is none.
    """
    known_deck(library, deck)
    if not fields:
        raise WrongUsage("Nothing to set.", "Give --address TEXT, --client TEXT or --due DATE.")
    for field, text in fields.items():
        if field not in (*PRIVATE_FIELDS, DUE):
            raise WrongUsage(f"{field!r} is no private field.", f"Fields: {', '.join(PRIVATE_FIELDS)}.")
        if field == DUE:
            _check_day(text)
        library.say("deck-set", {"deck": deck, "field": field}, by=by, private={"text": text})
    return {"deck": deck, "set": sorted(fields)}


def _check_day(text: str) -> None:
    try:
        date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"{text!r} is not a date.", "Write it as 2026-06-01.") from error


def warn(library: Library, deck: str, *, told: str, how: str, at: str, by: str) -> dict[str, Any]:
    """Record who was told to stop using a deck, when and how. Raises BadInput for a time that is none."""
    try:
        when = datetime.fromisoformat(at).isoformat()
    except ValueError as error:
        raise BadInput(f"{at!r} is no time.", "Write it as 2026-05-04T16:30 (a zone may follow).") from error
    if not told.strip() or not how.strip():
        raise WrongUsage("A warning names who was told and how.", "Give --told WHO and --how TEXT.")
    payload = {"deck": known_deck(library, deck), "told_at": when}
    library.say("warned", payload, by=by, private={"told": told, "how": how})
    return {"deck": deck, "told_at": when}


def lift(library: Library, deck: str, *, why: str, after: Photo, by: str) -> dict[str, Any]:
    """Record the lifting of a stop-use after a repair. Raises BadInput for a photo of another deck."""
    known_deck(library, deck)
    if after.deck != deck:
        raise BadInput(
            f"{after.path_name} is no photo of deck {deck}.", "Name a photo of the repair on this deck."
        )
    if not why.strip():
        raise WrongUsage("A lifting needs a reason.", "Say which repair was made with --why TEXT.")
    library.say("lifted", {"deck": deck, "after": after.sha}, by=by, private={"why": why})
    return {"deck": deck, "after": after.sha}


def close(
    library: Library, deck: str, rule: str, *, place: str, before: Photo, after: Photo, why: str, by: str
) -> dict[str, Any]:
    """Close a concern: an after-photo of the same place as the before-photo, by a named person.

    Raises BadInput when a photo is of another deck, both are one photo, the after-photo is the older one, or
    the closing would close nothing: an unknown rule, an after-photo that shows the defect or another place.
    """
    known_deck(library, deck)
    for photo in (before, after):
        if photo.deck != deck:
            raise BadInput(f"{photo.path_name} is no photo of deck {deck}.", "Name photos of this deck.")
    if before.sha == after.sha:
        raise BadInput("Before and after are the same photo.", "Name the photo taken after the repair.")
    if (after.visit or "") < (before.visit or ""):
        raise BadInput(
            f"The after-photo is of an earlier visit ({after.visit}) than the before-photo ({before.visit}).",
            "Name the photo taken after the repair.",
        )
    if not why.strip() or not place.strip():
        raise WrongUsage("A closing names the place and the reason.", "Give --place TEXT and --why TEXT.")
    _check_closing(library, Closing(deck, rule, place, before.sha, after.sha, why, by, "", after.visit))
    payload = {"deck": deck, "rule": rule, "before": before.sha, "after": after.sha, "visit": after.visit}
    library.say("closed", payload, by=by, private={"place": place, "why": why})
    return {"rule": rule, "status": "repaired"}


def _check_closing(library: Library, closing: Closing) -> None:
    from triage.assess.evidence import gather, rule_book_of
    from triage.assess.visits import fault

    why = fault(closing, gather(library, closing.deck, closing.visit).visits(), rule_book_of(library))
    if why is not None:
        raise BadInput(f"This closes nothing on {closing.deck}: {why}.", "See: deck-triage assess")
