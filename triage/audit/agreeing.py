"""`audit agree`: how far people agree, tag by tag, and which photos wait for a third person.

Tags are never pooled: where one tag is frequent and another rare, knowing the tag alone makes two people
agree beyond chance, and coin flips on two such tags give an alpha of .8. The row `overall` holds the mean
over the tags and their spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.audit.agreement import (
    Floats,
    alpha_of,
    cohen_kappa,
    coincidences,
    deck_interval,
    observed_of,
)
from triage.audit.columns import Columns, grouped, read_columns
from triage.domain.plurals import count_of
from triage.errors import BadInput
from triage.library.look_alikes import deck_groups

if TYPE_CHECKING:
    from triage.library.library import Library

OVERALL = "overall"
"""Key of the row over all tags."""
ORDER = ("absent", "unclear", "present")
"""Rows and columns of every table of counts."""


@dataclass(frozen=True)
class Pair:
    """Two people on one tag: how many photos both labeled, how they agree, and their table of counts."""

    people: tuple[str, str]
    photos: int
    observed: float
    kappa: float | None
    why_not: str
    counts: tuple[tuple[int, ...], ...]

    def to_json(self) -> dict[str, Any]:
        """Keys of the pair; rows of `counts` are the first person's words, in the order of `ORDER`."""
        return {
            "people": list(self.people),
            "photos": self.photos,
            "observed": self.observed,
            "kappa": self.kappa,
            "why_not": self.why_not or None,
            "counts": [list(row) for row in self.counts],
        }


@dataclass(frozen=True)
class Agreement:
    """Agreement on one tag (or overall). What cannot be said is null and `why_not` says why.

    `observed` is the share of pairs of words that agree, `alpha` Krippendorff's (nominal: absent, unclear,
    present), `alpha_ordinal` the same with unclear between the two, `low` and `high` the 95 % interval of
    `alpha` over decks; `kappa` is Cohen's where exactly two people overlap. In the row `overall` the figures
    are means over the tags, `spread` the standard deviation of their alphas, and nothing has an interval.
    """

    tag: str
    photos: int
    people: int
    decks: int
    observed: float | None
    kappa: float | None
    alpha: float | None
    alpha_ordinal: float | None
    low: float | None
    high: float | None
    saw_machine: float | None
    why_not: tuple[str, ...]
    pairs: tuple[Pair, ...]
    disputed: tuple[str, ...]
    spread: float | None = None

    def to_json(self) -> dict[str, Any]:
        """The promised keys and more."""
        return {
            "observed": self.observed,
            "kappa": self.kappa,
            "alpha": self.alpha,
            "low": self.low,
            "high": self.high,
            "disputed": list(self.disputed),
            "photos": self.photos,
            "people": self.people,
            "decks": self.decks,
            "alpha_ordinal": self.alpha_ordinal,
            "saw_machine": self.saw_machine,
            "why_not": list(self.why_not),
            "pairs": [pair.to_json() for pair in self.pairs],
            "spread": self.spread,
        }


def agree(library: Library, tags: Sequence[str] | None = None) -> dict[str, Agreement]:
    """Return the agreement on each tag that has labels, and `overall`.

    Raises BadInput when there are no labels, one labeler only, or no photo that two people labeled.
    """
    return agree_columns(grouped(read_columns(library, tags), deck_groups(library)))


def agree_columns(columns: Columns) -> dict[str, Agreement]:
    """Return the agreement of labels given as columns (see `agree`)."""
    _check(columns)
    _, disputed = columns.put_together()
    order = np.argsort(columns.tag, kind="stable")
    edges = np.searchsorted(columns.tag[order], np.arange(len(columns.tags) + 1))
    parts = {
        tag: _Part(columns, order[edges[code] : edges[code + 1]], disputed[code])
        for code, tag in sorted(enumerate(columns.tags), key=lambda each: each[1])
        if edges[code] < edges[code + 1]
    }
    if not any(part.units for part in parts.values()):
        raise BadInput(
            "No photo was labeled by two people for the same tag, so agreement cannot be computed.",
            "Hand some photos to a second person: deck-triage label ask --second-look 50 --by NAME",
        )
    result = {tag: part.agreement(tag) for tag, part in parts.items()}
    result[OVERALL] = _overall(parts, result)
    return result


def _check(columns: Columns) -> None:
    if not len(columns.word):
        raise BadInput("There are no labels yet, so nobody can agree.", "Label some photos first.")
    if len(columns.people) < 2:
        raise BadInput(
            f"Only {columns.people[0]} has labeled here; agreement needs two people.",
            "Hand some photos to a second person: deck-triage label ask --second-look 50 --by NAME",
        )


class _Part:
    """The labels of one tag: who said what of which photo, and the coincidences deck by deck."""

    def __init__(self, columns: Columns, rows: Any, disputed: Any) -> None:
        self.columns = columns
        rows = rows[_said_once(columns.photo[rows], columns.person[rows], len(columns.people))]
        picture, person = columns.photo[rows], columns.person[rows]
        word = columns.word[rows].astype(np.int64) - 1
        counts = np.bincount(picture * np.int64(3) + word, minlength=3 * len(columns.photos)).reshape(-1, 3)
        doubly = np.flatnonzero(counts.sum(axis=1) >= 2)
        self.units = len(doubly)
        together = coincidences(counts[doubly])
        decks = columns.deck_of[doubly]
        cells = [np.bincount(decks, cell, len(columns.decks)) for cell in together.reshape(-1, 9).T]
        self.per_deck: Floats = np.stack(cells, axis=1).astype(np.float64).reshape(-1, 3, 3)
        shared = counts[picture].sum(axis=1) >= 2
        self.saw = columns.saw_machine[rows][shared]
        self.who = np.unique(person[shared])
        self.disputed = tuple(columns.photos[place] for place in np.flatnonzero(disputed))
        self.pairs = _pairs(columns.people, picture[shared], person[shared], word[shared])

    def agreement(self, tag: str) -> Agreement:
        matrix = self.per_deck.sum(axis=0)
        kappa, why = _kappa(self.pairs)
        return _finish(
            tag,
            self.units,
            len(self.who),
            matrix,
            self.per_deck,
            kappa,
            [why] if why else [],
            self.saw,
            self.pairs,
            self.disputed,
        )


def _said_once(picture: Any, person: Any, people: int) -> Any:
    """Which rows are the only word of their speaker: one who contradicts herself agrees with nobody."""
    _, which, times = np.unique(
        picture.astype(np.int64) * people + person, return_inverse=True, return_counts=True
    )
    return times[which] == 1


def _kappa(pairs: tuple[Pair, ...]) -> tuple[float | None, str]:
    if len(pairs) == 1:
        return pairs[0].kappa, pairs[0].why_not and f"kappa: {pairs[0].why_not}"
    if len(pairs) > 1:
        return (
            None,
            "kappa: more than two people overlap; it is given for each pair, and alpha covers them all",
        )
    return None, ""


def _pairs(people: list[str], picture: Any, person: Any, word: Any) -> tuple[Pair, ...]:
    """Every two people who share a photo, with their tables of counts."""
    order = np.lexsort((person, picture))
    picture, person, word = picture[order], person[order].astype(np.int64), word[order]
    codes = []
    step = 1
    while step < len(picture) and (same := picture[step:] == picture[:-step]).any():
        left, right = np.flatnonzero(same), np.flatnonzero(same) + step
        codes.append(((person[left] * len(people) + person[right]) * 3 + word[left]) * 3 + word[right])
        step += 1
    tables: dict[tuple[int, int], Any] = {}
    found, times = np.unique(np.concatenate(codes or [np.zeros(0, np.int64)]), return_counts=True)
    for code, count in zip(found.tolist(), times.tolist(), strict=True):
        both, cell = divmod(code, 9)
        tables.setdefault(divmod(both, len(people)), np.zeros((3, 3), dtype=int))[divmod(cell, 3)] = count
    return tuple(
        _pair((people[first], people[second]), table) for (first, second), table in sorted(tables.items())
    )


def _pair(people: tuple[str, str], table: Any) -> Pair:
    kappa: float | None = None
    why = ""
    try:
        kappa = cohen_kappa(table)
    except BadInput as error:
        why = str(error)
    photos = int(table.sum())
    counts = tuple(tuple(int(cell) for cell in row) for row in table)
    return Pair(people, photos, float(np.trace(table)) / photos, kappa, why, counts)


def _overall(parts: dict[str, _Part], rows: dict[str, Agreement]) -> Agreement:
    """Means over the tags whose agreement can be computed; no photo of one tag is pooled with another's."""
    told = [row for row in rows.values() if row.alpha is not None]

    def mean(name: str) -> float | None:
        values = [getattr(row, name) for row in told if getattr(row, name) is not None]
        return float(np.mean(values)) if values else None

    saw = np.concatenate([part.saw for part in parts.values()])
    why = [f"a mean over {count_of(len(told), 'tag')}, each counted once; nothing is pooled"]
    if not told:
        why = ["alpha: no tag has one"]
    alphas = [row.alpha for row in told if row.alpha is not None]
    spread = float(np.std(alphas, ddof=1)) if len(alphas) > 1 else None
    return Agreement(
        OVERALL,
        sum(part.units for part in parts.values()),
        len({int(code) for part in parts.values() for code in part.who}),
        max((row.decks for row in rows.values()), default=0),
        mean("observed"),
        mean("kappa"),
        mean("alpha"),
        mean("alpha_ordinal"),
        None,
        None,
        float(saw.mean()) if len(saw) else None,
        tuple(why),
        (),
        tuple(sorted({sha for part in parts.values() for sha in part.disputed})),
        spread,
    )


def _finish(
    tag: str,
    units: int,
    people: int,
    matrix: Floats,
    per_deck: Floats,
    kappa: float | None,
    why: list[str],
    saw: Any,
    pairs: tuple[Pair, ...],
    disputed: tuple[str, ...],
) -> Agreement:
    """Put one row together; every figure that cannot be computed becomes a reason."""
    decks = int((per_deck.sum(axis=(1, 2)) > 0).sum())
    observed = alpha = ordinal = low = high = None
    try:
        observed = observed_of(matrix)
        alpha, ordinal = alpha_of(matrix), alpha_of(matrix, "ordinal")
        low, high = deck_interval(per_deck[per_deck.sum(axis=(1, 2)) > 0])
    except BadInput as error:
        why.append(f"{'alpha' if alpha is None else 'interval'}: {error}")
    share = float(saw.mean()) if len(saw) else None
    return Agreement(
        tag,
        units,
        people,
        decks,
        observed,
        kappa,
        alpha,
        ordinal,
        low,
        high,
        share,
        tuple(why),
        pairs,
        disputed,
    )
