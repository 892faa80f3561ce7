"""Acts that may make a deck look better: closing a concern, lifting a stop-use, a person's own tier.

Each function checks every condition of its act (`triage/data/acts.toml`) and records the act in the same
write transaction, so that two people at once cannot both close one concern. Commands, the page and Python
all come through here. A refused act raises `Refused` with the photo, the condition and what mends it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from triage.assess.evidence import gather, rule_book_of
from triage.assess.places import same_place
from triage.assess.records import Concern, DeckEvidence, DeckSummary
from triage.assess.said import check_tier, known_deck
from triage.assess.summary import assess_deck, unreviewed
from triage.assess.visits import fault, looked_at_fault
from triage.domain.acts import Refused
from triage.domain.tiers import tier_rank
from triage.errors import WrongUsage
from triage.library import EventDraft, Library, queries
from triage.library.naming import distinct_names
from triage.library.records import Closing, Lift, Photo

STOP_USE = "stop-use"


# ---- which photos are meant ---


def pair_named(
    library: Library, deck: str, befores: Sequence[str], after: str | None
) -> tuple[list[Photo], Photo | None]:
    """Return the photos before and after that a person names, of one deck.

    Photos taken from the same places bear the same names at both visits. Of two such photos the one before is
    the earlier and the one after the later. Raises BadInput with the candidates where that does not decide.
    """

    def alike(text: str) -> list[Photo]:
        return [one for one in queries.photos_named(library, text) if one.deck == deck]

    def one_before(text: str) -> Photo:
        found = alike(text)
        return (
            found[0]
            if len(found) == 2 and found[0].visit != found[1].visit
            else queries.find_photo(library, text)
        )

    if after is None:
        return [one_before(text) for text in befores], None
    found = alike(after)
    latest = (
        found[-1]
        if len({one.visit for one in found}) == len(found) > 1
        else queries.find_photo(library, after)
    )
    return [one_before(text) for text in befores], latest


# ---- closing ---------------------------------------------------------------------------------------------


def close(
    library: Library,
    deck: str,
    rule: str,
    *,
    place: str | None,
    before: Photo | Sequence[Photo],
    after: Photo,
    why: str,
    by: str,
    same_place: bool = False,
) -> dict[str, Any]:
    """Close a concern, or some of its photos: a later look at the same place, by a named person.

    `before` are the photos of the concern that the photo after speaks for; `same_place` confirms that the
    person compared them and that they show one place. Returns {"rule", "status", "closed", "remaining"}:
    `remaining` are the photos of the concern that are still open. Raises Refused where a condition does not
    hold, WrongUsage where the place or the reason is missing.
    """
    known_deck(library, deck)
    shown = [before] if isinstance(before, Photo) else list(before)
    for photo in (*shown, after):
        if photo.deck != deck:
            raise _refuse(
                "close", "of-this-deck", f"{photo.path_name} is not a photo of deck {deck}", photo, deck=deck
            )
    _need_reason(why)

    def decide(_connection: Any) -> list[EventDraft]:
        evidence, summary = _assessed(library, deck)
        where = place or _place_of(summary, rule, shown[0].sha)
        if not (where or "").strip():
            if not any(
                one.is_open and one.rule == rule and shown[0].sha in one.photos for one in summary.concerns
            ):
                detail = f"There is no open concern '{rule}' with the photo before"
                raise _refuse("close", "open-concern", detail, shown[0], deck=deck)
            raise WrongUsage("Closing a concern needs its place.", "Say where on the deck with --place TEXT.")
        drafts = []
        for one in shown:
            closing = Closing(
                deck, rule, str(where), one.sha, after.sha, why, by, "", after.visit, same_place
            )
            _check_closing(library, closing, evidence, summary)
            drafts.append(_closed(closing))
        return drafts

    said = library.say_after(decide)
    left = _left(_assessed(library, deck)[1], rule, library, {one.sha for one in shown}, after.visit)
    return {
        "rule": rule,
        "status": "partly-repaired" if left else "repaired",
        "closed": len(said),
        "remaining": left,
    }


@dataclass(frozen=True)
class ToClose:
    """A photo of a concern and the later one that speaks for it; `same_place`: a person compared the two."""

    rule: str
    place: str
    before: Photo
    after: Photo
    same_place: bool = False


def close_many(
    library: Library, deck: str, pairs: Sequence[ToClose], *, why: str, by: str
) -> list[Refused | None]:
    """Close several photos of a deck's concerns as one act, each judged by the state of the deck before.

    Returns for each pair null where it was closed, else the refusal: one that does not hold stops no other.
    Raises WrongUsage without a reason.
    """
    known_deck(library, deck)
    _need_reason(why)
    outcome: list[Refused | None] = []

    def decide(_connection: Any) -> list[EventDraft]:
        evidence, summary = _assessed(library, deck)
        outcome.clear()
        drafts = []
        for one in pairs:
            shas = (one.before.sha, one.after.sha)
            closing = Closing(deck, one.rule, one.place, *shas, why, by, "", one.after.visit, one.same_place)
            try:
                _check_closing(library, closing, evidence, summary)
            except Refused as refused:
                outcome.append(refused)
                continue
            outcome.append(None)
            drafts.append(_closed(closing))
        return drafts

    library.say_after(decide)
    return outcome


def _need_reason(why: str) -> None:
    """Raise WrongUsage where a closing has no reason."""
    if not why.strip():
        raise WrongUsage(
            "Closing a concern needs a reason.", "Say what was done and how it was checked: --why TEXT"
        )


def _closed(closing: Closing) -> EventDraft:
    """Return the event of a closing."""
    payload: dict[str, Any] = {"deck": closing.deck, "rule": closing.rule}
    payload |= {"before": closing.before, "after": closing.after, "visit": closing.visit}
    if closing.same_place:
        payload |= {"same_place": True}
    private = {"place": closing.place or "", "why": closing.why}
    return EventDraft("closed", payload, closing.by, None, private)


def _check_closing(library: Library, closing: Closing, evidence: DeckEvidence, summary: DeckSummary) -> None:
    book, photos = rule_book_of(library), {p.sha: p for v in evidence.visits() for p in v.photos}
    found = fault(closing, evidence.visits(), book)
    if found is not None and found.condition != "open-concern":
        photo = photos.get(found.photo or "")
        words = {"deck": closing.deck, "rule": closing.rule, "tag": found.tag, "element": found.element}
        raise _refuse("close", found.condition, found.detail, photo, photos.values(), **words)
    mine = [one for one in summary.concerns if one.is_open and one.rule == closing.rule]
    before = photos.get(closing.before)
    if not mine:
        detail = f"There is no open concern '{closing.rule}' on deck {closing.deck}"
        raise _refuse("close", "open-concern", detail, None, deck=closing.deck)
    here = [one for one in mine if closing.before in one.photos]
    if found is not None or not here and mine[0].photos:
        detail = f"The photo before is not one of the photos of '{closing.rule}'"
        raise _refuse("close", "open-concern", detail, before, photos.values(), deck=closing.deck)
    if not any(one.place is None or same_place(one.place, closing.place) for one in here):
        detail = f"The photo before shows '{here[0].place}', not '{closing.place}'"
        raise _refuse("close", "same-place", detail, before, photos.values(), deck=closing.deck)


def _place_of(summary: DeckSummary, rule: str, sha: str) -> str | None:
    mine = (one for one in summary.concerns if one.is_open and one.rule == rule and sha in one.photos)
    return next((one.place for one in mine), None)


def _left(
    summary: DeckSummary, rule: str, library: Library, closed: set[str], visit: str | None
) -> list[dict[str, Any]]:
    """Return the photos of open concerns of the same rule or tag, as far as they were there before."""
    tag = next((one.tag for one in summary.concerns if one.rule == rule and one.tag), None)
    mine = [c for c in summary.concerns if c.is_open and (c.rule == rule or tag is not None and c.tag == tag)]
    photos = {photo.sha: photo for photo in queries.photos(library, summary.deck)}
    names = distinct_names(photos.values())
    return [
        {"rule": one.rule, "place": one.place, "photo": sha, "name": names[sha]}
        for one in mine
        for sha in one.photos
        if sha in photos and sha not in closed
    ]


# ---- lifting ---------------------------------------------------------------------------------------------


def lift(library: Library, deck: str, *, why: str, after: Photo, by: str) -> dict[str, Any]:
    """Lift a stop-use after a repair. Raises Refused where a condition does not hold."""
    known_deck(library, deck)
    if after.deck != deck:
        detail = f"{after.path_name} is not a photo of deck {deck}"
        raise _refuse("lift", "photo-of-the-repair", detail, after, deck=deck)
    if not why.strip():
        raise WrongUsage("Lifting a stop-use needs a reason.", "Say which repair was made with --why TEXT.")

    def decide(_connection: Any) -> list[EventDraft]:
        evidence, summary = _assessed(library, deck)
        warned = bool(queries.warnings(library, deck)) or _ever_stop_use(library, deck)
        problem = lift_fault(Lift(deck, why, after.sha, by, ""), evidence, summary, warned)
        if problem is not None:
            raise problem
        payload = {"deck": deck, "after": after.sha, "visit": after.visit}
        return [EventDraft("lifted", payload, by, None, {"why": why})]

    library.say_after(decide)
    return {"deck": deck, "after": after.sha}


def lifts_now(library: Library, deck: str, visit: str | None = None) -> tuple[str, ...]:
    """Return for each lifting of a deck the condition that does not hold any more, empty where all hold.

    A lifting rests on a photo that was looked at and on nothing being at stop-use: both may have changed.
    What the machine suggests is left out, so that a report says the same whichever model stands.
    """
    lifts = queries.lifts(library, deck)
    if not lifts:
        return ()
    gathered = gather(library, deck, visit)
    earlier = tuple(replace(one, suggestions={}, promise={}) for one in gathered.earlier)
    evidence = replace(gathered, suggestions={}, promise={}, earlier=earlier)
    summary = assess_deck(evidence, rule_book_of(library), library.vocabulary())
    faults = [lift_fault(one, evidence, summary) for one in lifts]
    return tuple(one.condition if one is not None else "" for one in faults)


def lift_fault(
    one: Lift, evidence: DeckEvidence, summary: DeckSummary, warned: bool = True
) -> Refused | None:
    """Return why a stop-use is not lifted by an act, or null where it is; see the table of acts."""
    deck = one.deck
    photos = {photo.sha: photo for visit in evidence.visits() for photo in visit.photos}
    left = standing_at_stop_use(summary)
    if left:
        concern = left[0]
        photo = photos.get(concern.photos[0]) if concern.photos else None
        detail = f"'{concern.rule}' is still open at stop-use"
        words = {"deck": deck, "rule": concern.rule}
        return _refuse("lift", "nothing-at-stop-use", detail, photo, photos.values(), **words)
    person = summary.tier_by_person
    if person is not None and person.tier == STOP_USE:
        detail = f"{person.by} put the deck at stop-use"
        refused = _refuse("lift", "nothing-at-stop-use", detail, None, deck=deck)
        refused.hint = f"{person.by} sets another tier first: deck-triage tier set {deck} TIER --why TEXT"
        return refused
    closed = [c for c in summary.concerns if not c.is_open and c.tier == STOP_USE]
    if not warned and not closed:
        return _refuse("lift", "stop-use-on-record", f"Deck {deck} was never at stop-use", None, deck=deck)
    return _lift_photo_fault(one, evidence, closed)


def _lift_photo_fault(one: Lift, evidence: DeckEvidence, closed: Sequence[Concern]) -> Refused | None:
    visits, deck = evidence.visits(), one.deck
    photos = {photo.sha: (n, photo) for n, visit in enumerate(visits) for photo in visit.photos}
    if one.after not in photos:
        return _refuse(
            "lift", "photo-of-the-repair", f"The photo is no longer one of deck {deck}", None, deck=deck
        )
    number, photo = photos[one.after]
    among = [other for _, other in photos.values()]
    before = [photos[c.photos[0]][0] for c in closed if c.photos and c.photos[0] in photos]
    if number == 0 or before and number <= max(before):
        detail = "The photo is of the same visit as what was wrong, or of an earlier one"
        return _refuse("lift", "photo-of-the-repair", detail, photo, among, deck=deck)
    looked = looked_at_fault(one.after, visits[number].words)
    if looked is not None:
        return _refuse("lift", "photo-of-the-repair", looked, photo, among, deck=deck)
    if "lift" in evidence.second_person:
        said = {
            label.by
            for (sha, _), word in visits[number].words.items()
            for label in word.labels
            if sha == one.after
        }
        if not said - {one.by}:
            return _refuse("lift", "second-person", f"Only {one.by} has looked at the photo", photo, among)
    return None


def standing_at_stop_use(summary: DeckSummary) -> list[Concern]:
    """Return the open concerns at stop-use, the machine's suggestions among them."""
    return [one for one in summary.concerns if one.is_open and one.tier == STOP_USE]


def _ever_stop_use(library: Library, deck: str) -> bool:
    return any(
        event.payload["tier"] == STOP_USE for event in queries.statements(library, "tier", deck)
    ) or any(one.tier == STOP_USE for one in queries.findings(library, deck))


# ---- a person's own tier ---------------------------------------------------------------------------------


def set_tier(
    library: Library, deck: str, tier: str, *, why: str, by: str, visit: str | None = None
) -> dict[str, Any]:
    """Record a person's own tier for a deck; lists show the worse of it and the computed one.

    Raises Refused where it is milder than the tier that somebody else set, WrongUsage without a reason.
    """
    if not why.strip():
        raise WrongUsage("A tier needs a reason.", "Say it with --why TEXT.")
    known_deck(library, deck)
    check_tier(tier)

    def decide(_connection: Any) -> list[EventDraft]:
        stands = queries.person_tier(library, deck)
        if stands is not None and tier_rank(stands.tier) < tier_rank(tier) and stands.by != by:
            evidence = gather(library, deck)
            looked = (evidence.visit or "") > (stands.visit or "") and evidence.photos
            if not looked or unreviewed([evidence], library.vocabulary()):
                detail = f"{stands.by} set '{stands.tier}', and '{tier}' is milder"
                raise _refuse("tier", "own-tier", detail, None, deck=deck, other=stands.by)
        payload = {"deck": deck, "tier": tier, "visit": visit or queries.latest_visit(library, deck)}
        return [EventDraft("tier", payload, by, None, {"why": why})]

    library.say_after(decide)
    return {"deck": deck, "tier": tier}


# ---- what they share -------------------------------------------------------------------------------------


def _assessed(library: Library, deck: str) -> tuple[DeckEvidence, DeckSummary]:
    evidence = gather(library, deck)
    return evidence, assess_deck(evidence, rule_book_of(library), library.vocabulary())


def _refuse(
    act: str, condition: str, detail: str, photo: Photo | None, among: Iterable[Photo] = (), **words: str
) -> Refused:
    """Refuse an act; `among` are the photos that the one in the way must not be mistaken for."""
    named = distinct_names([photo, *among]) if photo else {}
    return Refused(act, condition, detail, named[photo.sha] if photo else None, **words)
