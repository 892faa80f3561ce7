"""Keys of tags, facts and checks become the words that people say; nobody on the page reads a key."""

from __future__ import annotations

import re
from collections.abc import Collection
from functools import cache
from typing import TYPE_CHECKING

from triage.domain.vocabulary import SHOWS, load_vocabulary
from triage.report.phrases import tag_words
from triage.structure import CHECK_IDS
from triage.structure.facts import FACT_KEYS
from triage.structure.site_sheet import label_of

if TYPE_CHECKING:
    from triage.library import Library

_KEY = re.compile(r"(?<![\w./\\-])(['“]?)([a-z]+(?:[-_][a-z0-9]+)+)(['”]?)(?![\w/\\-]|\.\w)")
_VALUES = (("absent", "no"), ("present", "yes"), ("unclear", "cannot tell"))


@cache
def _words() -> dict[str, str]:
    shipped = load_vocabulary()
    found = {tag: tag_words(tag) for tag in shipped.tags}
    found |= {SHOWS + element: f"shows the {tag_words(element)}" for element in shipped.elements}
    found |= {key: label_of(key).lower() for key in FACT_KEYS}
    return {check: tag_words(check) for check in CHECK_IDS} | found


def own_tags(library: Library) -> frozenset[str]:
    """Return the tags of a library that a firm added itself."""
    return frozenset(library.vocabulary().tags.keys() - load_vocabulary().tags.keys())


def in_words(text: str, own: Collection[str] = ()) -> str:
    """Return a sentence with the keys of tags and of facts written as words, in quotes if they were.

    `shows-ledger: absent` becomes `shows the ledger: no`. `own` are tags that a firm added itself.
    """

    def said(match: re.Match[str]) -> str:
        before, key, after = match.groups()
        words = _words().get(key) or (tag_words(key) if key in own else None)
        if words is None:
            return match[0]
        return f"“{words}”" if before and after else f"{before}{words}{after}"

    found = _KEY.sub(said, text)
    for value, word in _VALUES:
        found = re.sub(rf"(: ){value}\b", rf"\g<1>{word}", found) if found != text else found
    return found
