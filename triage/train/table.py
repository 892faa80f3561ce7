"""One tag's labels as arrays: what was said of which photo, how firmly, where, and who chose the photo."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import BadInput
from triage.label.pools import Answer, counted_decks
from triage.library.records import MACHINE_ORDERS, UNKNOWN_ORDER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Box, Floats, TrainingLabel

UNCLEAR_WEIGHT = 0.5
"""An `unclear` photo pulls its score to the middle with half the weight of an answer."""


def draw(*parts: object) -> int:
    """A number of 64 bits that depends on the parts alone: the same on every machine and in every order."""
    text = "\x1f".join(str(part) for part in parts)
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")


@dataclass(frozen=True, eq=False)
class TagTable:
    """The labeled photos of one tag, in the order of their hashes.

    Attributes
    ----------
    shas, decks : (n,) photo and deck.
    targets : (n,) 1 present, 0 absent, 0.5 unclear, between where people disagree.
    weights : (n,) in (0, 1].
    firm : (n,) whether the photo counts in figures: answered present or absent.
    boxes : (n,) places given for `present`, else those given for `unclear`.
    counted : decks that a promise counts, see `triage.label.pools`.
    """

    tag: str
    shas: tuple[str, ...]
    decks: tuple[str, ...]
    targets: Floats
    weights: Floats
    firm: NDArray[np.bool_]
    boxes: tuple[tuple[Box, ...], ...]
    counted: frozenset[str]

    @property
    def present(self) -> NDArray[np.bool_]:
        """(n,) photos that count as positives."""
        return self.firm & (self.targets >= 0.5)

    @property
    def absent(self) -> NDArray[np.bool_]:
        """(n,) photos that count as negatives."""
        return self.firm & (self.targets < 0.5)

    @property
    def unclear(self) -> NDArray[np.bool_]:
        """(n,) photos that were answered `unclear` and nothing else."""
        return ~self.firm

    def decks_of(self, mask: NDArray[np.bool_]) -> list[str]:
        """Decks, sorted, that have a photo under the mask."""
        return sorted({deck for deck, here in zip(self.decks, mask, strict=True) if here})


def answers_of(labels: Iterable[TrainingLabel]) -> list[Answer]:
    """Return one tag's training labels as answers; one without a time is not known."""
    return [
        Answer(
            one.photo,
            one.at,
            by_machine=one.asked_by in MACHINE_ORDERS,
            blind=one.asked_by != "machine",
            known=bool(one.at) and one.asked_by != UNKNOWN_ORDER,
        )
        for one in labels
    ]


def build_table(
    tag: str,
    photos: Sequence[tuple[str, str]],
    labels: Iterable[TrainingLabel],
    counted: frozenset[str] | None = None,
) -> TagTable:
    """Put the labels of one tag together, one row a photo.

    Parameters
    ----------
    photos : (sha, deck) of every photo of the library, labeled or not.
    labels : labels of any tags; those of photos that are not in `photos` are left out.
    counted : decks that a promise counts; by the labels alone where it is not given.

    Raises
    ------
    BadInput : a photo stands under two decks, or a label's value is none of the three.
    """
    deck_of = _decks(photos)
    by_photo: dict[str, list[TrainingLabel]] = defaultdict(list)
    for label in labels:
        if label.value not in {"present", "absent", "unclear"}:
            raise BadInput(f"'{label.value}' is no value of a label.", "It is present, absent or unclear.")
        if label.tag == tag and label.photo in deck_of and label.weight > 0:
            by_photo[label.photo].append(label)
    shas = sorted(by_photo)
    merged = [_merge(by_photo[sha]) for sha in shas]
    if counted is None:
        answers = answers_of(label for sha in shas for label in by_photo[sha])
        counted = counted_decks(deck_of, answers).decks
    decks = tuple(deck_of[sha] for sha in shas)
    return TagTable(
        tag=tag,
        shas=tuple(shas),
        decks=decks,
        targets=np.array([row[0] for row in merged], float),
        weights=np.array([row[1] for row in merged], float),
        firm=np.array([row[2] for row in merged], bool),
        boxes=tuple(row[3] for row in merged),
        counted=counted,
    )


def _decks(photos: Sequence[tuple[str, str]]) -> Mapping[str, str]:
    deck_of: dict[str, str] = {}
    for sha, deck in photos:
        if deck_of.setdefault(sha, deck) != deck:
            raise BadInput(
                f"The photo {sha[:12]} stands under two decks, {deck_of[sha]} and {deck}.",
                "Move it to the deck that it shows.",
            )
    return deck_of


def _merge(labels: Sequence[TrainingLabel]) -> tuple[float, float, bool, tuple[Box, ...]]:
    """(target, weight, firm, boxes) of one photo; several people's words are averaged by weight."""
    firm = [label for label in labels if label.value != "unclear"]
    if not firm:
        doubtful = tuple(box for label in labels for box in label.boxes)
        return 0.5, UNCLEAR_WEIGHT * min(1.0, max(label.weight for label in labels)), False, doubtful
    heavy = np.array([label.weight for label in firm])
    says = np.array([label.value == "present" for label in firm], float)
    target = float(heavy @ says / heavy.sum())
    boxes = tuple(box for label in firm if label.value == "present" for box in label.boxes)
    return target, min(1.0, float(heavy.mean())), True, boxes


def deal_folds(
    table: TagTable, seed: int = 0, earlier: Mapping[str, int] | None = None, most: int = 5
) -> dict[str, int]:
    """Deck to fold: decks with the defect are dealt round, then the others, so that every fold has its share.

    With ten decks with the defect or fewer each of them gets a fold of its own. The order of dealing hangs on
    the deck's name and the seed alone. A deck that had a fold `earlier` keeps it when the number of folds is
    the same, so that two models can be compared on the same folds. Where some fold would leave one class only
    to train on, every deck is a fold.
    """
    positive = table.decks_of(table.present)
    everyone = table.decks_of(np.ones(len(table.decks), bool))
    rest = sorted(set(everyone) - set(positive))
    folds = max(2, len(positive)) if len(positive) <= 10 else most
    kept = earlier if earlier and 1 + max(earlier.values()) == folds else {}
    dealt: dict[str, int] = {}
    for group in (positive, rest):
        load = [0] * folds
        known = [deck for deck in group if deck in kept]
        for deck in known:
            dealt[deck] = kept[deck]
            load[kept[deck]] += 1
        for deck in sorted(set(group) - set(known), key=lambda d: draw(seed, "fold", d)):
            dealt[deck] = min(range(folds), key=lambda k: (load[k], k))
            load[dealt[deck]] += 1
    if _each_fold_leaves_both(table, dealt):
        return dealt
    return {deck: place for place, deck in enumerate(everyone)}


def _each_fold_leaves_both(table: TagTable, dealt: Mapping[str, int]) -> bool:
    fold = np.array([dealt[deck] for deck in table.decks])
    return all(
        bool(np.any(fold[side] != k)) for k in np.unique(fold) for side in (table.present, table.absent)
    )
