"""One photo as the browser gets it: where it is, what was said of it, and what the machine says of it."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from triage.assess.view import QUALITY_FLAGS
from triage.domain.vocabulary import SHOWS
from triage.library import queries
from triage.report.phrases import tag_words
from triage.report.text import clean, clock, moment
from triage.web.examples import NO_PICTURE, examples_of
from triage.web.request_context import url

if TYPE_CHECKING:
    from triage.domain.vocabulary import Tag, Vocabulary
    from triage.library import Library
    from triage.library.records import Box, Label, Photo, Suggestion, Word

HIDDEN_ONE_IN = 5
"""In one of so many questions the machine's word is kept back until the person has decided."""


def is_hidden(sha: str, tag: str, model: str | None) -> bool:
    """Say whether the machine's word on a question is kept back: a fixed sample, the same for everybody."""
    digest = hashlib.sha256(f"{sha}|{tag}|{model or ''}".encode()).digest()
    return digest[0] % HIDDEN_ONE_IN == 0


def describe(name: str, library: Library, photo: Photo, by: str, tag: str = "") -> dict[str, Any]:
    """Return everything that the photo's page shows, as plain data; `tag` is shown in any case."""
    vocabulary = library.vocabulary()
    words, machine = said_of(library, photo.sha)
    return {
        "sha": photo.sha,
        "deck": photo.deck,
        "deck_words": clean(photo.deck),
        "name": clean(photo.name),
        "visit": photo.visit,
        "asked": tag,
        "clock": clock(photo.taken_at),
        "width": photo.width,
        "height": photo.height,
        "flags": [flag for flag in QUALITY_FLAGS if photo.quality.get(flag)],
        "burst": photo.burst is not None,
        "picture": url(name, f"picture/{photo.sha}"),
        "full": url(name, f"full/{photo.sha}"),
        "page": url(name, f"photo/{photo.sha}"),
        "questions": questions_of(
            vocabulary,
            words,
            machine,
            by,
            queries.model_in_use(library),
            tag,
            coarse_tags(library, queries.model_in_use(library)),
        ),
    }


_coarse: dict[str, frozenset[str]] = {}


def coarse_tags(library: Library, model: str | None) -> frozenset[str]:
    """Return the tags whose model saw too few positives for a chance in figures; read once per model."""
    from triage.errors import TriageError
    from triage.train.store import load_model
    from triage.train.types import TagModel

    if model is None:
        return frozenset()
    if model not in _coarse:
        try:
            loaded = load_model(library.model_dir)
        except TriageError:
            return frozenset(library.vocabulary().tags)
        _coarse[model] = frozenset(
            tag for tag, one in loaded.items() if isinstance(one, TagModel) and one.bands
        )
    return _coarse[model]


def said_of(library: Library, sha: str) -> tuple[dict[str, Word], dict[str, Suggestion]]:
    """Return what persons and the present model say of one photo, by tag."""
    model = queries.model_in_use(library)
    with library.read() as connection:
        words = queries.words(connection, photo=sha)
        machine = queries.suggestions(connection, model=model, photo=sha) if model else {}
    return {tag: one for (_, tag), one in words.items()}, {tag: one for (_, tag), one in machine.items()}


def questions_of(
    vocabulary: Vocabulary,
    words: Mapping[str, Word],
    machine: Mapping[str, Suggestion],
    by: str,
    model: str | None,
    tag: str = "",
    coarse: frozenset[str] = frozenset(),
) -> list[dict[str, Any]]:
    """Return the tags to show: core ones, those that somebody or the machine spoke of, then elements."""
    spoken = [
        tag for tag in vocabulary.tags if tag in words or (tag in machine and machine[tag].pile == "likely")
    ]
    spoken += [tag] if tag and tag not in spoken else []
    shown = dict.fromkeys([*vocabulary.core, *spoken, *(SHOWS + one for one in vocabulary.elements)])
    return [
        question(vocabulary.tags[one], words.get(one), machine.get(one), by, model, one in coarse)
        for one in shown
        if one in vocabulary.tags
    ]


def question(
    tag: Tag, word: Word | None, machine: Suggestion | None, by: str, model: str | None, bands: bool
) -> dict[str, Any]:
    """Return one tag of one photo: what I said, what others said, what the machine says."""
    labels = word.labels if word else ()
    mine = next((label for label in labels if label.by == by), None)
    return {
        "tag": tag.tag,
        "words": tag_words(tag.tag.removeprefix(SHOWS)) if tag.kind == "element" else tag_words(tag.tag),
        "kind": tag.kind,
        "core": tag.core,
        "value": word.value if word else None,
        "disputed": bool(word and word.disputed),
        "settled": bool(word and word.settled),
        "mine": label_json(mine) if mine else None,
        "others": [label_json(label) for label in labels if label.by != by],
        "machine": machine_json(machine, bands),
        "hidden": machine is not None and is_hidden(machine.photo, machine.tag, model),
    }


def label_json(label: Label) -> dict[str, Any]:
    """Return a label as the browser shows it."""
    return {
        "value": label.value,
        "by": clean(label.by),
        "at": moment(label.at),
        "boxes": boxes(label.boxes),
        "place": clean(label.place or ""),
        "count": label.count,
        "note": clean(label.note or ""),
    }


def machine_json(one: Suggestion | None, bands: bool) -> dict[str, Any] | None:
    """Return a suggestion as the browser shows it; a model of few positives gives its pile and no number."""
    if one is None:
        return None
    number = None if bands else round(one.probability, 2)
    return {"pile": one.pile, "probability": number, "where": boxes(one.where)}


def boxes(given: Iterable[Box]) -> list[list[float]]:
    """Return boxes as lists of four numbers."""
    return [[round(part, 5) for part in box] for box in given]


def history_of(library: Library, sha: str) -> list[dict[str, Any]]:
    """Return everything ever said of one photo, newest first, undone rows too."""
    with library.read() as connection:
        rows = queries.label_log(connection, sha)
    return [
        {
            **row,
            "at": moment(row["at"]),
            "by": clean(row["by"]),
            "place": clean(row["place"] or ""),
            "note": clean(row["note"] or ""),
            "words": tag_words(row["tag"]),
        }
        for row in reversed(rows)
    ]


def sibling(name: str, photo: Photo) -> dict[str, Any]:
    """Return what the strip of a deck's photos and a photo set beside another need of one photo."""
    return {
        "sha": photo.sha,
        "name": clean(photo.name),
        "visit": photo.visit,
        "width": photo.width,
        "height": photo.height,
        "thumb": url(name, f"thumb/{photo.sha}"),
        "picture": url(name, f"picture/{photo.sha}"),
        "full": url(name, f"full/{photo.sha}"),
        "page": url(name, f"photo/{photo.sha}"),
    }


def tags_json(vocabulary: Vocabulary, library: Library) -> dict[str, dict[str, Any]]:
    """Return the definitions of all tags with their example pictures, for the panel beside the photo."""
    return {
        name: {
            "words": tag_words(name),
            "kind": tag.kind,
            "definition": tag.definition,
            "looks_like": tag.looks_like,
            "looks_alike": tag.looks_alike_but_is_not,
            "source": tag.source,
            "examples": examples_of(library, tag),
            "no_picture": NO_PICTURE,
        }
        for name, tag in vocabulary.tags.items()
    }


def answers_by_photo(words: Mapping[tuple[str, str], Word]) -> dict[str, dict[str, Word]]:
    """Return words by photo and tag."""
    found: dict[str, dict[str, Word]] = defaultdict(dict)
    for (sha, tag), word in words.items():
        found[sha][tag] = word
    return found
