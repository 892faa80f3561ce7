"""Photos for a second person: what somebody else labelled, drawn at random, without those labels."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from triage.audit.columns import read_columns
from triage.audit.draw import in_order, new_seed
from triage.errors import BadInput

if TYPE_CHECKING:
    from triage.library.library import Library


def second_look(
    library: Library, by: str, n: int, *, seed: str | None = None, tags: Sequence[str] | None = None
) -> list[tuple[str, tuple[str, ...]]]:
    """Return at most n photos (hash) with the tags that others answered and `by` did not.

    Photos are drawn at random, so that agreement on them speaks for all doubly labelled ones; label them with
    `asked_by` second-look. Raises BadInput when nobody else labelled anything that `by` did not.
    """
    if n < 1:
        raise BadInput(f"{n} photos are none to look at.")
    columns = read_columns(library, tags)
    own = np.array([person == by for person in columns.people], dtype=np.bool_)[columns.person]
    mine = np.zeros((len(columns.tags), len(columns.photos)), dtype=np.bool_)
    theirs = np.zeros_like(mine)
    mine[columns.tag[own], columns.photo[own]] = True
    theirs[columns.tag[~own], columns.photo[~own]] = True
    open_pairs: dict[str, list[str]] = defaultdict(list)
    for code, place in zip(*(each.tolist() for each in np.nonzero(theirs & ~mine)), strict=True):
        open_pairs[columns.photos[place]].append(columns.tags[code])
    if not open_pairs:
        raise BadInput(
            f"Nobody but {by} has labelled photos that {by} has not answered too.",
            "Let another person label first, or speak under your own name with --by.",
        )
    drawn = in_order(open_pairs, seed or new_seed())[:n]
    return [(sha, tuple(sorted(open_pairs[sha]))) for sha in drawn]
