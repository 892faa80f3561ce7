"""A deck as the rules see it: the tags that are there, by whose word, where and how often.

Evidence of all visits up to the present one is combined; what a person closed is taken out first.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from triage.assess.combining import group_maxima, union_probability
from triage.assess.places import place_key
from triage.assess.records import DeckEvidence
from triage.domain.tiers import STANDINGS
from triage.library.records import Box, Photo, Suggestion, Word

QUALITY_FLAGS = ("blurred", "dark", "far")
"""What is measured of a photo when it comes in; any of them makes what it shows 'poorly' seen."""


@dataclass(frozen=True)
class Item:
    """A tag on one photo: by a person ('seen-by-person', 'disputed') or by the machine ('possible').

    `visit` is the position of the photo's visit, oldest 0; `count` is how many the photo shows (at least 1).
    """

    photo: Photo
    visit: int
    tag: str
    standing: str
    place: str | None
    count: int
    boxes: tuple[Box, ...]
    probability: float

    def best_first(self) -> tuple[Any, ...]:
        """Return the key that sorts evidence: undisputed, of the latest visit, boxed, clear, likely first."""
        poor = sum(bool(self.photo.quality.get(flag)) for flag in QUALITY_FLAGS)
        return (
            STANDINGS.index(self.standing),
            -self.visit,
            not self.boxes,
            poor,
            -self.probability,
            self.photo.taken_at or "",
            self.photo.name,
        )


def group_of(photo: Photo) -> Hashable:
    """Return what photos of one burst share: its number, or the photo itself where it is in none."""
    return ("photo", photo.sha) if photo.burst is None else ("burst", photo.visit, photo.burst)


def person_item(photo: Photo, visit: int, word: Word) -> Item:
    """Return the evidence of a person's 'present'; the earliest place that was named stays its place."""
    agreeing = sorted(
        (label for label in word.labels if label.value == "present"), key=lambda label: label.at
    )
    place = next((label.place for label in agreeing if label.place), None)
    counts = [label.count for label in agreeing if label.count]
    boxes = tuple(dict.fromkeys(box for label in agreeing for box in label.boxes))
    most = max([1, *counts, *(len(label.boxes) for label in agreeing)])
    standing = "disputed" if word.disputed else "seen-by-person"
    return Item(photo, visit, word.tag, standing, place, most, boxes, 1.0)


def machine_item(photo: Photo, visit: int, suggestion: Suggestion) -> Item:
    """Return the evidence of a suggestion in the pile `likely`."""
    return Item(photo, visit, suggestion.tag, "possible", None, 1, suggestion.where, suggestion.probability)


def gather_items(
    visits: Sequence[DeckEvidence], closed: Callable[[Item], bool] = lambda item: False
) -> dict[str, list[Item]]:
    """Return the evidence per tag over all visits, best first, without what was closed."""
    items: dict[str, list[Item]] = defaultdict(list)
    for number, evidence in enumerate(visits):
        photos = {photo.sha: photo for photo in evidence.photos}
        for (sha, tag), word in evidence.words.items():
            if word.value == "present" and sha in photos:
                items[tag].append(person_item(photos[sha], number, word))
        for (sha, tag), suggestion in evidence.suggestions.items():
            answered = evidence.words.get((sha, tag))
            open_still = answered is None or answered.value == "unclear"
            if sha in photos and suggestion.pile == "likely" and open_still:
                items[tag].append(machine_item(photos[sha], number, suggestion))
    kept = {tag: [item for item in found if not closed(item)] for tag, found in items.items()}
    return {tag: sorted(found, key=Item.best_first) for tag, found in sorted(kept.items()) if found}


def count_places(items: Iterable[Item]) -> int:
    """Return how many there are: the largest count at each place, added up over places.

    Photos without a place may show the same thing and count as one place.
    """
    most: dict[str, int] = defaultdict(int)
    for item in items:
        key = place_key(item.place)
        most[key] = max(most[key], item.count)
    return sum(most.values())


def most_places(items: Iterable[Item]) -> int:
    """Return how many there may be: as `count_places`, but photos without a place may each show another.

    Photos of one burst show the same thing.
    """
    most: dict[Hashable, int] = defaultdict(int)
    for item in items:
        key = place_key(item.place) or group_of(item.photo)
        most[key] = max(most[key], item.count)
    return sum(most.values())


@dataclass(frozen=True)
class DeckView:
    """What conditions ask of a deck; with `guesses` suggestions count as if they were true."""

    items: Mapping[str, Sequence[Item]]
    facts: Mapping[str, Any]
    checks: Mapping[str, Any]
    coverage: Mapping[str, str]
    guesses: bool = False

    def tag_standing(self, tag: str, at_least: int = 1) -> str | None:
        """Return the best standing with which the tag may be present at least so often, else null."""
        found = self.items.get(tag, ())
        for allowed in (("seen-by-person",), ("seen-by-person", "disputed"), STANDINGS):
            if allowed is STANDINGS and not self.guesses:
                return None
            taken = [item for item in found if item.standing in allowed]
            if taken and most_places(taken) >= at_least:
                return max((item.standing for item in taken), key=STANDINGS.index)
        return None

    def used(self, tag: str) -> list[Item]:
        """Return the evidence of a tag that counts in this view, best first."""
        return [item for item in self.items.get(tag, ()) if self.guesses or item.standing != "possible"]

    def fact(self, key: str) -> Any:
        """Return a fact's value; null when it is not known."""
        return self.facts.get(key)

    def check(self, name: str) -> Any:
        """Return a check's result, or null when it did not run."""
        return self.checks.get(name)

    def seen(self, element: str) -> str | None:
        """Return the coverage of an element, or null when the deck does not need it."""
        return self.coverage.get(element)

    @cached_property
    def with_guesses(self) -> DeckView:
        """The same deck with suggestions taken for true."""
        return DeckView(self.items, self.facts, self.checks, self.coverage, guesses=True)


def chance_ends(tag: str, visits: Sequence[DeckEvidence]) -> tuple[float, float]:
    """Return the combined probability that the deck has the tag somewhere, at rho 0 and at rho 1.

    A person's 'present' sets that photo's p to 1, a person's 'absent' to 0, and no other photo's.
    """
    chances: list[tuple[Hashable, float]] = []
    for evidence in visits:
        for photo in evidence.photos:
            word = evidence.words.get((photo.sha, tag))
            suggestion = evidence.suggestions.get((photo.sha, tag))
            if word is not None and word.value != "unclear":
                chances.append((group_of(photo), float(word.value == "present")))
            elif suggestion is not None:
                chances.append((group_of(photo), suggestion.probability))
    maxima = group_maxima(chances)
    return union_probability(maxima, 0.0), union_probability(maxima, 1.0)
