"""One deck: its contact sheet, its summary, its history."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from starlette.responses import JSONResponse, Response

from triage.assess.status import next_open_deck
from triage.domain.vocabulary import SHOWS
from triage.library import queries
from triage.library.records import Photo, Word
from triage.report.gather import deck_record
from triage.report.phrases import tag_words
from triage.report.sayings import sayings
from triage.web.items import answers_by_photo
from triage.web.request_context import RequestContext
from triage.web.told import standing_json


def sheet(ask: RequestContext) -> Response:
    """Show the contact sheet, the first screen of a deck."""
    deck = ask.deck()
    return ask.site.show("sheet.html", ask, here="photos", deck_name=deck, **panel_words(ask, deck))


def panel_words(ask: RequestContext, deck: str) -> dict[str, Any]:
    """Return what the contact sheet and its panel show."""
    from triage.domain.seeing import PART_PX
    from triage.web.pages.look import elements_asked, part_sets, steps

    library = ask.library
    photos = queries.photos(library, deck)
    answers = answers_by_photo(queries.words(library, deck))
    vocabulary = library.vocabulary()
    asked = elements_asked(ask, deck, answers)
    rows = elements_of(ask, photos, answers)
    return {
        "groups": _groups(photos),
        "photo_count": len(photos),
        "proposed": any(tag.startswith(SHOWS) for _, tag in queries.suggestions(library, deck=deck)),
        "least": PART_PX,
        "sets": part_sets(ask, asked),
        "marks": {photo.sha: marks_of(answers.get(photo.sha, {}), vocabulary.core) for photo in photos},
        "core": vocabulary.core,
        "one": ask.site.standing(ask.name).of(deck),
        "asked": [row for row in rows if row["element"] in asked],
        "unasked": [row for row in rows if row["element"] not in asked],
        "steps": steps(ask, photos, answers),
        "unmarked": sum(row["unanswered"] for row in rows if row["element"] in asked),
    }


def _groups(photos: list[Photo]) -> list[tuple[str | None, list[Photo]]]:
    groups: dict[str | None, list[Photo]] = defaultdict(list)
    for photo in photos:
        groups[photo.visit].append(photo)
    return list(groups.items())


def marks_of(answers: dict[str, Word], core: tuple[str, ...]) -> dict[str, Any]:
    """Return what stands under a thumbnail: defects seen, how many core questions are answered, disputes."""
    return {
        "seen": [
            tag_words(tag)
            for tag, word in answers.items()
            if word.value == "present" and not tag.startswith(SHOWS)
        ],
        "shows": [
            tag.removeprefix(SHOWS)
            for tag, word in answers.items()
            if tag.startswith(SHOWS) and word.value != "absent"
        ],
        "answered": sum(1 for tag in core if tag in answers and answers[tag].value != "unclear"),
        "unclear": sum(1 for tag in core if tag in answers and answers[tag].value == "unclear"),
        "disputed": any(word.disputed for word in answers.values()),
    }


def elements_of(
    ask: RequestContext, photos: list[Photo], answers: dict[str, dict[str, Word]]
) -> list[dict[str, Any]]:
    """Return the elements along the load path with how far each is marked on this deck."""
    rows = []
    for element in ask.library.vocabulary().elements:
        words = [answers.get(photo.sha, {}).get(SHOWS + element) for photo in photos]
        rows.append(
            {
                "element": element,
                "words": tag_words(element),
                "shown": sum(1 for word in words if word and word.value == "present"),
                "poorly": sum(1 for word in words if word and word.value == "unclear"),
                "unanswered": sum(1 for word in words if word is None),
            }
        )
    return rows


def summary(ask: RequestContext) -> Response:
    """Show concerns with their evidence, coverage, what to go back for, and how the deck stands."""
    deck = ask.deck()
    one = ask.site.standing(ask.name).of(deck)
    photos = {photo.sha: photo for photo in queries.photos(ask.library, deck)}
    return ask.site.show(
        "summary.html",
        ask,
        here="summary",
        deck_name=deck,
        one=one,
        photos=photos,
        private=queries.deck_private(ask.library, deck),
        next_deck=next_open_deck(ask.library, deck),
    )


def history(ask: RequestContext) -> Response:
    """Show who said what and when."""
    deck = ask.deck()
    one = ask.site.standing(ask.name).of(deck)
    rows = sayings(deck_record(ask.library, deck, one.visit))
    return ask.site.show("history.html", ask, here="history", deck_name=deck, rows=rows[::-1], one=one)


def standing(ask: RequestContext) -> Response:
    """Return how a deck stands now, and what changed since it was last shown."""
    deck = ask.deck()
    kept = ask.site.standing(ask.name)
    before = kept.last(deck)
    return JSONResponse(standing_json(kept.of(deck), before))
