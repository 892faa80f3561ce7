"""`audit missed`: what the machine let through into the pile `unlikely`, from a random draw of that pile.

The pile's rate of defects has exact bounds. The share of all defects that were missed, N q / (N q + found),
is stated where the other piles were reviewed whole; else the other piles are drawn from too (strata), or only
its bounds are given, as wide as the unreviewed photos make them. An `unclear` answer counts as none found
for the low bound and as a defect for the high one.

The card's promise bounds the share missed at a deck with the defect, averaged over such decks; the audit
states the share of all such photos that were sorted. It contradicts the promise when even the low bound of
that share is above it. Review the other piles before an audit that may stop early: what was found there sets
what the promise allows in this one, and with it the prior of the anytime bounds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.audit.bounds import Bounds, anytime, first_stop, hypergeometric, prior_for, stratified
from triage.audit.columns import Bytes
from triage.audit.sizes import sample_size
from triage.errors import BadInput

UNLIKELY, UNSURE, LIKELY = 1, 2, 3
PRESENT, UNCLEAR = 3, 2


@dataclass(frozen=True)
class Promised:
    """What the model card says of a tag: the miss rate, and whether it is promised at all."""

    miss_rate: float
    holds: bool


@dataclass(frozen=True)
class Missed:
    """The audit of one tag. What cannot be said is null and `why_not` says why.

    `rate`, `low`, `high` are of the pile `unlikely`; `missed_share` with its bounds is the share of all
    defects that lie in it. `asked` are the drawn photos that still want an answer, in the order of the draw.
    `verdict` is `within` or `above` the promise, where that is shown; `contradicts` when above.
    """

    tag: str
    model: str
    seed: str
    population: int
    n: int
    drawn: int
    defects: int
    unclear: int
    rate: float | None
    low: float | None
    high: float | None
    missed_share: float | None
    missed_share_low: float | None
    missed_share_high: float | None
    found: int
    unreviewed: int
    bounds: str
    confidence: float
    promised: float | None
    verdict: str | None
    asked: tuple[str, ...]
    why_not: tuple[str, ...]

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
        return {
            "rate": self.rate,
            "low": self.low,
            "high": self.high,
            "missed_share": self.missed_share,
            "missed_share_low": self.missed_share_low,
            "missed_share_high": self.missed_share_high,
            "population": self.population,
            "n": self.n,
            "drawn": self.drawn,
            "defects": self.defects,
            "unclear": self.unclear,
            "found": self.found,
            "unreviewed": self.unreviewed,
            "bounds": self.bounds,
            "confidence": self.confidence,
            "promised": self.promised,
            "verdict": self.verdict,
            "contradicts": self.contradicts,
            "seed": self.seed,
            "model": self.model,
            "asked": list(self.asked),
            "why_not": list(self.why_not),
        }

    def payload(self) -> dict[str, Any]:
        """The payload of the event `audited`."""
        said = self.to_json()
        for key in ("asked", "why_not"):
            del said[key]
        return {"tag": self.tag, "missed": self.defects, **said}


@dataclass(frozen=True, eq=False)
class Question:
    """One tag to audit: `words` and `piles` (photos,) and the photos in the order of the draw."""

    tag: str
    model: str
    seed: str
    words: Bytes
    piles: Bytes
    order: NDArray[np.intp]
    photos: Sequence[str]
    promised: Promised | None = None

    def drawn(self, pile: int) -> NDArray[np.intp]:
        """Photos of a pile in the order of the draw."""
        return np.asarray(self.order[self.piles[self.order] == pile])


def audit_tag(
    question: Question,
    n: int | None = None,
    *,
    confidence: float = 0.95,
    early: bool = False,
    strata: bool = False,
) -> Missed:
    """Audit one tag from its words, piles and order of draw.

    `n` photos of the pile `unlikely` (default: 95 % and 5 % by `sample_size`); with `early` the bounds hold
    at any moment and the audit stops as soon as the promise is shown to hold or not; with `strata` the other
    piles are drawn from too. Raises BadInput for an n below one or larger than the pile.
    """
    pile = question.drawn(UNLIKELY)
    if not len(pile):
        return _nothing(question, n or 0, confidence, "the pile `unlikely` is empty, so it hides nothing")
    n = sample_size(0.95, 0.05, len(pile)) if n is None else n
    if n < 1:
        raise BadInput(f"a sample of {n} is no sample")
    if n > len(pile):
        raise BadInput(
            f"{question.tag}: a sample of {n} is larger than the {len(pile)} photos in the pile `unlikely`",
            f"Use --n {len(pile)} or less.",
        )
    answers = question.words[pile[:n]]
    blank = np.flatnonzero(answers == 0)
    answered = int(blank[0]) if len(blank) else n
    others = _Others(question, n, strata, confidence)
    stop = None
    if early and answered:
        stop = _stop(answers[:answered], len(pile), question.promised, others, confidence)
        answered = stop.drawn if stop else answered
    asked = [] if stop else [int(place) for place in pile[:n][answers == 0]]
    asked += others.asked
    seen = answers[:answered] if early else answers[answers > 0]
    why: list[str] = []
    bounds = None
    if not len(seen) or (len(blank) and not early):
        why.append(f"{len(blank)} of the {n} drawn photos have no answer yet")
    else:
        level = others.level if strata else confidence
        bounds = _bounds(seen, len(pile), level, early, question.promised, others)
    return _put_together(question, len(pile), n, seen, bounds, others, asked, why, confidence, early)


class _Others:
    """What is known of the defects outside `unlikely`: exactly, from draws, or only within limits."""

    def __init__(self, question: Question, n: int, strata: bool, confidence: float) -> None:
        words = question.words[(question.piles == UNSURE) | (question.piles == LIKELY)]
        self.found = int((words == PRESENT).sum())
        self.open = int((words == 0).sum())
        self.low, self.high = self.found, self.found + self.open + int((words == UNCLEAR).sum())
        self.estimate: float | None = float(self.found) if not self.open else None
        self.asked: list[int] = []
        self.level = confidence
        if strata and self.open:
            self.level = 1.0 - (1.0 - confidence) / 2.0
            self._draw(question, n)

    def _draw(self, question: Question, n: int) -> None:
        piles = [pile for pile in (question.drawn(UNSURE), question.drawn(LIKELY)) if len(pile)]
        taken = [pile[:n] for pile in piles]
        self.asked = [int(place) for part in taken for place in part if question.words[place] == 0]
        if self.asked:
            return
        sizes = ([len(part) for part in taken], [len(pile) for pile in piles])
        surely = [int((question.words[part] == PRESENT).sum()) for part in taken]
        perhaps = [int((question.words[part] >= UNCLEAR).sum()) for part in taken]
        least, most = stratified(surely, *sizes, self.level), stratified(perhaps, *sizes, self.level)
        self.estimate = least.estimate
        self.low, self.high = max(self.low, least.low), min(self.high, most.high)


def _allowed(promised: Promised, found: int) -> int:
    """Largest number of defects in `unlikely` with which the share missed keeps the promise."""
    if promised.miss_rate >= 1.0:
        return 1 << 40
    return int(np.floor(promised.miss_rate * found / (1.0 - promised.miss_rate) + 1e-9))


def _stop(answers: Bytes, size: int, promised: Promised | None, others: _Others, confidence: float) -> Any:
    """The first moment at which the promise is shown to hold, or not to; none without a promise."""
    if promised is None:
        return None
    within = first_stop(answers >= UNCLEAR, size, min(1.0, _allowed(promised, others.low) / size), confidence)
    above = first_stop(answers == PRESENT, size, min(1.0, _allowed(promised, others.high) / size), confidence)
    stops = [stop for stop in (within, above) if stop is not None]
    wanted = [stop for stop, want in ((within, "within"), (above, "above")) if stop and stop.verdict == want]
    return min(wanted, key=lambda stop: stop.drawn) if stops and wanted else None


def _bounds(
    seen: Bytes, size: int, level: float, early: bool, promised: Promised | None, others: _Others
) -> Bounds:
    """Bounds of the number of defects in the pile; unclear answers widen them upward."""
    surely, perhaps = int((seen == PRESENT).sum()), int((seen >= UNCLEAR).sum())
    if early:
        target = _allowed(promised, others.low) / size if promised else 0.05
        prior = prior_for(min(target, 1.0) / 5.0)
        low, high = (anytime(found, len(seen), size, level, prior) for found in (surely, perhaps))
    else:
        low, high = (hypergeometric(found, len(seen), size, level) for found in (surely, perhaps))
    return Bounds(size, low.estimate, low.low, high.high)


def _share(missed: float, found: float) -> float | None:
    return missed / (missed + found) if missed + found > 0 else None


def _put_together(
    question: Question,
    size: int,
    n: int,
    seen: Bytes,
    bounds: Bounds | None,
    others: _Others,
    asked: list[int],
    why: list[str],
    confidence: float,
    early: bool,
) -> Missed:
    share = share_low = share_high = rate = low = high = None
    verdict = None
    if bounds is not None:
        rate, low, high = bounds.rates
        share_low, share_high = _share(bounds.low, others.high) or 0.0, _share(bounds.high, others.low)
        if others.estimate is None:
            why.append(
                f"missed_share: {others.open} photos of the other piles have no answer; review them, or "
                "draw from them too (strata)"
            )
        else:
            share = _share(bounds.estimate, others.estimate)
            if share is None:
                why.append("missed_share: no defect was found anywhere, so there is no share to tell")
        if question.promised is not None and question.promised.holds:
            verdict = _verdict(share_low, share_high, question.promised.miss_rate)
    return Missed(
        question.tag,
        question.model,
        question.seed,
        size,
        n,
        len(seen),
        int((seen == PRESENT).sum()),
        int((seen == UNCLEAR).sum()),
        rate,
        low,
        high,
        share,
        share_low if bounds else None,
        share_high,
        others.found,
        others.open,
        "anytime" if early else "exact",
        confidence,
        question.promised.miss_rate if question.promised and question.promised.holds else None,
        verdict,
        tuple(question.photos[place] for place in dict.fromkeys(asked)),
        tuple(why),
    )


def _verdict(low: float, high: float | None, promised: float) -> str | None:
    if low > promised:
        return "above"
    if high is not None and high <= promised:
        return "within"
    return None


def _nothing(question: Question, n: int, confidence: float, why: str) -> Missed:
    others = _Others(question, n, False, confidence)
    return Missed(
        question.tag,
        question.model,
        question.seed,
        0,
        n,
        0,
        0,
        0,
        None,
        None,
        None,
        None,
        None,
        None,
        others.found,
        others.open,
        "exact",
        confidence,
        None,
        None,
        (),
        (why,),
    )


def withdrawn(audits: Sequence[Mapping[str, Any]], model: str) -> set[str]:
    """Return the tags whose promise by a model was contradicted by an audit (payloads of `audited`).

    Once withdrawn it stays so until the tag is trained again: a later audit of the same model, with another
    seed, does not bring it back.
    """
    return {str(one["tag"]) for one in audits if one["model"] == model and one.get("contradicts")}
