"""What waits on contact sheets: by deck and part, photos the machine spoke of and nobody answered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.parts_asked import part_tags
from triage.domain.vocabulary import SHOWS
from triage.presort.sheets import counted, next_heap

if TYPE_CHECKING:
    from triage.library import Library
    from triage.presort.sheets import Sheet

COLUMNS = ("deck", "tag", "photos")


@dataclass(frozen=True)
class Waiting:
    """So many photos of a deck wait on the contact sheet of a part."""

    deck: str
    tag: str
    photos: int

    def to_json(self) -> dict[str, Any]:
        """Return the fields by name."""
        return {"deck": self.deck, "tag": self.tag, "photos": self.photos}


def sheets_waiting(library: Library, decks: Sequence[str] | None = None) -> Iterator[Waiting]:
    """Yield what waits, deck by deck and along the load path; of some decks or of all.

    Only parts that a deck is asked for count, as on its sheets.
    """
    for deck, photos in counted(library, element_tags(library), decks):
        for tag in part_tags(library, deck):
            if tag in photos:
                yield Waiting(deck, tag, photos[tag])


def any_waiting(library: Library) -> bool:
    """Say whether something waits on any contact sheet."""
    return next(sheets_waiting(library), None) is not None


def element_tags(library: Library) -> list[str]:
    """Return the `shows-` tags of all elements, along the load path."""
    return [SHOWS + element for element in library.vocabulary().elements]


def heap_of(library: Library, tag: str) -> Sheet | None:
    """Return the next sheet of a part across the decks that are asked for it; null where nothing waits."""
    return next_heap(library, tag, asked=lambda deck: tag in part_tags(library, deck))
