"""What 'cannot tell' does: it is an answer, and it leaves a gap where the photo was to show something.

A photo on which a person could not tell about a core tag is not a good look at the tag's element. The gap
stays until the answer is 'no' on a photo of the same burst or the same named place, at that visit or a later
one, or on any photo of a later visit that shows the element. A 'yes' elsewhere closes no gap: a fault found
on one photo says nothing good about another. A photo that does not show the element leaves no gap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from triage.assess.places import place_key
from triage.assess.records import DeckEvidence, Seen
from triage.assess.view import group_of
from triage.domain.reviewing import ABSENT, PRESENT, UNCLEAR
from triage.domain.vocabulary import SHOWS
from triage.library.records import Photo, Word


@dataclass(frozen=True)
class Untold:
    """A photo on which a person could not tell about a tag, and the element that the tag is about."""

    photo: str
    tag: str
    element: str


def untold(visits: Sequence[DeckEvidence], core: Mapping[str, str]) -> tuple[Untold, ...]:
    """Return the 'cannot tell' answers that leave a gap; `core` gives the element of each core tag."""
    found = []
    for number, evidence in enumerate(visits):
        photos = {photo.sha: photo for photo in evidence.photos}
        for (sha, tag), word in sorted(evidence.words.items()):
            if tag not in core or sha not in photos or not _is_untold(word):
                continue
            shown = evidence.words.get((sha, SHOWS + core[tag]))
            hidden = shown is not None and shown.value == ABSENT
            if not hidden and not _told_elsewhere(photos[sha], word, visits, number, core[tag]):
                found.append(Untold(sha, tag, core[tag]))
    return tuple(found)


def _is_untold(word: Word) -> bool:
    """Whether somebody could not tell, and nobody settled it; another person's 'present' answers no more."""
    if word.value == PRESENT and not word.settled:
        return any(label.value == UNCLEAR for label in word.labels)
    return word.value == UNCLEAR


def _told_elsewhere(
    photo: Photo, word: Word, visits: Sequence[DeckEvidence], number: int, element: str
) -> bool:
    places = _places(word)
    for later, evidence in enumerate(visits[number:], start=number):
        for other in evidence.photos:
            answer = evidence.words.get((other.sha, word.tag))
            if other.sha == photo.sha or answer is None or answer.value != ABSENT:
                continue
            if later == number and group_of(other) == group_of(photo) or places & _places(answer):
                return True
            shown = evidence.words.get((other.sha, SHOWS + element))
            if later > number and shown is not None and shown.value == PRESENT:
                return True
    return False


def _places(word: Word) -> set[str]:
    return {place_key(label.place) for label in word.labels if label.place}


def with_untold(seen: Sequence[Seen], untold: Sequence[Untold]) -> tuple[Seen, ...]:
    """Return the coverage with what could not be judged: no such element counts as seen well."""
    by_element: dict[str, list[Untold]] = {}
    for one in untold:
        by_element.setdefault(one.element, []).append(one)
    rows = [_with(one, by_element.pop(one.element, [])) for one in seen]
    rows += [
        Seen(element, "poorly", tuple(dict.fromkeys(one.photo for one in rest)), None, None, _words(rest))
        for element, rest in sorted(by_element.items())
    ]
    return tuple(rows)


def _with(one: Seen, rest: Sequence[Untold]) -> Seen:
    if not rest:
        return one
    return replace(one, seen="poorly" if one.seen == "well" else one.seen, why=f"{one.why}; {_words(rest)}")


def _words(rest: Sequence[Untold]) -> str:
    tags = sorted({one.tag for one in rest})
    number = len({one.photo for one in rest})
    return f"'cannot tell' was the answer on {number} photo{'s' if number != 1 else ''} ({', '.join(tags)})"
