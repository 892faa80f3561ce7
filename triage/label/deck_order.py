"""One deck, photo by photo: the photos with most to find first, each part before what hangs on it.

Asked photo by photo, one key answers all that a photo does not show, so that a photo costs about as many keys
as it shows things. The photos with the most expected defects among their open tags come first, by the machine
where it spoke; where it did not, those with the most open tags. Within a photo the order never depends on the
machine: its word must not be guessed from it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from triage.domain.vocabulary import SHOWS, Vocabulary
from triage.label.hanging import hangs_on, not_looked_at, part_of
from triage.label.sheet_checks import due
from triage.library import queries
from triage.library.derived import derived_of

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo, Suggestion, Word

PartsOf = Callable[[str], Sequence[str]]
"""From a deck to the `shows-` tags that its photos are asked for."""


def open_in_deck(library: Library, deck: str, by: str, tags: Sequence[str]) -> list[tuple[Photo, str]]:
    """Return what a person has not answered at a deck, as (photo, tag), in the order in which it is asked.

    What follows from a part that somebody said a photo does not show is not asked; a derived answer that was
    taken back is, and so is what comes back of a contact sheet (`label.sheet_checks`).
    """
    vocabulary = library.vocabulary()
    wanted = along_the_load_path(dict.fromkeys(tags), vocabulary)
    labels = queries.labels(library, deck=deck)
    again = not_looked_at(labels, derived_of(library, deck)) | set(due(library, deck))
    mine = {(one.photo, one.tag) for one in labels if one.by == by} - again
    words = queries.words(library, deck=deck)
    of_photo: dict[str, dict[str, Word]] = {}
    for (sha, tag), word in words.items():
        of_photo.setdefault(sha, {})[tag] = word
    photos = queries.photos(library, deck)
    open_tags: dict[str, list[str]] = {}
    for photo in photos:
        said = of_photo.get(photo.sha, {})
        follows = {tag for tag in said if tag in vocabulary.tags and hangs_on(said, vocabulary.tags[tag])}
        open_tags[photo.sha] = [tag for tag in wanted if (photo.sha, tag) not in mine and tag not in follows]
    machine = queries.suggestions(library, deck=deck)
    order = sorted(photos, key=lambda photo: _first(photo, open_tags[photo.sha], machine))
    return [(photo, tag) for photo in order for tag in open_tags[photo.sha]]


def along_the_load_path(tags: Sequence[str] | Mapping[str, None], vocabulary: Vocabulary) -> list[str]:
    """Return tags along the load path, each part before the tags that hang on it."""

    def place(tag: str) -> tuple[int, bool]:
        element = vocabulary.tags[tag].element or tag.removeprefix(SHOWS)
        return vocabulary.place_of(element), part_of(vocabulary.tags[tag]) is not None

    return sorted(tags, key=place)


def _first(
    photo: Photo, tags: Sequence[str], said: Mapping[tuple[str, str], Suggestion]
) -> tuple[float, int, str]:
    """Return the key by which a photo comes earlier: expected defects, how much is open, its name."""
    known = [said[photo.sha, tag] for tag in tags if not tag.startswith(SHOWS) and (photo.sha, tag) in said]
    return -sum(one.probability for one in known), -len(tags), photo.name
