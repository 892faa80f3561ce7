"""Every rule fires in its examples and stays silent in its near misses (rule_examples.toml)."""

import tomllib
from pathlib import Path
from typing import Any

import deck_builder as made
import pytest

from triage.assess import RuleBook, assess_deck, load_rule_book
from triage.domain.vocabulary import load_vocabulary
from triage.structure import Check

EXAMPLES = tomllib.loads((Path(__file__).parent / "rule_examples.toml").read_text(encoding="utf-8"))
VOCABULARY = load_vocabulary()
BOOK = load_rule_book(None, VOCABULARY)


def _rows(kind: str) -> list[Any]:
    return [
        pytest.param(rule, example, id=f"{rule}-{number}")
        for rule, given in EXAMPLES.items()
        for number, example in enumerate(given[kind])
    ]


def _check(name: str, given: dict[str, Any]) -> Check:
    ratio = given.get("ratio")
    return Check(
        name,
        given.get("kind", "hazard"),
        ratio,
        1.0 if ratio is not None else None,
        ratio,
        "",
        given["verdict"],
        tuple(given.get("missing", ())),
        given.get("why", "made by hand"),
        "made by hand",
        given.get("reason", "compared"),
    )


def evidence(example: dict[str, Any], value: str = "present") -> made.DeckEvidence:
    shot = made.photo("one.jpg")
    photos, labels, guesses = [shot], [], []
    for tag, count in example.get("tags", {}).items():
        if value == "guess":
            guesses.append(made.guess(shot, tag))
        else:
            labels.append(made.label(shot, tag, value, count=count))
    labels += [made.label(shot, tag, "unclear") for tag in example.get("unclear", ())]
    facts = dict(example.get("facts", {}))
    seen = example.get("seen", {}).get("ledger")
    if seen == "concealed":
        facts["concealed"] = ["ledger"]
    elif seen == "poorly":
        labels.append(made.label(shot, "shows-ledger", "unclear"))
    elif seen == "well":
        for name in ("left.jpg", "right.jpg"):
            photos.append(made.photo(name))
            labels.append(made.label(photos[-1], "shows-ledger"))
    return made.deck(photos=photos, labels=labels, guesses=guesses, known=facts)


def held(example: dict[str, Any], book: RuleBook, value: str = "present") -> set[str]:
    """Return the rules that held, the ones another rule speaks for among them."""
    checks = [_check(name, given) for name, given in example.get("checks", {}).items()]
    summary = assess_deck(evidence(example, value), book, VOCABULARY, checks=checks)
    return set(summary.held)


def test_every_rule_has_examples_that_fire_and_near_misses():
    assert set(EXAMPLES) == set(BOOK.rules)
    for rule, given in EXAMPLES.items():
        assert given["fires"], rule
        assert given["misses"], rule


@pytest.mark.parametrize(("rule", "example"), _rows("fires"))
def test_rule_fires(rule, example):
    assert rule in held(example, BOOK)


@pytest.mark.parametrize(("rule", "example"), _rows("misses"))
def test_rule_stays_silent_in_a_near_miss(rule, example):
    assert rule not in held(example, BOOK)


ONE_EACH = [
    pytest.param(rule, example, id=rule)
    for rule, given in EXAMPLES.items()
    for example in given["fires"]
    if example.get("tags") and all(count == 1 for count in example["tags"].values())
]


@pytest.mark.parametrize(("rule", "example"), ONE_EACH)
def test_the_same_situation_by_suggestions_alone_prints_no_tier_of_this_rule(rule, example):
    checks = [_check(name, given) for name, given in example.get("checks", {}).items()]
    guessed = assess_deck(evidence(example, "guess"), BOOK, VOCABULARY, checks=checks)
    nothing = {**example, "tags": {}}
    without = assess_deck(evidence(nothing), BOOK, VOCABULARY, checks=checks)
    assert guessed.tier == without.tier
    assert rule in guessed.held


@pytest.mark.parametrize(("rule", "example"), ONE_EACH)
def test_absent_labels_never_fire(rule, example):
    assert rule not in held(example, BOOK, "absent")
