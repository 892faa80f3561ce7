"""Facts against photos: what a person labeled and what a fact says cannot both be true.

Neither is erased. Which facts speak against which tags is data (`triage/data/disputes.toml`).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache

from triage.assess.conditions import Condition, View
from triage.assess.parsing import Known, parse
from triage.assess.rules import known_facts
from triage.domain.packaged import packaged_toml

WORDS = "Disputed: a photo shows '{tag}', but {fact} ({keys}). The worse counts until a person settles it."


@dataclass(frozen=True)
class Dispute:
    """A fact that speaks against a tag that is labeled present; `keys` are the facts."""

    tag: str
    words: str
    keys: tuple[str, ...]

    def __str__(self) -> str:
        """Return the sentence that is shown with the concern."""
        return WORDS.format(tag=self.tag, fact=self.words, keys=", ".join(self.keys))


@cache
def _against() -> dict[str, tuple[tuple[Condition, str], ...]]:
    known = Known(frozenset(), known_facts(), frozenset(), frozenset())
    found: dict[str, tuple[tuple[Condition, str], ...]] = {}
    for row in packaged_toml("disputes.toml")["dispute"]:
        condition = parse(row["against"], known)
        for tag in row["tags"]:
            found[tag] = (*found.get(tag, ()), (condition, str(row["words"])))
    return found


def disputes(tags: Collection[str], view: View) -> tuple[Dispute, ...]:
    """Return what the deck's facts say against tags that persons labeled present."""
    found = []
    for tag in sorted(tags):
        for condition, words in _against().get(tag, ()):
            if condition.holds(view) is not None:
                keys = tuple(dict.fromkeys(leaf.name for leaf in condition.leaves("fact")))
                found.append(Dispute(tag, words, keys))
    return tuple(found)
