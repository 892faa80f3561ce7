"""The beginning of a pool: what a machine's order chooses among, and a fair draw.

The draw is in the log before the first question of the order, so that nobody can pick it afterward; its
decks are asked right after the urgent lists. Decks are in the order of SHA-256 of `SEED:DECK`, as everywhere
in this program.
"""

from __future__ import annotations

import hashlib
import math
import secrets
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from triage.label.counting import POOL_BEGUN, counted_in_library, draws_of, waiting_in_library
from triage.library import queries
from triage.library.answer_times import placed_since
from triage.library.counts import deck_of_photos
from triage.library.log import EventDraft
from triage.library.look_alikes import deck_groups
from triage.library.records import UNSORTED

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.look_alikes import DeckGroups

DRAWN_SHARE = 0.10
"""Share of a pool's decks that are drawn: enough for a promise to grow with every batch, few enough to answer
first (common practice in acceptance sampling is of this order)."""
LEAST_DRAWN = 3
LEAST_POOL = 10
"""A smaller pool counts whole or not at all: it is soon answered, and three of its decks carry no promise."""
RULE = "decks in the order of SHA-256 of SEED:DECK, the first ones taken"


def begin_pools(library: Library, tags: Collection[str], by: str) -> dict[str, list[str]]:
    """Record a random draw, for each tag, of the unanswered decks that are in no pool yet; returns the draws.

    Costs one look at the database where no photo came since the last draw.
    """
    last = {str(event.payload["tag"]): event.lamport for event in queries.statements(library, POOL_BEGUN)}
    wanted = [tag for tag in tags if tag not in last or placed_since(library, last[tag])]
    if not wanted:
        return {}
    groups = deck_groups(library)
    everyone = {groups.group(deck) for deck in queries.decks(library) if deck != UNSORTED}
    drafts, drawn = [], {}
    with_photos = {groups.group(deck) for deck in deck_of_photos(library).values()}
    for tag, found in counted_in_library(library, wanted, groups).items():
        population = (everyone & with_photos) - found.whole - found.pooled
        if not population:
            continue
        payload = draw_pool(tag, population)
        drawn[tag] = payload["drawn"]
        drafts.append(EventDraft(POOL_BEGUN, payload, by))
    library.say_many(drafts)
    return drawn


def draw_pool(tag: str, population: Collection[str], seed: str | None = None) -> dict[str, Any]:
    """Return the payload of the event: the draw from a population of decks, and how anybody can repeat it."""
    seed = seed or f"{secrets.randbelow(10**12):012d}"
    order = sorted(population, key=lambda deck: hashlib.sha256(f"{seed}:{deck}".encode()).hexdigest())
    n = max(LEAST_DRAWN, math.ceil(DRAWN_SHARE * len(order))) if len(order) >= LEAST_POOL else 0
    frame = hashlib.sha256("\n".join(sorted(population)).encode()).hexdigest()
    return {
        "tag": tag,
        "population": len(order),
        "frame": frame,
        "seed": seed,
        "rule": RULE,
        "drawn": order[:n],
    }


def drawn_decks(
    library: Library, tags: Sequence[str], groups: DeckGroups | None = None
) -> dict[str, list[str]]:
    """Return the drawn decks that are not wholly answered yet, by tag; tags without any are left out."""
    known = draws_of(library)
    asked = [tag for tag in tags if tag in known]
    return waiting_in_library(library, asked, groups or deck_groups(library)) if asked else {}


def drawn_words(library: Library, tags: Sequence[str]) -> list[str]:
    """Return one sentence per tag on the drawn decks that are still to be answered."""
    lines = []
    for tag, decks in drawn_decks(library, tags).items():
        named = ", ".join(decks[:8]) + (f" and {len(decks) - 8} more" if len(decks) > 8 else "")
        lines.append(
            f"For the promise on {tag}, answer every photo of {named}: drawn at random when the "
            "machine began to choose the order."
        )
    return lines
