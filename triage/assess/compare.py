"""Two visits of a deck side by side: what got better, what got worse, what nobody looked at again."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import gather_all, rule_book_of
from triage.assess.grown import RUST_GRADES, SeverityChange, grown_between
from triage.assess.places import place_key
from triage.assess.records import Concern, DeckSummary
from triage.assess.summary import assess_deck
from triage.domain.tiers import tier_rank
from triage.errors import BadInput
from triage.library import queries

if TYPE_CHECKING:
    from triage.library import Library

MEASURED_AGAIN = "Measured again at this visit: it no longer holds."
WITHDRAWN = "Nobody closed it: an answer or a fact behind it has changed since."


@dataclass(frozen=True)
class Compared:
    """One concern at both visits; `photos_before` and `photos_after` show the same place as a pair."""

    rule: str
    place: str | None
    status: str
    tier_before: str | None
    tier_after: str | None
    change: str
    photos_before: tuple[str, ...]
    photos_after: tuple[str, ...]
    concluded: str
    remark: str

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `compare --json` promises, and a few more."""
        return {
            "rule": self.rule,
            "place": self.place,
            "status": self.status,
            "tier_before": self.tier_before,
            "tier_after": self.tier_after,
            "change": self.change,
            "photos_before": list(self.photos_before),
            "photos_after": list(self.photos_after),
            "concluded": self.concluded,
            "remark": self.remark,
        }


@dataclass(frozen=True)
class Comparison:
    """A deck at two visits: a row for every concern of either, and what changed in degree at one place."""

    deck: str
    visits: tuple[str | None, str | None]
    """Oldest first; `tiers` are as every list shows them, a person's own where it is worse."""
    tiers: tuple[str | None, str | None]
    gaps: tuple[str, str]
    concerns: tuple[Compared, ...]
    grown: tuple[SeverityChange, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `compare --json` promises, and a few more."""
        return {
            "deck": self.deck,
            "visits": list(self.visits),
            "tiers": list(self.tiers),
            "gaps": list(self.gaps),
            "concerns": [one.to_json() for one in self.concerns],
            "grown": [one.to_json() for one in self.grown],
        }


def compare(lib: Library, deck: str, visit_a: str | None = None, visit_b: str | None = None) -> Comparison:
    """Return a deck's concerns at two visits, the last two where none are named, in the order of their dates.

    Raises BadInput for an unknown deck or visit, or where there are no two visits.
    """
    if deck not in queries.decks(lib):
        raise BadInput(
            f"There is no deck '{deck}' in this library.", "List the decks with: deck-triage decks"
        )
    earlier, later = _two(queries.visits(lib, deck), deck, visit_a, visit_b)
    book, vocabulary = rule_book_of(lib), lib.vocabulary()
    summaries = [
        assess_deck(gather_all(lib, [deck], visit or "")[0], book, vocabulary) for visit in (earlier, later)
    ]
    photos = {photo.sha: photo.visit or "" for photo in queries.photos(lib, deck)}
    told = {key for key, fact in queries.facts(lib, deck, later).items() if fact.visit == later}
    found = compare_summaries(summaries[0], summaries[1], photos, told)
    return replace(found, grown=grown_between(lib, deck, earlier, later))


def _two(
    visits: Sequence[str | None], deck: str, visit_a: str | None, visit_b: str | None
) -> tuple[str | None, str | None]:
    known = ", ".join(visit or "(no date)" for visit in visits)
    if len(visits) < 2:
        raise BadInput(
            f"Deck {deck} has only one visit ({known or 'none'}).",
            "Ingest photos from a second visit first.",
        )
    if visit_a is None and visit_b is None:
        return visits[-2], visits[-1]
    for visit in (visit_a, visit_b):
        if visit is not None and visit not in visits:
            raise BadInput(f"Deck '{deck}' has no visit {visit}.", f"Its visits: {known}.")
    wanted = sorted((visit_a or "", visit_b or ""))
    if wanted[0] == wanted[1]:
        raise BadInput("Both visits are the same.", f"Its visits: {known}.")
    return wanted[0] or None, wanted[1]


def compare_summaries(
    before: DeckSummary,
    after: DeckSummary,
    visit_of: dict[str, str],
    told: Collection[str] | None = None,
) -> Comparison:
    """Return two summaries of a deck side by side; `visit_of` gives the visit of each photo.

    `told` are the facts that were measured at the later visit, all where it is not known.
    """
    rows: list[Compared] = []
    old = [concern for concern in before.concerns if concern.is_open]
    for concern in (one for one in after.concerns if not _overtaken(one, after.concerns)):
        match = _match(concern, old)
        if match is not None:
            old.remove(match)
        if concern.is_open or match is not None:
            rows.append(_row(match, concern, visit_of, since=before.visit))
    rows += [_gone(concern, told) for concern in old if not _spoken_for(concern, after.concerns)]
    rows.sort(key=lambda row: (tier_rank(row.tier_after or row.tier_before), row.rule, place_key(row.place)))
    return Comparison(
        deck=after.deck,
        visits=(before.visit, after.visit),
        tiers=(before.shown_tier, after.shown_tier),
        gaps=(before.gaps, after.gaps),
        concerns=tuple(rows),
    )


def _match(concern: Concern, old: Sequence[Concern]) -> Concern | None:
    """Return the earlier concern of the same rule and place, else of the same tag or a rust grade there."""
    here = [one for one in old if place_key(one.place) == place_key(concern.place)]
    same_rule = [one for one in here if one.rule == concern.rule]
    same_tag = [one for one in here if one.tag is not None and one.tag == concern.tag]
    same_rust = [one for one in here if {one.tag, concern.tag} <= set(RUST_GRADES)] if concern.place else []
    return next(iter(same_rule + same_tag + same_rust), None)


def _overtaken(concern: Concern, later: Sequence[Concern]) -> bool:
    """Return whether an old grade of rust remains only because a new photo shows another grade there."""
    return (
        concern.tag in RUST_GRADES
        and concern.status == "not-looked-at-again"
        and bool(concern.place)
        and any(
            one.tag in RUST_GRADES
            and one.status == "new"
            and place_key(one.place) == place_key(concern.place)
            for one in later
        )
    )


def _spoken_for(concern: Concern, later: Sequence[Concern]) -> bool:
    """Return whether another rule now speaks for the same tag at the same place."""
    return any(
        concern.tag is not None
        and (one.tag == concern.tag or (bool(concern.place) and {one.tag, concern.tag} <= set(RUST_GRADES)))
        and place_key(one.place) == place_key(concern.place)
        for one in later
    )


def _row(match: Concern | None, concern: Concern, visit_of: dict[str, str], since: str | None) -> Compared:
    status = concern.status
    if concern.is_open and match is None:
        status = "new"
    elif concern.is_open and status == "new":
        status = "still-there"
    after = tuple(photo for photo in concern.photos if visit_of.get(photo, "") > (since or ""))
    return Compared(
        rule=concern.rule,
        place=concern.place,
        status=status,
        tier_before=match.tier if match else None,
        tier_after=concern.tier if concern.is_open else None,
        change=_change(match, concern),
        photos_before=match.photos if match else (),
        photos_after=after,
        concluded=concern.concluded,
        remark=concern.remark,
    )


def _change(match: Concern | None, concern: Concern) -> str:
    if not concern.is_open:
        return "better"
    if match is None or tier_rank(concern.tier) < tier_rank(match.tier):
        return "worse"
    if concern.status == "not-looked-at-again":
        return "not looked at again"
    if concern.status == "looked-at-again":
        return "awaiting your look"
    return "better" if tier_rank(concern.tier) > tier_rank(match.tier) else "the same"


def _gone(concern: Concern, told: Collection[str] | None) -> Compared:
    """Return the row of a concern that is open no more and that nobody closed."""
    rests = set(concern.facts)
    measured = concern.count is None and bool(rests) and (told is None or bool(rests & set(told)))
    return Compared(
        rule=concern.rule,
        place=concern.place,
        status="repaired" if measured else "withdrawn",
        tier_before=concern.tier,
        tier_after=None,
        change="better" if measured else "withdrawn",
        photos_before=concern.photos,
        photos_after=(),
        concluded=concern.concluded,
        remark=MEASURED_AGAIN if measured else WITHDRAWN,
    )
