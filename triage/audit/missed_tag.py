"""`audit missed`: what the machine let through into the pile `unlikely`, from decks drawn at random.

Whole decks are drawn and every photo of a drawn deck is looked at: those in the pile by somebody who did not
label them before and does not see the machine's word, the others as people have answered them. So what a
deck loses (the share of its photos with the defect that the machine called unlikely) is known, and decks are
the sample (`triage.audit.deck_losses`). An `unclear` answer counts as no defect for one bound and as one for
the other.

The promise bounds the mean loss of decks that have the defect. It is contradicted when the mean loss is
shown to be above it, and kept when it is shown to be within, each wrong with probability 1 - confidence at
most, whenever one looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from triage.audit.columns import Bytes
from triage.audit.deck_losses import mean_bounds, ratio_bounds, shown_above, shown_within
from triage.domain.plurals import count_of

UNLIKELY, UNSURE, LIKELY = 1, 2, 3
PRESENT, UNCLEAR = 3, 2


@dataclass(frozen=True)
class Promised:
    """What the model card says of a tag: the miss rate, and whether it is promised at all."""

    miss_rate: float
    holds: bool


@dataclass(frozen=True, eq=False)
class DrawnDeck:
    """A drawn deck: photos in the pile `unlikely` and the others, with their words (0 where none counts)."""

    deck: str
    pile_photos: Sequence[str]
    pile_words: Bytes
    other_photos: Sequence[str]
    other_words: Bytes

    @property
    def open(self) -> list[str]:
        """Photos that still want an answer."""
        return [
            sha
            for shas, words in ((self.pile_photos, self.pile_words), (self.other_photos, self.other_words))
            for sha, word in zip(shas, words, strict=True)
            if not word
        ]


@dataclass(frozen=True, eq=False)
class Question:
    """One tag to audit: the drawn decks in the order of the draw, and what they were drawn from.

    `population` photos lie in the pile in `frame_decks` decks that no model has seen; no deck has more than
    `largest` photos; `draws` counts the draws for this tag and model so far, this one included.
    """

    tag: str
    model: str
    seed: str
    decks: Sequence[DrawnDeck]
    population: int
    frame_decks: int
    largest: int
    promised: Promised | None = None
    draws: int = 1


@dataclass(frozen=True)
class Missed:
    """The audit of one tag. What cannot be said is null and `why_not` says why.

    `rate`, `low`, `high` are of the pile `unlikely`; `missed_share` with its bounds is the share of all
    defects that lie in it, `loss` with its bounds the mean over decks with the defect of what they lose.
    `asked` are the drawn photos that still want an answer, in the order of the draw. `verdict` is `within`
    or `above` the promise, where that is shown; `contradicts` when above.
    """

    tag: str
    model: str
    seed: str
    population: int
    n: int
    confidence: float
    bounds: str
    draws: int = 1
    frame_decks: int = 0
    drawn_decks: int = 0
    positive_decks: int = 0
    drawn: int = 0
    defects: int = 0
    unclear: int = 0
    found: int = 0
    unreviewed: int = 0
    rate: float | None = None
    low: float | None = None
    high: float | None = None
    missed_share: float | None = None
    missed_share_low: float | None = None
    missed_share_high: float | None = None
    loss: float | None = None
    loss_low: float | None = None
    loss_high: float | None = None
    promised: float | None = None
    verdict: str | None = None
    asked: tuple[str, ...] = ()
    why_not: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether the audit says something and asks for nothing more."""
        return self.rate is not None and not self.asked

    @property
    def contradicts(self) -> bool:
        """Whether the promise is contradicted: more is missed than was promised, beyond chance."""
        return self.verdict == "above"

    def to_json(self) -> dict[str, Any]:
        """The promised keys and more."""
        said = {name: value for name, value in vars(self).items() if name != "tag"}
        return {
            **said,
            "contradicts": self.contradicts,
            "asked": list(self.asked),
            "why_not": list(self.why_not),
        }

    def payload(self) -> dict[str, Any]:
        """The payload of the event `audited`."""
        said = self.to_json()
        del said["asked"]
        return {"tag": self.tag, "missed": self.defects, **said}

    @classmethod
    def from_payload(cls, payload: Any) -> Missed:
        """Return a finished audit as it was recorded."""
        known = {name: payload[name] for name in cls.__dataclass_fields__ if name in payload}
        return cls(**{**known, "why_not": tuple(payload.get("why_not", ()))})


def audit_tag(question: Question, *, confidence: float = 0.95, early: bool = False) -> Missed:
    """Audit one tag from the words on its drawn decks.

    With `early` the decks are taken in the order of the draw as far as they are answered, and the audit
    stops as soon as the promise is shown to hold or not.
    """
    decks = list(question.decks)
    n = sum(len(one.pile_photos) for one in decks)
    base: dict[str, Any] = {
        "tag": question.tag,
        "model": question.model,
        "seed": question.seed,
        "population": question.population,
        "n": n,
        "confidence": confidence,
        "bounds": "anytime" if early else "decks",
        "draws": question.draws,
        "frame_decks": question.frame_decks,
        "drawn_decks": len(decks),
    }
    if not question.population or not n:
        return Missed(**base, why_not=("the pile `unlikely` is empty, so it hides nothing",))
    asked = [sha for one in decks for sha in one.open]
    answered = [one for one in decks if not one.open]
    if early:
        first_open = next((place for place, one in enumerate(decks) if one.open), len(decks))
        answered = decks[:first_open]
        for stop in range(1, first_open + 1):
            found = _stated(question, decks[:stop], base, confidence)
            if found.verdict is not None:
                return found
    why: tuple[str, ...] = ()
    if question.draws > 1:
        why = (f"this is draw {question.draws} for this model; the earlier ones are in the register",)
    if asked and not (early and answered):
        said = (
            f"{count_of(len(asked), 'drawn photo')} in {count_of(len(decks) - len(answered), 'deck')} still "
            "to be answered"
        )
        return Missed(**base, asked=tuple(asked), why_not=(said, *why))
    found = _stated(question, answered, base, confidence)
    return Missed(**{**vars(found), "asked": tuple(asked), "why_not": (*found.why_not, *why)})


def _verdict(least: Any, most: Any, promised: float | None, confidence: float) -> str | None:
    """Say whether losses (per deck, at least and at most) show a promise broken or kept, or neither."""
    if promised is None:
        return None
    if shown_above(least, promised, confidence):
        return "above"
    return "within" if shown_within(most, promised, confidence) else None


def _stated(
    question: Question, decks: Sequence[DrawnDeck], base: dict[str, Any], confidence: float
) -> Missed:
    """State rates, shares and losses of decks that are wholly answered."""

    def count(words: Sequence[Bytes], word: int) -> Any:
        return np.array([int((one == word).sum()) for one in words], float)

    piles, others = [one.pile_words for one in decks], [one.other_words for one in decks]
    missed, unclear = count(piles, PRESENT), count(piles, UNCLEAR)
    found, found_unclear = count(others, PRESENT), count(others, UNCLEAR)
    sizes = np.array([len(one) for one in piles], float)
    low, high = ratio_bounds(missed, missed + unclear, sizes, question.largest, confidence)
    if len(decks) == question.frame_decks:  # every photo was looked at: nothing is left to chance
        low, high = float(missed.sum() / sizes.sum()), float((missed + unclear).sum() / sizes.sum())
    why = []
    with_it = missed + found
    share = share_low = share_high = None
    if with_it.sum():
        share = float(missed.sum() / with_it.sum())
        share_low = ratio_bounds(missed, missed, with_it + found_unclear, question.largest, confidence)[0]
        share_high = ratio_bounds(
            missed + unclear, missed + unclear, with_it + unclear, question.largest, confidence
        )[1]
    else:
        why.append("missed_share: no defect was found anywhere, so there is no share to report")
    # A deck with the defect for sure or perhaps: what it loses at least, and at most.
    perhaps = (with_it + found_unclear) > 0
    least = missed[perhaps] / (with_it + found_unclear)[perhaps]
    maybe = (with_it + unclear) > 0
    most = (missed + unclear)[maybe] / (with_it + unclear)[maybe]
    surely = with_it > 0
    loss = float(np.mean(missed[surely] / with_it[surely])) if surely.any() else None
    bounds = mean_bounds(least, most, confidence) if surely.any() else (None, None)
    promised = question.promised.miss_rate if question.promised and question.promised.holds else None
    verdict = _verdict(least, most, promised, confidence) if surely.any() else None
    if promised is not None and surely.any() and verdict is None:
        why.append(
            f"promise: {count_of(int(surely.sum()), 'deck')} with the defect looked at, too few to show "
            f"whether {promised:.0%} is kept"
        )
    return Missed(
        **base,
        positive_decks=int(surely.sum()),
        drawn=int(sizes.sum()),
        defects=int(missed.sum()),
        unclear=int(unclear.sum()),
        found=int(found.sum()),
        rate=float(missed.sum() / max(1.0, sizes.sum())),
        low=low,
        high=high,
        missed_share=share,
        missed_share_low=share_low,
        missed_share_high=share_high,
        loss=loss,
        loss_low=bounds[0],
        loss_high=bounds[1],
        promised=promised,
        verdict=verdict,
        why_not=tuple(why),
    )
