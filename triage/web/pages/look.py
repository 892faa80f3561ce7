"""Answering a deck element by element: parts marked on the contact sheet, then photos looked at closely."""

from __future__ import annotations

from typing import Any

from starlette.responses import JSONResponse, Response

from triage.assess.coverage import needed
from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput, WrongUsage
from triage.label.rows import Where, give_many, known_tag
from triage.library.records import Photo, Word
from triage.report.phrases import tag_words
from triage.report.text import count_of
from triage.web.items import answers_by_photo, tags_json
from triage.web.pages.deck import panel_words
from triage.web.pages.photo import boxes, count, text
from triage.web.render import render
from triage.web.request_context import NotThere, RequestContext
from triage.web.told import VALUE_WORDS

_MOST_PHOTOS = 5_000
Answers = dict[str, dict[str, Word]]


def closely(ask: RequestContext) -> Response:
    """Show the photos of a deck large, to be looked at for one tag: those that show its part first."""
    deck = ask.deck()
    vocabulary = ask.library.vocabulary()
    tag = vocabulary.tags[known_tag(vocabulary, ask.query.get("tag", ""))]
    photos = ask.library.photos(deck)
    answers = answers_by_photo(ask.library.words(deck))
    shows = SHOWS + (tag.element or "")
    showing = [one for one in photos if _value(answers, one, shows) in ("present", "unclear")]
    others = [one for one in photos if one not in showing]
    return ask.site.show(
        "closely.html",
        ask,
        here="closely",
        deck_name=deck,
        tag=tag,
        groups=[showing, others],
        mine=_mine(ask, photos, tag.tag),
        words=tag_words(tag.tag),
        meaning=tags_json(vocabulary)[tag.tag],
        part=tag_words(tag.element or "part"),
        steps=steps(ask, photos, answers),
        marked=any(one is not None for photo in photos for one in [answers.get(photo.sha, {}).get(shows)]),
    )


def _value(answers: Answers, photo: Photo, tag: str) -> str | None:
    word = answers.get(photo.sha, {}).get(tag)
    return word.value if word else None


def _mine(ask: RequestContext, photos: list[Photo], tag: str) -> dict[str, dict[str, Any]]:
    """Return what this person said before, so that looking again starts from it."""
    shas = {photo.sha for photo in photos}
    return {
        label.photo: {"value": label.value, "boxes": [list(box) for box in label.boxes]}
        for label in ask.library.labels(deck=photos[0].deck if photos else None, tag=tag)
        if label.by == ask.session.by and label.photo in shas
    }


def steps(ask: RequestContext, photos: list[Photo], answers: Answers) -> list[dict[str, Any]]:
    """Return the core tags along the load path, with how many questions are open on these photos.

    'Cannot tell' is an answer: nobody is led back to it, though the deck still counts it as unreviewed.
    """
    vocabulary = ask.library.vocabulary()
    path = {element: place for place, element in enumerate(vocabulary.elements)}
    along = sorted(vocabulary.core, key=lambda tag: path.get(vocabulary.tags[tag].element or "", len(path)))
    return [
        {
            "tag": tag,
            "words": tag_words(tag),
            "part": tag_words(vocabulary.tags[tag].element or ""),
            "showing": sum(
                1
                for photo in photos
                if _value(answers, photo, SHOWS + (vocabulary.tags[tag].element or ""))
                in ("present", "unclear")
            ),
            "open": sum(1 for photo in photos if _value(answers, photo, tag) is None),
            "unclear": sum(1 for photo in photos if _value(answers, photo, tag) == "unclear"),
        }
        for tag in along
    ]


def parts(ask: RequestContext) -> Response:
    """Note that some photos show a part, show it poorly or do not show it: one act."""
    deck = ask.deck()
    element = text(ask.data, "element")
    value = text(ask.data, "value")
    chosen = _photos(ask, deck, ask.data.get("photos"))
    where = Where((), text(ask.data, "place", 200) or None, count(ask.data.get("count")))
    give_many(
        ask.library,
        [(photo, {SHOWS + element: value}) for photo in chosen],
        by=ask.by,
        asked_by="deck",
        place=where.place if value != "absent" else None,
        count=where.count if value != "absent" else None,
    )
    does = {"present": "show", "unclear": "show poorly", "absent": "do not show"}[value]
    if len(chosen) == 1:
        does = {"present": "shows", "unclear": "shows poorly", "absent": "does not show"}[value]
    return _after(ask, deck, f"{count_of(len(chosen), 'photo')} {does} the {tag_words(element)}.")


def rest(ask: RequestContext) -> Response:
    """Note that every part that is not marked does not show: the person looked at all photos of the deck."""
    deck = ask.deck()
    photos = ask.library.photos(deck)
    if _photos(ask, deck, ask.data.get("photos")) != photos:
        raise BadInput(
            "The deck's photos changed meanwhile.", "Load the page again and look at the new ones."
        )
    answers = answers_by_photo(ask.library.words(deck))
    wanted = [SHOWS + element for element in elements_asked(ask, deck, answers)]
    unsaid = [
        (photo, dict.fromkeys([tag for tag in wanted if tag not in answers.get(photo.sha, {})], "absent"))
        for photo in photos
    ]
    given = give_many(ask.library, [one for one in unsaid if one[1]], by=ask.by, asked_by="deck")
    return _after(ask, deck, f"Looked at all {len(photos)}: {count_of(len(given), 'answer')} noted.")


def elements_asked(ask: RequestContext, deck: str, answers: Answers) -> list[str]:
    """Return the parts that this deck must be seen to have, those of the core tags, and those marked."""
    vocabulary = ask.library.vocabulary()
    facts = {key: fact.value for key, fact in ask.library.facts(deck).items()}
    wanted = {need.element for need in needed(facts)}
    wanted |= {vocabulary.tags[tag].element or "" for tag in vocabulary.core}
    wanted |= {
        tag.removeprefix(SHOWS) for words in answers.values() for tag in words if tag.startswith(SHOWS)
    }
    return [element for element in vocabulary.elements if element in wanted]


def _after(ask: RequestContext, deck: str, told: str) -> Response:
    words = panel_words(ask, deck)
    captions = {
        photo.sha: render(
            "caption.html", ask=ask, photo=photo, mark=words["marks"][photo.sha], core=words["core"]
        )
        for _, photos in words["groups"]
        for photo in photos
    }
    panel = render("panel.html", ask=ask, deck_name=deck, **words)
    return JSONResponse({"told": told, "panel": panel, "captions": captions, "deck": deck})


def looked(ask: RequestContext) -> Response:
    """Take the answers of one close look at several photos, each one looked at: one act."""
    deck = ask.deck()
    library = ask.library
    tag = known_tag(library.vocabulary(), text(ask.data, "tag"))
    rows = ask.data.get("answers")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise BadInput("No photo was looked at.", "Look at the photos first.")
    chosen = _photos(ask, deck, [row.get("photo") for row in rows])
    given = {row["photo"]: row for row in rows}
    values = {photo.sha: text(given[photo.sha], "value") for photo in chosen}
    where = {(photo.sha, tag): Where(tuple(boxes(given[photo.sha].get("boxes")))) for photo in chosen}
    if any(place.boxes and values[sha] != "present" for (sha, _), place in where.items()):
        raise WrongUsage("A marked place goes with 'yes' only.", "Load the page again.")
    give_many(
        library,
        [(photo, {tag: values[photo.sha]}) for photo in chosen],
        by=ask.by,
        where_of=where,
        asked_by="deck",
    )
    words = library.words(deck, tag)
    disputes = [photo for photo in chosen if (word := words.get((photo.sha, tag))) and word.disputed]
    counts = [(value, sum(1 for one in values.values() if one == value)) for value in VALUE_WORDS]
    told = ", ".join(f"{number} {VALUE_WORDS[value]}" for value, number in counts if number)
    more = (
        f" On {count_of(len(disputes), 'photo')} people disagree now; both words are kept."
        if disputes
        else ""
    )
    photos = library.photos(deck)
    left = steps(ask, photos, answers_by_photo(library.words(deck)))
    following = next((step for step in left if step["open"] and step["tag"] != tag), None)
    here = next(step for step in left if step["tag"] == tag)
    return JSONResponse(
        {
            "told": f"Looked at {len(chosen)}: {told}.{more}",
            "open": here["open"],
            "next": ask.url("look", d=deck, tag=following["tag"])
            if following
            else ask.url("deck/summary", d=deck),
            "next_words": f"Next: {following['words']}"
            if following
            else "This deck is answered: its summary",
            "deck": deck,
        }
    )


def _photos(ask: RequestContext, deck: str, shas: Any) -> list[Photo]:
    """Return photos of a deck by their hashes, in its order. Raises NotThere for one that is not of it."""
    if not isinstance(shas, list) or not 0 < len(shas) <= _MOST_PHOTOS:
        raise BadInput("No photos were chosen.", "Choose some photos first.")
    wanted = {sha for sha in shas if isinstance(sha, str)}
    found = [photo for photo in ask.library.photos(deck) if photo.sha in wanted]
    if len(found) != len(wanted) or len(wanted) != len(shas):
        raise NotThere("Some of these photos are not at this deck any more.", "Load the page again.")
    return found
