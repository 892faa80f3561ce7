"""The next best look: which one photo, label or fact would most likely change the order of decks.

For every deck and every thing not known of it, the gain is the chance that it turns out bad times how much
heavier the deck's worst printed tier would then weigh, over what it costs to find out. That is the expected
rise of the deck's place, a cheap bound on the expected change of the order: the other decks stay where they
are. Chances are the machine's where it spoke, else the share of decks with the defect among the decks looked
at so far. Nothing of it is printed as a chance.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING, Any

from triage.assess.coverage import coverage, needs
from triage.assess.records import DeckEvidence
from triage.assess.rules import TIER_WEIGHT, RuleBook, fact_elements
from triage.assess.summary import deck_view
from triage.assess.view import DeckView, Item
from triage.domain.reviewing import is_reviewed
from triage.domain.vocabulary import SHOWS, Vocabulary
from triage.library.records import Photo

if TYPE_CHECKING:
    from triage.library import Library

COST: Mapping[str, float] = {"label": 1.0, "fact": 2.0, "photo": 4.0}
"""What finding out costs, in labels: a fact is measured on site, a photo needs another way there."""
FACT_CHANCE = 0.25
"""Taken for a fact to turn out as something that changes how urgent the deck is."""
AGAIN = 0.5
"""What a second request for the same deck is worth against the first."""


@dataclass(frozen=True)
class NextLook:
    """One thing to find out: `what` is a photo's name and tag, an element or a fact's key.

    `photo` and `tag` are set where one photo is to be labelled. `gain` orders requests and is never printed.
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


def next_best(
    decks: Sequence[DeckEvidence], n: int, book: RuleBook, vocabulary: Vocabulary
) -> list[NextLook]:
    """Return up to `n` looks over all decks, best first; a second one at the same deck counts half."""
    shares = defect_shares(decks, vocabulary)
    found = []
    for evidence in decks:
        view = deck_view(evidence, book)
        looks = [*_labels(evidence, view, book, vocabulary, shares), *_facts(evidence, view, book)]
        looks += _photos(evidence, view, book, vocabulary, shares)
        best: dict[tuple[str, str | None], NextLook] = {}
        for look in sorted(looks, key=lambda one: (-one.gain, one.kind, one.what)):
            best.setdefault((look.kind, look.tag or look.what), look)
        found += [
            replace(one, gain=one.gain * AGAIN**rank) for rank, one in enumerate(islice(best.values(), n))
        ]
    found.sort(key=lambda one: (-one.gain, one.deck, one.kind, one.what))
    return [one for one in found if one.gain > 0][:n]


def defect_shares(decks: Sequence[DeckEvidence], vocabulary: Vocabulary) -> dict[str, float]:
    """Return the share of decks with each tag among decks where a person answered it; (k + 1)/(n + 2)."""
    shares = {}
    for tag in vocabulary.defects:
        answered = [
            {word.value for (_, name), word in one.words.items() if name == tag} - {"unclear"}
            for one in decks
        ]
        told = [values for values in answered if values]
        shares[tag] = (sum("present" in values for values in told) + 1) / (len(told) + 2)
    return shares


def weight(view: DeckView, book: RuleBook) -> float:
    """Return the weight of the worst tier that persons, facts and checks print for a deck; 0 for none."""
    step = book.matrix.fall(view.fact("height_above_grade_ft")).step
    held = (rule for rule in book.worst_first[step] if rule.when.holds(view) is not None)
    return next((TIER_WEIGHT[rule.tiers[step]] for rule in held), 0.0)


def _with_tag(view: DeckView, tag: str, photo: Photo) -> DeckView:
    item = Item(photo, 0, tag, "seen-by-person", None, 1, (), 1.0)
    return replace(view, items={**view.items, tag: [item, *view.items.get(tag, ())]})


def _labels(
    evidence: DeckEvidence,
    view: DeckView,
    book: RuleBook,
    vocabulary: Vocabulary,
    shares: Mapping[str, float],
) -> Iterator[NextLook]:
    now = weight(view, book)
    for tag in vocabulary.core:
        open_photos = [p for p in evidence.photos if _is_open(evidence, p, tag)]
        if not open_photos:
            continue
        rise = weight(_with_tag(view, tag, open_photos[0]), book) - now
        for photo in open_photos if rise > 0 else ():
            suggestion = evidence.suggestions.get((photo.sha, tag))
            chance = shares[tag] / len(open_photos) if suggestion is None else suggestion.probability
            words = "the machine suggests it" if suggestion else "nobody has answered it"
            why = f"If '{tag}' is there the deck moves up; {words}."
            what = f"{photo.name}: {tag}"
            yield NextLook(evidence.deck, "label", what, why, chance * rise / COST["label"], photo.sha, tag)


def _is_open(evidence: DeckEvidence, photo: Photo, tag: str) -> bool:
    word, guess = evidence.words.get((photo.sha, tag)), evidence.suggestions.get((photo.sha, tag))
    answer, pile = word.value if word else None, guess.pile if guess else None
    return not is_reviewed(answer, pile, evidence.promise.get(tag))


def _photos(
    evidence: DeckEvidence,
    view: DeckView,
    book: RuleBook,
    vocabulary: Vocabulary,
    shares: Mapping[str, float],
) -> Iterator[NextLook]:
    asks = {need.element: need for need in needs()}
    now = weight(view, book)
    nobody = Photo("", evidence.deck, evidence.visit, "", 0, 0, 1, 0, None, None)
    for seen in coverage(evidence.visits()):
        if seen.seen not in ("poorly", "not-seen"):
            continue
        best = 0.0
        for tag in (vocabulary.tags[name] for name in vocabulary.defects):
            if tag.element == seen.element and not view.items.get(tag.tag):
                rise = weight(_with_tag(view, tag.tag, nobody), book) - now
                best = max(best, min(shares[tag.tag], _prior(tag.core)) * rise)
        if seen.seen == "poorly":
            best /= 2
        why = f"The {seen.element.replace('-', ' ')} was not seen well: {seen.why}."
        ask, tag_shown = asks[seen.element].ask, SHOWS + seen.element
        yield NextLook(evidence.deck, "photo", ask, why, best / COST["photo"], None, tag_shown)


def _prior(core: bool) -> float:
    """Return at most how common a defect is taken to be while hardly any deck was answered for it."""
    return 0.5 if core else 0.1


def _facts(evidence: DeckEvidence, view: DeckView, book: RuleBook) -> Iterator[NextLook]:
    values: dict[str, set[Any]] = {}
    for rule in book.in_order:
        if not any(view.items.get(tag) for tag in rule.tags):
            continue  # only what decides how urgent a thing is that was seen or suggested
        for leaf in rule.when.leaves("fact"):
            if view.fact(leaf.name) is None:
                values.setdefault(leaf.name, set()).update(_either_side(leaf.tests))
    now = weight(view, book)
    for key, options in sorted(values.items()):
        weights = [
            weight(replace(view, facts={**view.facts, key: value}), book)
            for value in sorted(options, key=repr)
        ]
        spread = sum(abs(one - now) for one in weights) / len(weights)
        element = fact_elements().get(key, "whole-deck").replace("-", " ")
        why = f"What is found at the {element} decides how urgent the deck is; '{key}' is not known."
        yield NextLook(evidence.deck, "fact", key, why, FACT_CHANCE * spread / COST["fact"])


def _either_side(tests: Sequence[tuple[str, Any]]) -> Iterator[Any]:
    for test, wanted in tests:
        if test in ("over", "under", "at_least", "at_most"):
            yield from (wanted, wanted * 1.5, wanted * 0.5)
        elif test == "is":
            yield wanted
        elif test == "one_of":
            yield from wanted
