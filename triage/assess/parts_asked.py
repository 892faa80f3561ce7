"""Which parts a deck's photos are asked for: the one list for the page, the terminal and contact sheets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from triage.assess.coverage import needed
from triage.domain.vocabulary import SHOWS
from triage.library import queries

if TYPE_CHECKING:
    from triage.domain.vocabulary import Vocabulary
    from triage.library import Library


def parts_asked(vocabulary: Vocabulary, facts: Mapping[str, Any], said: Iterable[str]) -> list[str]:
    """Return the elements that a deck must be seen to have, those of the core tags, and those spoken of.

    Parameters
    ----------
    facts : the deck's facts by key.
    said : tags that somebody answered on its photos.
    """
    wanted = {need.element for need in needed(facts)}
    wanted |= {vocabulary.tags[tag].element or "" for tag in vocabulary.core}
    wanted |= {tag.removeprefix(SHOWS) for tag in said if tag.startswith(SHOWS)}
    return [element for element in vocabulary.elements if element in wanted]


def part_tags(library: Library, deck: str) -> list[str]:
    """Return the `shows-` tags that a deck's photos are asked for, along the load path."""
    facts = {key: fact.value for key, fact in queries.facts(library, deck).items()}
    said = {tag for _, tag in queries.words(library, deck=deck)}
    return [SHOWS + element for element in parts_asked(library.vocabulary(), facts, said)]
