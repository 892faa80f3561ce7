"""Counting by the database, without reading rows: what `status` and lists need at any size."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Collection, Mapping, MutableSequence, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sqlalchemy import ColumnElement, and_, case, distinct, func, or_, select

from triage.batching import lots
from triage.domain.reviewing import ANSWERS, CONTRADICTORY, UNLIKELY, is_covered
from triage.library import queries
from triage.library.records import UNSORTED, Word
from triage.library.tables import label, photo, placing, suggestion

if TYPE_CHECKING:
    from triage.library.library import Library

_PILES = ("likely", "unsure", "unlikely")
_CHUNK = 500


def deck_counts(library: Library) -> dict[str, tuple[int, int]]:
    """Return (photos, photos with a label) by deck; photos that wait for a deck are left out."""
    labeled = labeled_counts(library)
    return {deck: (count, labeled.get(deck, 0)) for deck, count in photo_counts(library).items()}


def photo_counts(library: Library) -> dict[str, int]:
    """Return how many photos each deck has, by a walk along one index; waiting photos are left out."""
    count = func.sum(case((placing.c.current.is_(True), 1), else_=0)).label("n")
    query = select(placing.c.deck, count).where(placing.c.deck != UNSORTED).group_by(placing.c.deck)
    with library.read() as connection:
        return {row.deck: int(row.n) for row in connection.execute(query) if row.n}


def labeled_counts(library: Library, decks: Collection[str] | None = None) -> dict[str, int]:
    """Return how many photos with a label each deck has, of some decks (a few hundred at most) or of all."""
    labels = select(label.c.photo).where(label.c.photo == placing.c.key, label.c.current.is_(True))
    query = (
        select(placing.c.deck, func.count())
        .where(placing.c.current.is_(True), placing.c.deck != UNSORTED, labels.exists())
        .group_by(placing.c.deck)
    )
    if decks is not None:
        query = query.where(placing.c.deck.in_(sorted(decks)))
    with library.read() as connection:
        return {deck: count for deck, count in connection.execute(query)}


def decks_visited_again(library: Library) -> list[str]:
    """Return the decks with photos of more than one visit, by name."""
    here = (placing.c.current.is_(True), placing.c.deck != UNSORTED)
    days = func.count(distinct(func.coalesce(placing.c.visit, "")))
    query = select(placing.c.deck).where(*here).group_by(placing.c.deck).having(days > 1)
    with library.read() as connection:
        return sorted(str(deck) for deck in connection.execute(query).scalars())


def undated_counts(library: Library) -> dict[str, int]:
    """Return how many photos of each deck have no day of visit; photos that wait for a deck are left out."""
    open_day = and_(placing.c.current.is_(True), placing.c.visit.is_(None), placing.c.deck != UNSORTED)
    query = select(placing.c.deck, func.count()).where(open_day).group_by(placing.c.deck)
    with library.read() as connection:
        return {str(deck): int(count) for deck, count in connection.execute(query)}


def deck_of_photos(
    library: Library, decks: Collection[str] | None = None, photos: Collection[str] = ()
) -> dict[str, str]:
    """Return the deck of every photo that has one, without reading the photos.

    With `decks`, of the photos at those decks and of some further photos.
    """
    query = (
        select(placing.c.key, placing.c.deck)
        .join(photo, photo.c.sha == placing.c.key)
        .where(placing.c.current.is_(True), placing.c.deck != UNSORTED, photo.c.state == "here")
    )
    wanted = [query] if decks is None else [query.where(placing.c.deck.in_(sorted(decks)))]
    wanted += [query.where(placing.c.key.in_(lot)) for lot in lots(sorted(photos), _CHUNK)]
    with library.read() as connection:
        return {str(sha): str(deck) for one in wanted for sha, deck in connection.execute(one)}


def waiting_count(library: Library) -> int:
    """Return how many photos wait for a deck."""
    here = and_(placing.c.current.is_(True), placing.c.deck == UNSORTED)
    with library.read() as connection:
        return int(connection.execute(select(func.count()).select_from(placing).where(here)).scalar_one())


def label_count(library: Library) -> int:
    """Return how many current label rows there are."""
    with library.read() as connection:
        query = select(func.count()).select_from(label).where(label.c.current.is_(True))
        return int(connection.execute(query).scalar_one())


def unreviewed_count(
    library: Library, tags: Sequence[str], standing: Mapping[str, str], decks: Sequence[str]
) -> int:
    """Return how many photo x tag pairs of some decks are not reviewed, as `domain.reviewing` says it.

    `standing` says how each tag's promise stands.
    """
    model, total = queries.model_in_use(library) or "", 0
    with library.read() as connection:
        for lot in lots(decks, _CHUNK):
            here = and_(placing.c.key == photo.c.sha, placing.c.current.is_(True))
            chosen = placing.c.deck.in_(lot)
            query = select(photo.c.sha).join(placing, here).where(photo.c.state == "here", chosen)
            shas = query.cte("shas")
            photos = int(connection.execute(select(func.count()).select_from(shas)).scalar_one())
            for tag in tags:
                said = select(label.c.photo).where(
                    label.c.photo == shas.c.sha, label.c.current.is_(True), label.c.tag == tag
                )
                done: ColumnElement[bool] = said.where(label.c.value.in_(ANSWERS)).exists()
                if is_covered(UNLIKELY, standing.get(tag)):
                    unlikely = select(suggestion.c.photo).where(
                        suggestion.c.photo == shas.c.sha,
                        suggestion.c.tag == tag,
                        suggestion.c.model == model,
                        suggestion.c.pile == UNLIKELY,
                    )
                    done = or_(done, unlikely.exists())
                count = select(func.count()).select_from(shas).where(done)
                total += photos - int(connection.execute(count).scalar_one())
    return total


def part_rows(library: Library, tags: Collection[str], most: int) -> list[tuple[str, str, str]]:
    """Return the latest (photo, tag, value) of some tags that are not 'absent', at most so many."""
    query = (
        select(label.c.photo, label.c.tag, label.c.value)
        .where(label.c.current.is_(True), label.c.value != "absent", label.c.tag.in_(sorted(tags)))
        .order_by(label.c.lamport.desc())
        .limit(most)
    )
    with library.read() as connection:
        return [(row.photo, row.tag, row.value) for row in connection.execute(query)]


def piles_present(library: Library) -> set[str]:
    """Return the piles that hold a suggestion of the present model, for any tag of the vocabulary."""
    model, tags = queries.model_in_use(library), tuple(library.vocabulary().tags)
    if not model:
        return set()
    of_tags = and_(suggestion.c.model == model, suggestion.c.tag.in_(tags))
    with library.read() as connection:
        return {
            pile
            for pile in _PILES
            if connection.execute(
                select(suggestion.c.photo).where(of_tags, suggestion.c.pile == pile).limit(1)
            ).first()
            is not None
        }


def disputed_pairs(library: Library) -> list[tuple[str, str]]:
    """Return (photo, tag) where people disagree and nobody has settled it, of photos at a deck."""
    words = select(label.c.photo, label.c.tag).where(
        label.c.current.is_(True), label.c.value.in_(CONTRADICTORY)
    )
    query = words.group_by(label.c.photo, label.c.tag).having(func.count(distinct(label.c.value)) > 1)
    with library.read() as connection:
        both = sorted((row.photo, row.tag) for row in connection.execute(query))
        found: dict[tuple[str, str], Word] = {}
        for sha in sorted({photo for photo, _ in both}):
            found |= queries.words(connection, photo=sha)
    return [key for key in both if key in found and found[key].disputed]


def disputes_by_deck(library: Library) -> dict[str, int]:
    """Return how many photo x tag pairs are in dispute, by deck; settled ones are not counted."""
    pairs = disputed_pairs(library)
    found: Counter[str] = Counter()
    with library.read() as connection:
        decks = {one.sha: one.deck for one in queries.photos_by_sha(connection, [sha for sha, _ in pairs])}
        for sha, tag in pairs:
            word = queries.words(connection, photo=sha, tag=tag).get((sha, tag))
            if word is not None and word.disputed and sha in decks:
                found[decks[sha]] += 1
    return dict(found)


def first_photos(library: Library, decks: Collection[str]) -> dict[str, str]:
    """Return one photo of each of some decks (a few hundred at most), always the same one."""
    query = (
        select(placing.c.deck, func.min(placing.c.key))
        .where(placing.c.current.is_(True), placing.c.deck.in_(sorted(decks)))
        .group_by(placing.c.deck)
    )
    with library.read() as connection:
        return {str(deck): str(sha) for deck, sha in connection.execute(query)}


@dataclass
class Spoken:
    """What a model has said of some photos, in one walk through its rows."""

    piles: dict[str, dict[str, int]] = field(default_factory=dict)
    """How many suggestions are in each pile, by tag."""
    probabilities: dict[str, MutableSequence[float]] = field(default_factory=dict)
    """By tag."""
    tags_of: Counter[str] = field(default_factory=Counter)
    """Of how many of the tags it spoke, by photo."""


def spoken(library: Library, model: str, tags: Collection[str], shas: Collection[str]) -> Spoken:
    """Return what a model has said of photos; `tags_of` counts only the tags that are named."""
    found, wanted, named = Spoken(), {sha: sha for sha in shas}, set(tags)
    query = select(suggestion.c.photo, suggestion.c.tag, suggestion.c.pile, suggestion.c.probability).where(
        suggestion.c.model == model
    )
    with library.read() as connection:
        for rows in connection.execute(query.execution_options(yield_per=10_000)).partitions():
            for sha, tag, pile, probability in rows:
                if sha not in wanted:
                    continue
                if tag in named:
                    found.tags_of[wanted[sha]] += 1
                piles = found.piles.setdefault(tag, {})
                piles[pile] = piles.get(pile, 0) + 1
                found.probabilities.setdefault(tag, array("d")).append(probability)
    return found


def pile_counts_by_tag(library: Library) -> dict[str, dict[str, int]]:
    """Return how many suggestions of the model in use are in each pile, by tag."""
    query = (
        select(suggestion.c.tag, suggestion.c.pile, func.count().label("n"))
        .where(suggestion.c.model == (queries.model_in_use(library) or ""))
        .group_by(suggestion.c.tag, suggestion.c.pile)
    )
    found: dict[str, dict[str, int]] = {}
    with library.read() as connection:
        for row in connection.execute(query):
            found.setdefault(row.tag, {})[row.pile] = row.n
    return found
