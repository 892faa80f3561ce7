"""Answering a deck element by element: parts marked on the contact sheet, then photos looked at closely."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import JSONResponse, Response

from triage.assess.status import next_open_deck
from triage.domain.seeing import DEFECT_PX
from triage.domain.vocabulary import SHOWS, Tag
from triage.errors import BadInput, WrongUsage
from triage.label.hanging import hangs_on
from triage.label.rows import Where, by_part, give_labels, known_tag
from triage.library import queries
from triage.library.records import Photo
from triage.report.phrases import tag_words
from triage.report.text import clean, count_of
from triage.web.items import answers_by_photo, tags_json
from triage.web.pages.panel import Answers, elements_asked, panel_words, steps, value_of
from triage.web.pages.photo import boxes, count, text
from triage.web.render import render
from triage.web.request_context import NotThere, RequestContext
from triage.web.told import VALUE_WORDS

_MOST_PHOTOS = 5_000


def closely(ask: RequestContext) -> Response:
    """Show the photos of a deck large, to be looked at for one tag: those that show its part first."""
    deck = ask.deck()
    vocabulary = ask.library.vocabulary()
    tag = vocabulary.tags[known_tag(vocabulary, ask.query.get("tag", ""))]
    photos = queries.photos(ask.library, deck)
    answers = answers_by_photo(queries.words(ask.library, deck))
    shows = SHOWS + (tag.element or "")
    groups = _groups(photos, answers, tag)
    looked, without = len(photos) - len(groups["without"]), len(groups["without"])
    return ask.site.show(
        "closely.html",
        ask,
        here="closely",
        deck_name=deck,
        tag=tag,
        groups=groups,
        least=DEFECT_PX,
        others=_others(ask, photos, tag.tag),
        looked_words=_looked_words(looked, without, tag_words(tag.element or "part")),
        vocabulary=vocabulary,
        mine=_mine(ask, photos, tag.tag),
        words=tag_words(tag.tag),
        meaning=tags_json(vocabulary, ask.library)[tag.tag],
        part=tag_words(tag.element or "part"),
        steps=steps(ask, photos, answers),
        marked=any(one is not None for photo in photos for one in [answers.get(photo.sha, {}).get(shows)]),
    )


def _groups(photos: list[Photo], answers: Answers, tag: Tag) -> dict[str, list[Photo]]:
    """Return the photos that show the tag's part, those nobody spoke of, and those said not to show it."""
    shows = SHOWS + (tag.element or "")
    without = [one for one in photos if hangs_on(answers.get(one.sha, {}), tag)]
    rest = [one for one in photos if one not in without]
    showing = [one for one in rest if value_of(answers, one, shows) in ("present", "unclear")]
    return {
        "showing": showing,
        "unsaid": [one for one in rest if one not in showing],
        "without": without,
    }


def _looked_words(looked: int, without: int, part: str) -> str:
    if not without:
        return f"Looked at all {looked}"
    if not looked:
        return f"No photo shows the {part}: answer “no” for {without}"
    do = "does" if without == 1 else "do"
    return f"Looked at {looked}; “no” for the {without} that {do} not show the {part}"


def _others(ask: RequestContext, photos: list[Photo], tag: str) -> dict[str, list[dict[str, Any]]]:
    """Return what other people answered, by photo: nobody answers after them without being told so."""
    found: dict[str, list[dict[str, Any]]] = {}
    for label in queries.labels(ask.library, deck=photos[0].deck if photos else None, tag=tag):
        if label.by != ask.speaker:
            found.setdefault(label.photo, []).append(
                {
                    "by": clean(label.by),
                    "words": VALUE_WORDS[label.value],
                    "boxes": [list(box) for box in label.boxes],
                    "place": clean(label.place or ""),
                }
            )
    return found


def _mine(ask: RequestContext, photos: list[Photo], tag: str) -> dict[str, dict[str, Any]]:
    """Return what this person said before, so that looking again starts from it."""
    shas = {photo.sha for photo in photos}
    return {
        label.photo: {"value": label.value, "boxes": [list(box) for box in label.boxes]}
        for label in queries.labels(ask.library, deck=photos[0].deck if photos else None, tag=tag)
        if label.by == ask.speaker and label.photo in shas
    }


def parts(ask: RequestContext) -> Response:
    """Note that some photos show a part, show it poorly or do not show it: one act."""
    deck = ask.deck()
    elements = _elements(ask)
    chosen = _photos(ask, deck, ask.data.get("photos"))
    where = Where((), text(ask.data, "place", 200) or None, count(ask.data.get("count")))
    give_labels(
        ask.library,
        [(photo, {SHOWS + element: value for element, value in elements.items()}) for photo in chosen],
        by=ask.by,
        asked_by="deck",
        place=where.place if "absent" not in elements.values() else None,
        count=where.count if "absent" not in elements.values() else None,
    )
    said = []
    for value, (one, several) in _DOES.items():
        parts = [tag_words(element) for element, given in elements.items() if given == value]
        if parts:
            said.append(f"{one if len(chosen) == 1 else several} the {listed(parts)}")
    return _after(ask, deck, f"{count_of(len(chosen), 'photo')} {', '.join(said)}.")


_DOES = {
    "present": ("shows", "show"),
    "unclear": ("shows poorly", "show poorly"),
    "absent": ("does not show", "do not show"),
}


def listed(words: list[str]) -> str:
    """Return words as a list is said aloud: 'a', 'a and b', 'a, b and c'."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _elements(ask: RequestContext) -> dict[str, str]:
    """Return which parts are said to show how: one, or a set of them. Raises BadInput."""
    given = ask.data.get("elements")
    if given is None:
        given = {text(ask.data, "element"): text(ask.data, "value")}
    if not isinstance(given, dict) or not given or any(one not in _DOES for one in given.values()):
        raise BadInput("A part shows, shows poorly or does not show.", "Load the page again.")
    return {str(element): str(value) for element, value in given.items()}


def rest(ask: RequestContext) -> Response:
    """Note that every part that is not marked does not show: the person looked at all photos of the deck."""
    deck = ask.deck()
    photos = queries.photos(ask.library, deck)
    if _photos(ask, deck, ask.data.get("photos")) != photos:
        raise BadInput(
            "The deck's photos changed meanwhile.", "Load the page again and look at the new ones."
        )
    answers = answers_by_photo(queries.words(ask.library, deck))
    wanted = [SHOWS + element for element in elements_asked(ask, deck, answers)]
    unsaid = [
        (photo, dict.fromkeys([tag for tag in wanted if tag not in answers.get(photo.sha, {})], "absent"))
        for photo in photos
    ]
    rows = [one for one in unsaid if one[1]]
    marked = {photo.sha: tags for photo, tags in rows}
    notes: dict[tuple[str, str], Where] = {}
    hanging = _hanging(ask, photos, answers, marked, notes) if ask.data.get("hanging") is True else []
    given = give_labels(ask.library, [*rows, *hanging], by=ask.by, where_of=notes, asked_by="deck")
    told = f"Looked at all {len(photos)}: {count_of(len(given) - len(notes), 'answer')} noted."
    if notes:
        told += f" {len(notes)} more answered “no”: what hangs on a part that does not show."
    return _after(ask, deck, told, on=True)


def _hanging(
    ask: RequestContext,
    photos: list[Photo],
    answers: Answers,
    marked: Mapping[str, Mapping[str, str]],
    notes: dict[tuple[str, str], Where],
) -> list[tuple[Photo, dict[str, str]]]:
    """Return the core tags that nobody answered on photos that do not show their part, as 'absent'.

    `marked` holds the parts said not to show in this act; the note of each answer goes into `notes`.
    """
    vocabulary = ask.library.vocabulary()
    found = []
    for photo in photos:
        said = answers.get(photo.sha, {})
        tags = [
            tag
            for tag in vocabulary.core
            if tag not in said
            and (
                hangs_on(said, vocabulary.tags[tag])
                or SHOWS + (vocabulary.tags[tag].element or "") in marked.get(photo.sha, {})
            )
            and vocabulary.tags[tag].element != "whole-deck"
        ]
        notes |= {(photo.sha, tag): by_part(vocabulary.tags[tag]) for tag in tags}
        if tags:
            found.append((photo, dict.fromkeys(tags, "absent")))
    return found


def _after(ask: RequestContext, deck: str, told: str, *, on: bool = False) -> Response:
    """Return the panel as it is now; `on` leads on to the first open step."""
    words = panel_words(ask, deck)
    following = next((step for step in words["steps"] if step["open"]), None) if on else None
    if following:
        ask.session.told = told
        where = ask.url("look", d=deck, tag=following["tag"])
        return JSONResponse({"told": told, "next": where, "deck": deck, "panel": "", "captions": {}})
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
    answers = answers_by_photo(queries.words(library, deck))
    kind = library.vocabulary().tags[tag]
    where = {}
    for photo in chosen:
        follows = _by_part(given[photo.sha], hangs_on(answers.get(photo.sha, {}), kind))
        place = Where(tuple(boxes(given[photo.sha].get("boxes"))))
        where[photo.sha, tag] = by_part(kind) if follows else place
    if any(place.boxes and values[sha] != "present" for (sha, _), place in where.items()):
        raise WrongUsage("A marked place goes with 'yes' only.", "Load the page again.")
    give_labels(
        library,
        [(photo, {tag: values[photo.sha]}) for photo in chosen],
        by=ask.by,
        where_of=where,
        asked_by="deck",
    )
    words = queries.words(library, deck, tag)
    disputes = [photo for photo in chosen if (word := words.get((photo.sha, tag))) and word.disputed]
    counts = [(value, sum(1 for one in values.values() if one == value)) for value in VALUE_WORDS]
    told = ", ".join(f"{number} {VALUE_WORDS[value]}" for value, number in counts if number)
    more = (
        f" On {count_of(len(disputes), 'photo')} people disagree now; both words are kept."
        if disputes
        else ""
    )
    photos = queries.photos(library, deck)
    left = steps(ask, photos, answers_by_photo(queries.words(library, deck)))
    following = next((step for step in left if step["open"] and step["tag"] != tag), None)
    still = sum(1 for photo in photos if (photo.sha, tag) not in words)
    return JSONResponse(
        {
            "told": f"Looked at {len(chosen)}: {told}.{more}",
            "stay": bool(disputes),
            "open": still,
            "deck": deck,
            **(_then(ask, deck) if following is None else _step(ask, deck, following)),
        }
    )


def _step(ask: RequestContext, deck: str, following: dict[str, Any]) -> dict[str, str]:
    where = ask.url("look", d=deck, tag=following["tag"])
    return {"next": where, "next_words": f"Next: {following['words']}"}


def _then(ask: RequestContext, deck: str) -> dict[str, str]:
    """Return where an answered deck leads: to the next open one, or to its summary where it asks for an act.

    A deck that must be closed is not passed over: its summary comes first.
    """
    one = ask.site.standing(ask.name).of(deck)
    after = None if one.shown_tier == "stop-use" else next_open_deck(ask.library, deck)
    if after is None:
        return {
            "next": ask.url("deck/summary", d=deck),
            "next_words": "This deck is answered: its summary",
        }
    return {
        "next": ask.url("deck", d=after, answered=deck),
        "next_words": "This deck is answered: on to the next",
    }


def _by_part(row: dict[str, Any], hangs: bool) -> bool:
    """Return whether an answer follows from the part alone. Raises BadInput where the part shows by now."""
    if row.get("by_part") is not True:
        return False
    if not hangs or text(row, "value") != "absent":
        raise BadInput(
            "What was said of the parts changed meanwhile.", "Load the page again and look at the photos."
        )
    return True


def _photos(ask: RequestContext, deck: str, shas: Any) -> list[Photo]:
    """Return photos of a deck by their hashes, in its order. Raises NotThere for one that is not of it."""
    if not isinstance(shas, list) or not 0 < len(shas) <= _MOST_PHOTOS:
        raise BadInput("No photos were chosen.", "Choose some photos first.")
    wanted = {sha for sha in shas if isinstance(sha, str)}
    found = [photo for photo in queries.photos(ask.library, deck) if photo.sha in wanted]
    if len(found) != len(wanted) or len(wanted) != len(shas):
        raise NotThere("Some of these photos are not at this deck any more.", "Load the page again.")
    return found
