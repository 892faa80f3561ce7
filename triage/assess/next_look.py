"""The next best look: which one photo, label or fact would most likely change the order of decks.

For every deck and every thing not known of it, the gain is the chance that it turns out bad times how much
heavier the deck's worst printed tier would then weigh, over what it costs to find out. That is the expected
rise of the deck's place, a cheap bound on the expected change of the order: the other decks stay where they
are. Chances are the machine's where it spoke, else the share of decks with the defect among the decks looked
at so far. Nothing of it is printed as a chance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush
from itertools import islice
from typing import TYPE_CHECKING, Any

from triage.assess.coverage import coverage, needs
from triage.assess.next_facts import HEIGHT, fact_asks
from triage.assess.records import DeckEvidence
from triage.assess.rules import TIER_WEIGHT, RuleBook
from triage.assess.summary import deck_view
from triage.assess.view import DeckView, Item
from triage.domain.reviewing import is_reviewed
from triage.domain.vocabulary import SHOWS, Vocabulary
from triage.library.records import Photo

if TYPE_CHECKING:
    from triage.library import Library

COST: Mapping[str, float] = {"label": 1.0, "photo": 4.0}
"""What finding out costs, in labels: a photo needs another way there; for facts see `next_facts`."""
AGAIN = 0.5
"""What a second request for the same deck is worth against the first."""
SAME_FACT = 0.8
"""What the same fact of another deck is worth once it was asked for: a list of one question says little."""


@dataclass(frozen=True)
class NextLook:
    """One thing to find out: `what` is a photo's name and tag, an element or a fact's key.

    `photo` and `tag` are set where one photo is to be labeled. `gain` orders requests and is never printed.
    """

    deck: str
    kind: str
    what: str
    why: str
    gain: float
    photo: str | None = None
    tag: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `next --json` promises, and a few more."""
        return {
            "deck": self.deck,
            "kind": self.kind,
            "what": self.what,
            "why": self.why,
            "photo": self.photo,
            "tag": self.tag,
        }


def next_best_of_library(lib: Library, n: int = 10) -> list[NextLook]:
    """Return the library's next best looks, best first."""
    from triage.assess.evidence import gather_all, rule_book_of

    return next_best(gather_all(lib), n, rule_book_of(lib), lib.vocabulary())


@dataclass(frozen=True)
class Ask:
    """One thing to find out at a deck, before it is known how common each defect is in the library.

    Its gain is the largest of `sure` and `min(share of the tag, cap) * rise` over `by_share`, each a
    (tag, cap, rise).
    """

    look: NextLook
    sure: float = 0.0
    by_share: tuple[tuple[str, float, float], ...] = ()

    def at(self, shares: Mapping[str, float]) -> NextLook:
        """Return the look with its gain."""
        gains = [min(shares[tag], cap) * rise for tag, cap, rise in self.by_share]
        return replace(self.look, gain=max([self.sure, *gains]))


@dataclass(frozen=True)
class DeckAsks:
    """What could be found out at one deck, and which defects a person answered there (True: it has it)."""

    asks: tuple[Ask, ...]
    answered: Mapping[str, bool]


def asks_of(evidence: DeckEvidence, book: RuleBook, vocabulary: Vocabulary) -> DeckAsks:
    """Return everything that could be found out at a deck; it rests on the deck alone."""
    view = deck_view(evidence, book)
    asks = [*_labels(evidence, view, book, vocabulary), *_facts(evidence, view, book)]
    asks += _photos(evidence, view, book, vocabulary)
    return DeckAsks(tuple(asks), _answered(evidence, vocabulary))


def _answered(evidence: DeckEvidence, vocabulary: Vocabulary) -> dict[str, bool]:
    told: dict[str, bool] = {}
    for (_, tag), word in evidence.words.items():
        if word.value != "unclear" and tag in vocabulary.tags:
            told[tag] = told.get(tag, False) or word.value == "present"
    return told


def next_best(
    decks: Sequence[DeckEvidence], n: int, book: RuleBook, vocabulary: Vocabulary
) -> list[NextLook]:
    """Return up to `n` looks over all decks, best first; a second one at the same deck counts half."""
    return best_of([asks_of(evidence, book, vocabulary) for evidence in decks], n, vocabulary)


def best_of(decks: Sequence[DeckAsks], n: int, vocabulary: Vocabulary) -> list[NextLook]:
    """Return up to `n` looks over what could be found out at all decks, as `next_best` does."""
    shares = shares_of([one.answered for one in decks], vocabulary)
    found = []
    for deck in decks:
        best: dict[tuple[str, str | None], NextLook] = {}
        looks = _height_first([ask.at(shares) for ask in deck.asks])
        for look in sorted(looks, key=lambda one: (-one.gain, one.kind, one.what)):
            best.setdefault((look.kind, look.tag or look.what), look)
        found += [
            replace(one, gain=one.gain * AGAIN**rank) for rank, one in enumerate(islice(best.values(), n))
        ]
    return _varied([one for one in found if one.gain > 0], n)


def _varied(looks: list[NextLook], n: int) -> list[NextLook]:
    """Return the best `n`, best first; each repetition of one fact counts for less than the one before."""
    heap = [(-one.gain, one.deck, one.kind, one.what, 0, one) for one in looks]
    heapify(heap)
    asked: Counter[str] = Counter()
    chosen: list[NextLook] = []
    while heap and len(chosen) < n:
        gain, deck, kind, what, seen, one = heappop(heap)
        times = asked[what] if kind == "fact" else 0
        if times > seen:
            heappush(heap, (gain * SAME_FACT ** (times - seen), deck, kind, what, times, one))
            continue
        asked[what] += kind == "fact"
        chosen.append(one)
    return chosen


def _height_first(looks: Sequence[NextLook]) -> list[NextLook]:
    """Return a deck's looks with the height before all others where it is asked for."""
    most = max((one.gain for one in looks), default=0.0)
    return [
        replace(one, gain=most * 1.01) if one.kind == "fact" and one.what == HEIGHT and most > 0 else one
        for one in looks
    ]


def _facts(evidence: DeckEvidence, view: DeckView, book: RuleBook) -> Iterator[Ask]:
    for one in fact_asks(evidence, view, book, lambda changed: weight(changed, book)):
        yield Ask(NextLook(evidence.deck, "fact", one.key, one.why, 0.0), one.gain)


def shares_of(answered: Sequence[Mapping[str, bool]], vocabulary: Vocabulary) -> dict[str, float]:
    """Return the share of decks with each tag among those where a person answered it; (k + 1)/(n + 2)."""
    count = {tag: 0 for tag in vocabulary.defects}
    have = dict(count)
    for told in answered:
        for tag, present in told.items():
            if tag in count:
                count[tag] += 1
                have[tag] += present
    return {tag: (have[tag] + 1) / (count[tag] + 2) for tag in vocabulary.defects}


def weight(view: DeckView, book: RuleBook) -> float:
    """Return the weight of the worst tier that persons, facts and checks print for a deck; 0 for none."""
    step = book.matrix.fall(view.fact("height_above_grade_ft")).step
    held = (rule for rule in book.worst_first[step] if rule.when.holds(view) is not None)
    return next((TIER_WEIGHT[rule.tiers[step]] for rule in held), 0.0)


def _with_tag(view: DeckView, tag: str, photo: Photo) -> DeckView:
    item = Item(photo, 0, tag, "seen-by-person", None, 1, (), 1.0)
    return replace(view, items={**view.items, tag: [item, *view.items.get(tag, ())]})


def _labels(evidence: DeckEvidence, view: DeckView, book: RuleBook, vocabulary: Vocabulary) -> Iterator[Ask]:
    """Yield, for each core tag, the photo likeliest by the machine and the first one it did not speak of."""
    now = weight(view, book)
    for tag in vocabulary.core:
        open_photos = [p for p in evidence.photos if _is_open(evidence, p, tag)]
        if not open_photos:
            continue
        rise = (weight(_with_tag(view, tag, open_photos[0]), book) - now) / COST["label"]
        if rise <= 0:
            continue
        spoken = [(evidence.suggestions.get((photo.sha, tag)), photo) for photo in open_photos]
        guessed = [(-guess.probability, photo.name, photo) for guess, photo in spoken if guess]
        unspoken = sorted(
            ((photo.name, photo) for guess, photo in spoken if guess is None), key=lambda one: one[0]
        )
        start = f"If '{tag}' is there the deck moves up; "
        if guessed:
            chance, name, photo = min(guessed, key=lambda one: one[:2])
            why, what = f"{start}the machine suggests it.", f"{name}: {tag}"
            yield Ask(NextLook(evidence.deck, "label", what, why, 0.0, photo.sha, tag), -chance * rise)
        if unspoken:
            name, photo = unspoken[0]
            why, what = f"{start}nobody has answered it.", f"{name}: {tag}"
            look = NextLook(evidence.deck, "label", what, why, 0.0, photo.sha, tag)
            yield Ask(look, by_share=((tag, 1.0, rise / len(open_photos)),))


def _is_open(evidence: DeckEvidence, photo: Photo, tag: str) -> bool:
    word, guess = evidence.words.get((photo.sha, tag)), evidence.suggestions.get((photo.sha, tag))
    answer, pile = word.value if word else None, guess.pile if guess else None
    return not is_reviewed(answer, pile, evidence.promise.get(tag))


def _photos(
    evidence: DeckEvidence,
    view: DeckView,
    book: RuleBook,
    vocabulary: Vocabulary,
) -> Iterator[Ask]:
    asks = {need.element: need for need in needs()}
    now = weight(view, book)
    nobody = Photo("", evidence.deck, evidence.visit, "", 0, 0, 1, 0, None, None)
    for seen in coverage(evidence.visits()):
        if seen.seen not in ("poorly", "not-seen"):
            continue
        half = (0.5 if seen.seen == "poorly" else 1.0) / COST["photo"]
        by_share = []
        for tag in (vocabulary.tags[name] for name in vocabulary.defects):
            if tag.element == seen.element and not view.items.get(tag.tag):
                rise = weight(_with_tag(view, tag.tag, nobody), book) - now
                by_share.append((tag.tag, _prior(tag.core), rise * half))
        why = f"The {seen.element.replace('-', ' ')} was not seen well: {seen.why}."
        ask, tag_shown = asks[seen.element].ask, SHOWS + seen.element
        yield Ask(NextLook(evidence.deck, "photo", ask, why, 0.0, None, tag_shown), by_share=tuple(by_share))


def _prior(core: bool) -> float:
    """Return at most how common a defect is taken to be while hardly any deck was answered for it."""
    return 0.5 if core else 0.1
