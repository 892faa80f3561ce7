"""`audit doubts`: labels that the photos of other decks speak against, the most doubtful first.

A doubt is a hint to look again, never a correction: nothing here changes a label.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from triage.audit.columns import WORDS, Bytes, Cancel, Columns, Progress, grouped, read_columns
from triage.audit.left_out import Board, Floats, Floats32, deck_folds, nearest, principal, to_probability
from triage.domain.plurals import count_of
from triage.errors import BadInput, Cancelled, Damaged
from triage.library import queries
from triage.library.look_alikes import deck_groups

if TYPE_CHECKING:
    from triage.library.library import Library

Rows = Callable[[NDArray[np.intp]], Floats32]
LEAST = 3
"""Fewest labels of either word, and fewest decks, for which a label can be doubted."""


@dataclass(frozen=True)
class Neighbor:
    """A labeled photo of another deck that looks alike."""

    photo: str
    value: str


@dataclass(frozen=True)
class Doubt:
    """A label, the probability (0..1) of `present` by other decks, and how far that contradicts it (0..1)."""

    photo: str
    tag: str
    value: str
    probability: float
    contradiction: float
    disputed: bool
    neighbors: tuple[Neighbor, ...]

    def to_json(self) -> dict[str, Any]:
        """The promised keys and more."""
        return {
            "photo": self.photo,
            "tag": self.tag,
            "value": self.value,
            "probability": self.probability,
            "contradiction": self.contradiction,
            "disputed": self.disputed,
            "neighbours": [{"photo": one.photo, "value": one.value} for one in self.neighbors],
        }


@dataclass(frozen=True)
class Doubts:
    """The most doubtful labels of all tags, how many were compared, and the tags that could not be (why).

    `whole_only` names the tags that no model is trained for: their small defects were hardly seen.
    """

    ranked: tuple[Doubt, ...]
    compared: int
    without: dict[str, str]
    whole_only: tuple[str, ...] = ()


def doubts(
    library: Library,
    tags: Sequence[str] | None = None,
    *,
    most: int = 100,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Doubts:
    """Return the labels of a library that other decks contradict, at most `most`, worst first.

    Photos need vectors (`deck-triage embed`); those without are left out and named in `without`. Raises
    BadInput when nothing can be compared: no labels, no vectors, one deck, one word only.
    """
    columns = grouped(read_columns(library, tags), deck_groups(library))
    words, disputed = columns.put_together()
    labeled = np.flatnonzero(((words == 1) | (words == 3)).any(axis=0))
    if not len(labeled):
        raise BadInput("There are no labels `present` or `absent` yet, so none can be doubted.")
    rows_of, have = _vectors(library, [columns.photos[place] for place in labeled])
    places = labeled[have]
    if not len(places):
        raise BadInput("None of the labeled photos has vectors yet.", "Run: deck-triage embed")
    rows = principal(rows_of, len(places))
    broken = None
    try:
        learned = _learned(library, columns, places)
    except Damaged as error:  # whole photos can still be compared
        learned, broken = {}, str(error)
    found = rank(columns, rows, places, words, disputed, learned, most=most, progress=progress, cancel=cancel)
    if broken:
        found.without["model"] = f"{broken} Only whole photos were compared; train again to compare parts too"
    if len(places) < len(labeled):
        gone = len(labeled) - len(places)
        photos = count_of(gone, "labeled photo")
        found.without["vectors"] = f"{photos} without vectors yet; run deck-triage embed"
    return found


def _vectors(library: Library, shas: Sequence[str]) -> tuple[Rows, NDArray[np.intp]]:
    """A reader of the whole-photo vectors of those photos that have some, and which those are."""
    from triage.features.keep import store_of

    store = store_of(library)
    missing = set(store.missing(shas))
    have = np.array([place for place, sha in enumerate(shas) if sha not in missing], dtype=np.intp)
    return (lambda index: store.whole_matrix([shas[have[one]] for one in index])), have


def _learned(library: Library, columns: Columns, places: NDArray[np.intp]) -> dict[str, Floats]:
    """What the model in use says of each photo, by tag: scores (n,) by a part that never saw its deck.

    It reads cells too. A photo that was not answered when the model was trained is NaN.
    """
    from triage.presort.of_library import load_models
    from triage.train.types import TagModel

    if queries.model_in_use(library) is None:
        return {}
    return {
        tag: np.array([model.held_out.get(columns.photos[place], (np.nan,))[0] for place in places])
        for tag, model in load_models(library).items()
        if isinstance(model, TagModel)
    }


def chances(
    board: Board,
    present: NDArray[np.bool_],
    answered: NDArray[np.bool_],
    learned: Floats | None = None,
) -> Floats:
    """Return the chance of `present` of each answered row by decks other than its own, shape (n,).

    With `learned` (scores of a trained model, NaN where it has none) they are the model's where it has some:
    it reads whole photos and cells, and finds more planted errors than the quick look at whole photos or than
    both together (`tools/bench/run doubts`).
    """
    chance = to_probability(board.scores(present, answered), present)
    if learned is None:
        return chance
    scores = np.where(answered, learned, np.nan)
    known = ~np.isnan(scores)
    if min(int((known & present).sum()), int((known & ~present).sum())) < LEAST:
        return chance
    theirs = to_probability(scores, present)
    return np.where(np.isnan(theirs), chance, theirs)


def rank(
    columns: Columns,
    rows: Floats32,
    places: NDArray[np.intp],
    words: Bytes,
    disputed: NDArray[np.bool_],
    learned: Mapping[str, Floats] | None = None,
    *,
    most: int = 100,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Doubts:
    """Rank the labels of photos `places` (codes), whose vectors are `rows`, by what other decks say.

    `words` and `disputed` have shape (tags, photos), `learned` is by tag as in `chances`. Raises BadInput
    when no tag can be compared, Cancelled between tags.
    """
    board = Board(rows, deck_folds(columns.decks)[columns.deck_of[places]])
    without: dict[str, str] = {}
    found: list[tuple[float, int, int, float]] = []
    compared = 0
    for code, tag in enumerate(columns.tags):
        if cancel is not None and cancel():
            raise Cancelled("The search for doubtful labels was stopped.")
        if progress is not None:
            progress("doubts", code, len(columns.tags))
        word = words[code, places]
        answered = np.flatnonzero((word == 1) | (word == 3))
        why = _why_not(columns, places[answered], word[answered] == 3)
        if why:
            without[tag] = why
            continue
        said = (word == 1) | (word == 3)
        chance = chances(board, word == 3, said, (learned or {}).get(tag))[answered]
        against = np.where(word[answered] == 3, 1.0 - chance, chance)
        compared += int((~np.isnan(against)).sum())
        worst = np.argsort(-np.nan_to_num(against, nan=-1.0), kind="stable")[:most]
        found.extend(
            (float(against[one]), code, int(answered[one]), float(chance[one]))
            for one in worst
            if against[one] > 0.5
        )
    if not compared:
        raise BadInput(
            "No tag can be compared: " + "; ".join(f"{tag}: {why}" for tag, why in without.items())
        )
    found.sort(key=lambda one: (-one[0], columns.tags[one[1]], columns.photos[places[one[2]]]))
    near = _neighbors(columns, rows, places, words, found[:most])
    return Doubts(
        tuple(
            Doubt(
                columns.photos[places[row]],
                columns.tags[code],
                WORDS[words[code, places[row]]],
                chance,
                against,
                bool(disputed[code, places[row]]),
                near[row, code],
            )
            for against, code, row, chance in found[:most]
        ),
        compared,
        without,
        tuple(tag for tag in columns.tags if tag not in without and tag not in (learned or {})),
    )


def _why_not(columns: Columns, places: NDArray[np.intp], present: NDArray[np.bool_]) -> str:
    """Why a tag cannot be compared, or nothing."""
    yes, no = int(present.sum()), int((~present).sum())
    if yes < LEAST or no < LEAST:
        return f"{count_of(yes, 'photo')} present and {no} absent; {LEAST} of each are needed"
    decks = columns.deck_of[places]
    if len(set(decks.tolist())) < LEAST:
        return f"its labels come from fewer than {LEAST} decks"
    if min(len(set(decks[present].tolist())), len(set(decks[~present].tolist()))) < 2:
        return "one of its answers comes from a single deck, so no other deck can be compared with it"
    return ""


def _neighbors(
    columns: Columns,
    rows: Floats32,
    places: NDArray[np.intp],
    words: Bytes,
    found: list[tuple[float, int, int, float]],
) -> dict[tuple[int, int], tuple[Neighbor, ...]]:
    """The three nearest answered photos of other decks, by (row, tag)."""
    near: dict[tuple[int, int], tuple[Neighbor, ...]] = {}
    deck = columns.deck_of[places]
    for code in sorted({one[1] for one in found}):
        word = words[code, places]
        among = np.flatnonzero((word == 1) | (word == 3))
        of = np.array([one[2] for one in found if one[1] == code], dtype=np.intp)
        for row, others in zip(of.tolist(), nearest(rows, of, among, deck), strict=True):
            near[row, code] = tuple(
                Neighbor(columns.photos[places[other]], WORDS[word[other]]) for other in others
            )
    return near
