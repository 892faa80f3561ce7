"""What the next labels would bring: a learning curve from nested parts of one's own labels, carried on.

Decks are dealt into four parts, twice; each part is held out once. Of the other three quarters models are
trained on nested subsets of whole decks (a quarter, a half, three quarters of all labels), and their average
precision on the part held out is taken. Errors of classifiers fall about as a power of the number of labels
(C. Cortes and others, Learning curves: asymptotic values and rate of convergence, NIPS 6, 1993): to the
means over the eight parts the line log(1 - average precision) = a - b log(labels) is fitted and carried on.
The interval is by Student's t on the eight parts, each left out in turn (jackknife); its variance is
enlarged by 1/8 + 1/3 over 1/8, since the parts share their training decks (C. Nadeau, Y. Bengio, Inference
for the Generalization Error, Machine Learning 52, 2003). It is an estimate, not a promise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.errors import Cancelled
from triage.train.cells import Shelf
from triage.train.learn import train_tags
from triage.train.measures import average_precision
from triage.train.scoring import blended
from triage.train.table import draw
from triage.train.types import TagModel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Cancel, TrainingLabel, VectorsOf

    Floats = NDArray[np.float64]

MORE = 50
PARTS, TURNS = 4, 2
SHARES = (0.25, 0.5, 0.75)
LEAST_LABELS = 40
LEAST_DECKS = 8
"""Decks with the tag, and decks without it, that are needed: two in each part."""
FLOOR = 0.002
"""Smallest error that is distinguished from none."""
T_7 = 2.365
"""Student's t at 97.5 % with seven degrees of freedom (printed tables)."""
NO_PROMISE = 0.001


@dataclass(frozen=True)
class Outlook:
    """What `more` further answers about one tag, mixed as those so far, would bring.

    Attributes
    ----------
    tag : the tag.
    labels : photos answered present or absent so far.
    more : how many further answers are meant.
    now, then : average precision on decks not seen, with the labels so far and with `more` further ones, in
        [0, 1]; null where it cannot be said.
    gain, gain_low, gain_high : then - now, with a 95 % interval; below 0 where the curve is that uncertain.
    points : (labels, average precision) measured on the way, the mean over the parts held out.
    why_not : one sentence where nothing can be said, else empty.
    """

    tag: str
    labels: int
    more: int = MORE
    now: float | None = None
    then: float | None = None
    gain: float | None = None
    gain_low: float | None = None
    gain_high: float | None = None
    points: tuple[tuple[int, float], ...] = ()
    why_not: str = ""

    def sentence(self) -> str:
        """One sentence for people."""
        if self.gain is None or self.then is None:
            return f"What {self.more} more labels would gain cannot be estimated: {self.why_not}."
        return (
            f"{self.more} more labels would bring average precision to about {self.then:.2f}, a change of "
            f"{self.gain:+.2f} (95 %: {self.gain_low:+.2f} to {self.gain_high:+.2f}); an estimate from "
            f"{self.labels} labels, not a promise."
        )

    def to_json(self) -> dict[str, Any]:
        """All fields, `why_not` null where it is empty."""
        points = [list(point) for point in self.points]
        return {**asdict(self), "points": points, "why_not": self.why_not or None}


def outlook(
    tag: str,
    decks: Mapping[str, str],
    labels: Sequence[TrainingLabel],
    vectors_of: VectorsOf,
    *,
    more: int = MORE,
    seed: int = 0,
    cancel: Cancel | None = None,
) -> Outlook:
    """What `more` labels of a tag would bring.

    Parameters
    ----------
    decks : photo to deck, of the labelled photos.
    labels : people's words; those of other tags, 'unclear' and those with weight 0 are passed over.
    vectors_of : from a photo's hash to its vectors.
    seed : fixes the parts.

    Raises
    ------
    Cancelled : `cancel` answered true.
    """
    firm = _firm(tag, decks, labels)
    why = _too_few(firm, decks)
    if why:
        return Outlook(tag, len(firm), more, why_not=why)
    shelf = Shelf(vectors_of)
    rows = []
    for turn in range(TURNS):
        parts = _deal(firm, decks, f"{seed}/{turn}")
        for part in range(PARTS):
            if cancel is not None and cancel():
                raise Cancelled("The estimate was stopped.")
            held = [sha for sha in firm if parts[decks[sha]] == part]
            rest = sorted((deck for deck in parts if parts[deck] != part), key=lambda d: draw(seed, turn, d))
            rows.append(_errors(tag, firm, decks, held, rest, shelf))
    return _carried_on(tag, len(firm), more, np.array(rows))


def _firm(tag: str, decks: Mapping[str, str], labels: Sequence[TrainingLabel]) -> dict[str, TrainingLabel]:
    """One present or absent word per photo; photos that people disagree on are passed over."""
    found: dict[str, TrainingLabel] = {}
    disputed = set()
    for one in sorted(labels, key=lambda label: (label.photo, label.by, label.value)):
        if one.tag == tag and one.value in ("present", "absent") and one.weight > 0 and one.photo in decks:
            if one.photo in found and found[one.photo].value != one.value:
                disputed.add(one.photo)
            found[one.photo] = one
    return {sha: one for sha, one in found.items() if sha not in disputed}


def _too_few(firm: Mapping[str, TrainingLabel], decks: Mapping[str, str]) -> str:
    present = {decks[sha] for sha, one in firm.items() if one.value == "present"}
    absent = {decks[sha] for sha, one in firm.items() if one.value == "absent"}
    if len(firm) < LEAST_LABELS:
        return f"it needs at least {LEAST_LABELS} photos answered present or absent (you have {len(firm)})"
    if min(len(present), len(absent)) < LEAST_DECKS:
        return (
            f"it needs at least {LEAST_DECKS} decks that show it and {LEAST_DECKS} with photos that do not "
            f"(you have {len(present)} and {len(absent)})"
        )
    return ""


def _deal(firm: Mapping[str, TrainingLabel], decks: Mapping[str, str], key: str) -> dict[str, int]:
    """Deck to part; decks that show the tag are dealt first, so that each part has its share of them."""
    positive = {decks[sha] for sha, one in firm.items() if one.value == "present"}
    everyone = {decks[sha] for sha in firm}
    order = [
        deck
        for group in (positive, everyone - positive)
        for deck in sorted(group, key=lambda name: draw(key, name))
    ]
    return {deck: place % PARTS for place, deck in enumerate(order)}


def _errors(
    tag: str,
    firm: Mapping[str, TrainingLabel],
    decks: Mapping[str, str],
    held: Sequence[str],
    rest: Sequence[str],
    vectors_of: VectorsOf,
) -> list[float]:
    """1 - average precision on photos held out, per share of `SHARES`; NaN where it cannot be had."""
    truth = np.array([firm[sha].value == "present" for sha in held], float)
    found = []
    for share in SHARES:
        photos = _first_decks(firm, decks, rest, round(share * len(firm)))
        model = train_tags(
            [(sha, decks[sha]) for sha in photos],
            [firm[sha] for sha in photos],
            vectors_of,
            tags=[tag],
            promise_rate=NO_PROMISE,
        )[tag]
        if not isinstance(model, TagModel) or not truth.any() or truth.all():
            found.append(float("nan"))
            continue
        blend = np.array([model.blend])
        raw = np.array([blended(model.whole, model.cells, blend, vectors_of(sha))[0] for sha in held])
        found.append(1 - float(average_precision(raw, truth)))
    return found


def _first_decks(
    firm: Mapping[str, TrainingLabel], decks: Mapping[str, str], order: Sequence[str], most: int
) -> list[str]:
    """Photos of the first decks of an order, the last deck cut where the number is reached."""
    by_deck: dict[str, list[str]] = {}
    for sha in sorted(firm):
        by_deck.setdefault(decks[sha], []).append(sha)
    return [sha for deck in order for sha in by_deck[deck]][:most]


def _carried_on(tag: str, labels: int, more: int, errors: Floats) -> Outlook:
    """The outlook from errors (parts, shares)."""
    whole = np.isfinite(errors).all(axis=0)  # the smallest share may be too small to train on: two will do
    if whole.sum() < 2:
        why = "parts of these labels are too small to train on: label more decks that show it"
        return Outlook(tag, labels, more, why_not=why)
    sizes, kept = np.round(np.array(SHARES) * labels)[whole], errors[:, whole]
    now, then = carry_on(sizes, kept.mean(axis=0), labels, more)
    count = len(kept)
    left_out = np.array(
        [carry_on(sizes, np.delete(kept, k, axis=0).mean(axis=0), labels, more) for k in range(count)]
    )
    gains = left_out[:, 0] - left_out[:, 1]
    variance = (count - 1) / count * float(((gains - gains.mean()) ** 2).sum())
    half = T_7 * float(np.sqrt(variance * (1 / count + 1 / (PARTS - 1)) * count))
    points = tuple((int(n), round(1 - float(e), 4)) for n, e in zip(sizes, kept.mean(axis=0), strict=True))
    gain = now - then
    return Outlook(
        tag, labels, more, 1 - now, 1 - then, gain, max(now - 1, gain - half), min(now, gain + half), points
    )


def carry_on(sizes: Floats, errors: Floats, labels: int, more: int) -> tuple[float, float]:
    """Errors at `labels` and at `labels + more` on the power law fitted to errors at sizes, each (k,)."""
    x, y = np.log(sizes), np.log(np.maximum(errors, FLOOR))
    slope = float(((x - x.mean()) * (y - y.mean())).sum() / ((x - x.mean()) ** 2).sum())
    level = float(y.mean() - slope * x.mean())
    now, then = (min(1.0, float(np.exp(level + slope * np.log(n)))) for n in (labels, labels + more))
    return now, then
