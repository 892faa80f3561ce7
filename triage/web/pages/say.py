"""What people say about a deck beyond labels: findings, own tier, warnings, closings, private fields."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from starlette.responses import Response

from triage.assess import acts, said
from triage.domain.tiers import TIERS
from triage.errors import BadInput
from triage.ingest import check_visit
from triage.ingest.moving import forget, move
from triage.library import queries
from triage.library.records import Photo
from triage.report.text import count_of
from triage.web.request_context import RequestContext, WrongFields, photo_of
from triage.web.told import took_back

_MOST_PHOTOS = 50


def show(ask: RequestContext) -> Response:
    """Show the forms, with what was said before."""
    deck = ask.deck()
    library = ask.library
    one = ask.site.standing(ask.name).of(deck)
    visits = [visit for visit in queries.visits(library, deck) if visit]
    return ask.site.show(
        "say.html",
        ask,
        here="say",
        deck_name=deck,
        one=one,
        visits=visits,
        photos=queries.photos(library, deck),
        findings=queries.findings(library, deck),
        warnings=queries.warnings(library, deck),
        lifts=queries.lifts(library, deck),
        closings=queries.closings(library, deck),
        private=queries.deck_private(library, deck),
        how=said.HOW,
        now=f"{datetime.now().astimezone():%Y-%m-%dT%H:%M}",
    )


def _photos(ask: RequestContext, name: str = "photo") -> list[Photo]:
    shas = ask.form.get(name, [])
    if len(shas) > _MOST_PHOTOS:
        raise BadInput(f"At most {_MOST_PHOTOS} photos can be named.", "Choose fewer.")
    return [photo_of(ask.library, sha) for sha in shas if sha]


def _one(ask: RequestContext, name: str, what: str) -> Photo:
    found = _photos(ask, name)
    if not found:
        raise BadInput(f"{what} is missing.", "Choose a photo.")
    return found[0]


def _tier(ask: RequestContext) -> str:
    tier = ask.text("tier")
    if tier not in TIERS:
        raise BadInput("No tier was chosen.", "Choose one of the list.")
    return tier


def _done(ask: RequestContext, told: str) -> Response:
    return ask.done(ask.url("deck/say", d=ask.text("deck")), told)


def finding(ask: RequestContext) -> Response:
    """Record what was seen that no tag covers."""
    given = ask.take(
        text=lambda: ask.need("text", "What was seen"),
        tier=lambda: _tier(ask),
        photos=lambda: _photos(ask),
        place=lambda: ask.text("place") or None,
        visit=lambda: check_visit(ask.text("visit") or None),
    )
    said.add_finding(ask.library, ask.deck(), by=ask.by, how=ask.text("how") or "seen", **given)
    return _done(ask, "The finding is stored.")


def tier(ask: RequestContext) -> Response:
    """Record this person's own tier."""
    given = ask.take(tier=lambda: _tier(ask), why=lambda: ask.need("why", "The reason"))
    acts.set_tier(ask.library, ask.deck(), given["tier"], why=given["why"], by=ask.by)
    return _done(ask, "Saved your tier; the computed one is still shown with it.")


def private(ask: RequestContext) -> Response:
    """Store the address and client; they stay out of everything unless asked for."""
    known = queries.deck_private(ask.library, ask.deck())
    fields = {name: ask.text(name, 500) for name in said.PRIVATE_FIELDS}
    changed = {name: text for name, text in fields.items() if text and text != known.get(name, "")}
    if changed:
        said.set_private(ask.library, ask.deck(), changed, by=ask.by)
    return _done(ask, "Stored." if changed else "Nothing was changed.")


def warn(ask: RequestContext) -> Response:
    """Record who was told to stop using the deck."""
    given = ask.take(
        who=lambda: ask.need("who", "Who was told"),
        how=lambda: ask.need("how", "How they were told"),
        at=lambda: _moment(ask),
    )
    said.warn(ask.library, ask.deck(), told=given["who"], how=given["how"], at=given["at"], by=ask.by)
    return _done(ask, "The warning is on record.")


def _moment(ask: RequestContext) -> str:
    at = ask.need("at", "When")
    try:
        datetime.fromisoformat(at)
    except ValueError as error:
        raise BadInput("This is not a date with a time.", "Write for example 2026-05-04 18:00.") from error
    return at


def lift(ask: RequestContext) -> Response:
    """Record that a stop-use is lifted after a repair."""
    given = ask.take(
        why=lambda: ask.need("why", "The reason"),
        after=lambda: _one(ask, "after", "The photo of the repair"),
    )
    acts.lift(ask.library, ask.deck(), by=ask.by, **given)
    return _done(ask, "The lifting is on record.")


def close(ask: RequestContext) -> Response:
    """Close a concern: a photo before and one after, of the same place."""
    given = ask.take(
        rule=lambda: ask.need("rule", "The concern"),
        before=lambda: _photos(ask, "before") or _one(ask, "before", "The photo before"),
        after=lambda: _one(ask, "after", "The photo after"),
        place=lambda: ask.need("place", "The place"),
        why=lambda: ask.need("why", "What was done"),
    )
    same_place = ask.text("same_place") == "yes"
    row = acts.close(ask.library, ask.deck(), by=ask.by, same_place=same_place, **given)
    left = count_of(len(row["remaining"]), "photo")
    told = f"Closed. {left} of this concern still open." if row["remaining"] else "The concern is closed."
    return _done(ask, told)


def take_back(ask: RequestContext) -> Response:
    """Take back this person's last act, wherever in the library it was."""
    told = took_back(ask.library.undo(ask.by))
    return ask.done(ask.url("deck/history", d=ask.deck()), told)


def chosen(ask: RequestContext) -> Sequence[Photo]:
    """Return the photos that were ticked. Raises BadInput where none was."""
    shas = [sha for part in ask.form.get("photos", []) for sha in part.split(",") if sha]
    if not shas:
        raise BadInput("No photo was chosen.", "Choose some on the contact sheet first.")
    return [photo_of(ask.library, sha) for sha in shas[:5000]]


def move_photos(ask: RequestContext) -> Response:
    """Move chosen photos to another deck."""
    deck = ask.deck()
    given = ask.take(
        to=lambda: ask.need("to", "The other deck's name"),
        visit=lambda: check_visit(ask.text("visit") or None),
    )
    target = given["to"]
    moved = move(ask.library, chosen(ask), target, by=ask.by, visit=given["visit"])
    left = queries.photos(ask.library, deck)
    return ask.done(
        ask.url("deck", d=deck if left else target), f"{count_of(len(moved), 'photo')} moved to {target}."
    )


def forget_photos(ask: RequestContext) -> Response:
    """Remove chosen photos for good."""
    deck = ask.deck()
    if ask.text("sure") != "yes":
        said_so = "Nothing was removed: the box was not ticked. Removing cannot be undone; tick the box."
        raise WrongFields({"sure": said_so})
    gone = forget(ask.library, chosen(ask), by=ask.by)
    told = f"{count_of(len(gone), 'photo')} removed for good."
    return ask.done(ask.url("deck", d=deck) if queries.photos(ask.library, deck) else ask.url(), told)
