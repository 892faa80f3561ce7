"""The panel beside a deck's contact sheet: its parts, the marks under the photos, the steps still open."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection
from typing import Any

from triage.assess.parts_asked import parts_asked
from triage.domain.seeing import PART_PX
from triage.domain.vocabulary import SHOWS
from triage.library import queries
from triage.library.counts import part_rows
from triage.library.records import Photo, Word
from triage.report.phrases import tag_words
from triage.web.items import answers_by_photo
from triage.web.request_context import RequestContext
from triage.web.settings import more_steps

_SET_ROWS = 6_000
_SETS = 24
Answers = dict[str, dict[str, Word]]


def panel_words(ask: RequestContext, deck: str) -> dict[str, Any]:
    """Return what the contact sheet and its panel show."""
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


def steps(ask: RequestContext, photos: list[Photo], answers: Answers) -> list[dict[str, Any]]:
    """Return the core tags and the firm's further steps, along the load path, with their open questions.

    'Cannot tell' is an answer: nobody is led back to it, though the deck still counts it as unreviewed.
    """
    vocabulary = ask.library.vocabulary()
    asked = [*vocabulary.core, *more_steps(ask.library)]
    along = sorted(asked, key=lambda tag: vocabulary.place_of(vocabulary.tags[tag].element))
    return [
        {
            "tag": tag,
            "words": tag_words(tag),
            "part": tag_words(vocabulary.tags[tag].element or ""),
            "showing": sum(
                1
                for photo in photos
                if value_of(answers, photo, SHOWS + (vocabulary.tags[tag].element or ""))
                in ("present", "unclear")
            ),
            "open": sum(1 for photo in photos if value_of(answers, photo, tag) is None),
            "unclear": sum(1 for photo in photos if value_of(answers, photo, tag) == "unclear"),
        }
        for tag in along
    ]


def value_of(answers: Answers, photo: Photo, tag: str) -> str | None:
    """Return the answer that counts for a photo and tag, if there is one."""
    word = answers.get(photo.sha, {}).get(tag)
    return word.value if word else None


def part_sets(ask: RequestContext, asked: Collection[str]) -> list[dict[str, Any]]:
    """Return the sets of parts that photos of this library were said to show, the most frequent first.

    Most photos of a walk show what the same photo of another deck showed: a set is one click.
    """
    tags = {SHOWS + element for element in asked}
    by_photo: dict[str, dict[str, str]] = {}
    for photo, tag, value in part_rows(ask.library, tags, _SET_ROWS):
        by_photo.setdefault(photo, {})[tag.removeprefix(SHOWS)] = value
    order = list(asked)
    counts = Counter(
        tuple(sorted(parts.items(), key=lambda pair: order.index(pair[0])))
        for parts in by_photo.values()
        if len(parts) > 1
    )
    return [
        {"parts": dict(parts), "words": _set_words(dict(parts))} for parts, _ in counts.most_common(_SETS)
    ]


def _set_words(parts: dict[str, str]) -> str:
    poor = " (poorly)"
    return ", ".join(
        tag_words(element) + (poor if value == "unclear" else "") for element, value in parts.items()
    )


def elements_asked(ask: RequestContext, deck: str, answers: Answers) -> list[str]:
    """Return the parts that this deck must be seen to have, those of the core tags, and those marked."""
    facts = {key: fact.value for key, fact in queries.facts(ask.library, deck).items()}
    said = {tag for words in answers.values() for tag in words}
    return parts_asked(ask.library.vocabulary(), facts, said)
