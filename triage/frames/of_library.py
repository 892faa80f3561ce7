"""A library's tables as DataFrames.

Names of people and free text stand here as they stand in the library.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from triage.frames import columns as table
from triage.frames import rows
from triage.frames.typed import typed_frame
from triage.library import queries

if TYPE_CHECKING:
    import pandas as pd

    from triage.assess.records import DeckSummary
    from triage.library import Library
    from triage.library.records import Fact


def photos(library: Library) -> pd.DataFrame:
    """Return one row per photo, by deck, visit, time and name.

    Columns
    -------
    photo : string
        SHA-256 of the original file; the key of all tables.
    deck : string
        The deck it shows.
    visit : string, ISO 8601 date
        The visit; empty where no date is known.
    name : string
        File name below the deck's folder.
    taken_at : datetime64[us, UTC], UTC
        The camera's time, with a zone only where the camera gave one; missing where the zone is not
        known.
    taken_at_local : datetime64[us]
        The same time as the clock read it.
    width : Int64, pixels
        Width of the upright photo.
    height : Int64, pixels
        Height of the upright photo.
    camera : string
        Model of the camera; never its serial number.
    """
    return typed_frame(table.PHOTOS, rows.photo_rows(queries.photos(library)))


def labels(library: Library) -> pd.DataFrame:
    """Return one row per photo, tag and person: each person's latest answer.

    Columns
    -------
    photo : string
        SHA-256 of the original file.
    deck : string
        The photo's deck.
    tag : string
        The tag that was asked about, see tags.
    value : string
        Present, absent or unclear.
    by : string
        Who recorded it, or a pseudonym.
    at : datetime64[us, UTC], UTC
        When it was recorded; missing where the zone is not known.
    at_local : datetime64[us]
        The same time as the clock read it.
    box : string, fractions of the upright photo
        X,y,width,height, several joined by ';'; zero size is a point.
    place : string
        Where on the deck, in a person's words.
    count : Int64
        How many of them.
    asked_by : string
        How the photo came to be asked about (deck, taken, random, second-look, audit: the machine
        did not choose it).
    saw_machine : boolean
        Whether the person had seen the machine's suggestion.
    note : string
        Anything else; left out with pseudonyms.
    """
    return typed_frame(table.LABELS, rows.label_rows(queries.labels(library), decks_of(library)))


def words(library: Library) -> pd.DataFrame:
    """Return one row per photo and tag that somebody answered: the labels combined.

    Columns
    -------
    photo : string
        SHA-256 of the original file.
    tag : string
        The tag that was asked about.
    value : string
        All labels combined; the worse one while people disagree.
    disputed : boolean
        People said present and absent, and nobody settled it.
    settled : boolean
        A named person settled the dispute.
    people : Int64
        How many people answered.
    """
    return typed_frame(table.WORDS, rows.word_rows(queries.words(library)))


def suggestions(library: Library) -> pd.DataFrame:
    """Return one row per photo and tag that the present model judged; none without a model.

    Columns
    -------
    photo : string
        SHA-256 of the original file.
    deck : string
        The photo's deck.
    tag : string
        The tag that the machine judged.
    model : string
        SHA-256 of the model.
    score : Float64
        The classifier's raw score; orders photos of one tag and model.
    probability : Float64, 0 to 1
        The calibrated probability that the photo shows it.
    pile : string
        Likely, unsure or unlikely.
    promise : string
        Holds, too-few or withdrawn: unless it holds, 'unlikely' answers nothing and a person must
        look.
    box : string, fractions of the upright photo
        Where in the photo: x,y,width,height, several joined by ';'.
    """
    given = queries.suggestions(library).values()
    return typed_frame(
        table.SUGGESTIONS, rows.suggestion_rows(given, decks_of(library), promises_of(library))
    )


def facts(library: Library) -> pd.DataFrame:
    """Return one row per deck, visit and key: the latest value recorded for that visit.

    Columns
    -------
    deck : string
        The deck.
    visit : string, ISO 8601 date
        The visit; empty where no date is known.
    key : string
        Name of the fact, see `deck-triage facts keys`.
    value : string
        The value as a facts file holds it; 'unknown' was recorded as unknown.
    number : Float64, see the column unit
        The value as a number where it is one.
    unit : string
        Unit of the number.
    text : string
        The value where it is free text.
    by : string
        Who recorded it, or a pseudonym.
    at : datetime64[us, UTC], UTC
        When it was recorded; missing where the zone is not known.
    at_local : datetime64[us]
        The same time as the clock read it.
    photos : string
        Photos that show it, by SHA-256, joined by ';'.
    """
    return typed_frame(table.FACTS, rows.fact_rows(facts_of(library)))


def decks(library: Library, summaries: Sequence[DeckSummary] | None = None) -> pd.DataFrame:
    """Return one row per deck with its tiers, worst first; assesses the library unless `summaries` is given.

    Columns
    -------
    deck : string
        The deck, worst first.
    visit : string, ISO 8601 date
        The latest visit; empty where no date is known.
    photos : Int64
        Photos of all visits.
    tier : string
        Stop-use, repair-before-use, repair-this-season, watch or nothing-seen, from people, facts
        and checks; empty means that not enough was seen or reviewed to say, never that the deck is
        fine.
    tier_shown : string
        The tier that lists show: a person's own where it is worse.
    tier_if_true : string
        The tier if every suggestion of the machine were true.
    tier_by_person : string
        A person's own tier.
    tier_by_person_by : string
        Who gave it, or a pseudonym.
    tier_by_person_at : datetime64[us, UTC], UTC
        When it was given; missing where the zone is not known.
    tier_by_person_at_local : datetime64[us]
        The same time as the clock read it.
    tier_by_person_why : string
        The reason given.
    gaps : string
        None, some or serious: what of the load path was not seen well.
    unreviewed : Int64
        Photo and tag pairs that nobody has answered yet.
    concerns : Int64
        Open concerns, see concerns.
    height_class : string
        Height above grade as a class; unknown counts as the worst.
    known : Float64
        What is known at the joints, added up; orders decks, not a probability.
    up_to : Float64
        What it could come to with all that is unseen or unanswered.
    """
    found = _assessed(library) if summaries is None else summaries
    return typed_frame(table.DECKS, rows.deck_rows(found, Counter(decks_of(library).values())))


def concerns(library: Library, summaries: Sequence[DeckSummary] | None = None) -> pd.DataFrame:
    """Return one row per concern, worst deck first; assesses the library unless `summaries` is given.

    Columns
    -------
    deck : string
        The deck.
    visit : string, ISO 8601 date
        The visit; empty where no date is known.
    rule : string
        The rule, check or finding that it comes from.
    tag : string
        The tag that it rests on, if any.
    kind : string
        Hazard, or departs-from-today (may have been allowed when built).
    standing : string
        Verified-on-site, seen-by-person, calculated, disputed or possible.
    status : string
        New, still-there, not-looked-at-again or repaired.
    tier : string
        How urgent it is by itself.
    severity : string
        How bad it is, whatever the height.
    element : string
        The part of the deck.
    place : string
        Where on the deck, in a person's words.
    count : Int64
        How many of them.
    concluded : string
        What the rule or check concluded; empty for a finding.
    finding : string
        What a person saw that no tag covers.
    call : string
        Whom to call: contractor or engineer.
    source : string
        Where the rule comes from.
    photos : string
        Photos by SHA-256, best evidence first, joined by ';'.
    """
    found = _assessed(library) if summaries is None else summaries
    return typed_frame(table.CONCERNS, rows.concern_rows(found))


def coverage(library: Library, summaries: Sequence[DeckSummary] | None = None) -> pd.DataFrame:
    """Return one row per deck and element of the load path; assesses the library unless `summaries` is given.

    Columns
    -------
    deck : string
        The deck.
    visit : string, ISO 8601 date
        The visit; empty where no date is known.
    element : string
        The part of the load path.
    seen : string
        Well, poorly, not-seen or concealed.
    count : Int64
        How many were seen, where they can be counted.
    of : Int64
        Of how many.
    why : string
        Why it counts as seen that far.
    photos : string
        Photos by SHA-256, joined by ';'.
    """
    found = _assessed(library) if summaries is None else summaries
    return typed_frame(table.COVERAGE, rows.coverage_rows(found))


def decks_of(library: Library) -> dict[str, str]:
    """Return the deck of each photo (by SHA-256)."""
    return {photo.sha: photo.deck for photo in queries.photos(library)}


def facts_of(library: Library) -> list[Fact]:
    """Return every fact in force, by deck and visit."""
    return [
        fact
        for deck in queries.decks(library)
        for visit in queries.visits(library, deck)
        for fact in queries.facts(library, deck, visit).values()
        if fact.visit == visit
    ]


def promises_of(library: Library) -> dict[str, str]:
    """Return how the present model's promise stands for each tag; none without a model."""
    from triage.assess.evidence import promise_words

    return promise_words(library)


def _assessed(library: Library) -> list[DeckSummary]:
    from triage.assess.evidence import assess_library

    return assess_library(library)
