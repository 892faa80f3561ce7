"""How the parts of a deck are called for people who do not look at decks for a living."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from triage.report.phrases import tag_words
from triage.report.text import and_list

PLAIN: dict[str, tuple[str, bool]] = {
    "ledger": ("the ledger (the board that fastens the deck to the house)", False),
    "flashing": ("the flashing (the metal that keeps water out of the joint with the house)", False),
    "hanger": ("the joist hangers", True),
    "connector": ("the metal connectors", True),
    "joist": ("the joists", True),
    "band": ("the house band behind the ledger", False),
    "beam": ("the beam", False),
    "post": ("the posts", True),
    "footing": ("the footings", True),
    "brace": ("the bracing", False),
    "hold-down": ("the hold-downs against being pulled off the house", True),
    "guard": ("the guard (railing)", False),
    "guard-post": ("the guard posts", True),
    "stair": ("the stair", False),
    "stringer": ("the stair stringers", True),
    "decking": ("the deck boards", True),
    "whole-deck": ("the deck as a whole", False),
}
"""Words for each part, and whether they are plural. The trade's own word always stands, explained once."""


def plain_part(element: str) -> str:
    """Return a part as an owner reads it; a firm's own part by its name."""
    return PLAIN.get(element, (f"the {tag_words(element)}", False))[0]


def short_part(element: str) -> str:
    """Return a part in one or two words, without the explanation."""
    if element == "whole-deck":
        return "the deck as a whole"
    return plain_part(element).split(" (")[0]


def named_parts(elements: Sequence[str], *, more: bool = False) -> tuple[str, bool]:
    """Return parts as one phrase, and whether a verb after it stands in the plural."""
    words = [short_part(one) for one in elements]
    if more:
        return f"{', '.join(words)} and what else is named below", True
    return and_list(words), len(words) > 1 or PLAIN.get(elements[0], ("", False))[1]


def unseen(elements: Iterable[str]) -> str:
    """Return parts that no photo shows: 'the beam, the posts; no overall view of the deck'."""
    given = list(elements)
    words = and_list(short_part(one) for one in given if one != "whole-deck")
    if "whole-deck" not in given:
        return words
    return (
        f"{words}; there is no overall view of the deck" if words else "there is no overall view of the deck"
    )
