"""Agreement: laws, oracles (scikit-learn, the definition in loops); what cannot be told is said in words."""

from __future__ import annotations

import itertools
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_runs import cases
from ratings import krippendorff_alpha
from sklearn.metrics import cohen_kappa_score
from small_libraries import add_labels

from triage.audit import agree
from triage.audit.agreeing import OVERALL
from triage.audit.agreement import (
    LEVELS,
    alphas,
    cohen_kappa,
    coincidences,
    deck_interval,
)
from triage.errors import BadInput
from triage.library import Library

ratings = st.integers(2, 4).flatmap(
    lambda people: st.lists(
        st.lists(st.sampled_from([1.0, 2.0, 3.0, math.nan]), min_size=people, max_size=people),
        min_size=1,
        max_size=12,
    )
)


def alpha_by_definition(table: np.ndarray, level: str) -> float:
    """Disagreement over pairs within units against pairs over everything (Krippendorff 2011), by loops."""
    units = [[v for v in column if not math.isnan(v)] for column in table.T]
    units = [unit for unit in units if len(unit) >= 2]
    values = sorted(itertools.chain(*units))

    def apart(a: float, b: float) -> float:
        if a == b:
            return 0.0
        if level == "ordinal":
            low, high = min(a, b), max(a, b)
            between = sum(low <= v <= high for v in values)
            return (between - (values.count(a) + values.count(b)) / 2) ** 2
        return {"nominal": 1.0, "interval": (a - b) ** 2, "ratio": ((a - b) / (a + b)) ** 2}[level]

    seen = sum(sum(apart(a, b) for a, b in itertools.permutations(u, 2)) / (len(u) - 1) for u in units)
    expected = sum(apart(a, b) for a, b in itertools.permutations(values, 2))
    return 1 - (seen / len(values)) / (expected / (len(values) * (len(values) - 1)))


@settings(max_examples=60, deadline=None)
@given(ratings, st.sampled_from(LEVELS))
def test_alpha_is_what_its_definition_says(columns: list[list[float]], level: str) -> None:
    table = np.array(columns).T
    try:
        alpha = krippendorff_alpha(table, level)
    except BadInput:
        pairs = [c[~np.isnan(c)] for c in table.T if (~np.isnan(c)).sum() >= 2]
        assert not pairs or len(np.unique(np.concatenate(pairs))) == 1
        return
    assert alpha == pytest.approx(alpha_by_definition(table, level), abs=1e-9)
    assert krippendorff_alpha(table[::-1], level) == pytest.approx(alpha)
    assert krippendorff_alpha(table[:, ::-1], level) == pytest.approx(alpha)
    if level == "nominal":
        assert krippendorff_alpha(4 - table, level) == pytest.approx(alpha)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=2, max_size=30))
def test_kappa_equals_scikit_learns(pairs: list[tuple[int, int]]) -> None:
    table = np.zeros((3, 3), dtype=int)
    for a, b in pairs:
        table[a, b] += 1
    if len({v for pair in pairs for v in pair}) == 1:
        with pytest.raises(BadInput, match="same single answer"):
            cohen_kappa(table)
        return
    theirs = cohen_kappa_score(*zip(*pairs, strict=True), labels=[0, 1, 2])
    assert cohen_kappa(table) == pytest.approx(theirs)


def test_sums_of_coincidences_are_those_of_all_photos_together() -> None:
    counts = np.random.default_rng(1).integers(0, 3, (50, 3))
    split = coincidences(counts[:20]).sum(0) + coincidences(counts[20:]).sum(0)
    assert np.allclose(split, coincidences(counts).sum(0))
    assert alphas(np.stack([split, split * 0])).tolist()[0] == pytest.approx(float(alphas(split)))


@pytest.mark.parametrize(
    ("table", "match"),
    [
        ([[1, math.nan], [math.nan, 1]], "no photo"),
        ([[1, 1], [1, 1]], "single answer"),
    ],
)
def test_what_has_no_alpha_is_said_in_words(table: list[list[float]], match: str) -> None:
    with pytest.raises(BadInput, match=match):
        krippendorff_alpha(table)
    with pytest.raises(BadInput, match="level"):
        krippendorff_alpha([[1, 2], [2, 1]], "cardinal")


def test_empty_tables_have_no_kappa() -> None:
    with pytest.raises(BadInput, match="both people"):
        cohen_kappa([[0, 0], [0, 0]])
    with pytest.raises(BadInput, match="square"):
        cohen_kappa([[1, 2, 3], [1, 2, 3]])


def test_agreement_of_a_library(library: Library, with_photos) -> None:
    shas = with_photos(10, 5)
    generator = np.random.default_rng(0)
    words = generator.choice(["present", "absent"], len(shas))
    other = np.where(
        generator.random(len(shas)) < 0.2, generator.choice(["present", "absent"], len(shas)), words
    )
    add_labels(
        library, [(sha, "rusted-connector", word, "ann") for sha, word in zip(shas, words, strict=True)]
    )
    add_labels(
        library, [(sha, "rusted-connector", word, "ben") for sha, word in zip(shas, other, strict=True)]
    )
    add_labels(library, [(sha, "missing-hanger", "absent", "ann") for sha in shas])
    found = agree(library)
    one = found["rusted-connector"]
    assert one.kappa == pytest.approx(cohen_kappa_score(words, other))
    assert one.observed == pytest.approx((words == other).mean())
    codes = np.array([words == "present", other == "present"], dtype=float)
    assert one.alpha == pytest.approx(krippendorff_alpha(codes))
    assert one.low is not None
    assert one.low < one.alpha < one.high
    assert set(one.disputed) == {sha for sha, a, b in zip(shas, words, other, strict=True) if a != b}
    assert (one.photos, one.people, one.decks) == (50, 2, 10)
    assert one.pairs[0].people == ("ann", "ben")
    assert sum(map(sum, one.pairs[0].counts)) == 50
    lonely = found["missing-hanger"]
    assert lonely.alpha is None
    assert "no photo was labeled by two people" in lonely.why_not[0]
    assert found[OVERALL].alpha == pytest.approx(one.alpha)
    assert agree(library)["rusted-connector"].low == one.low
    json.dumps({tag: row.to_json() for tag, row in found.items()}, allow_nan=False)


def test_three_people_have_kappas_pair_by_pair(library: Library, with_photos) -> None:
    shas = with_photos(4, 3)
    said = {"ann": "papapapapapa", "ben": "papapapapaap", "cy": "ppaapapapapa"}
    full = {"p": "present", "a": "absent"}
    for name, row in said.items():
        add_labels(
            library, [(sha, "rusted-connector", full[w], name) for sha, w in zip(shas, row, strict=True)]
        )
    one = agree(library)["rusted-connector"]
    assert one.kappa is None
    assert [pair.people for pair in one.pairs] == [("ann", "ben"), ("ann", "cy"), ("ben", "cy")]
    assert one.pairs[0].kappa == pytest.approx(cohen_kappa_score(list(said["ann"]), list(said["ben"])))
    codes = np.array([[float(w == "p") for w in row] for row in said.values()])
    assert one.alpha == pytest.approx(krippendorff_alpha(codes))


def test_a_settled_dispute_waits_for_nobody(library: Library, with_photos) -> None:
    a, b = with_photos(2, 1)
    for name, word in [("ann", "present"), ("ben", "absent")]:
        add_labels(library, [(a, "rusted-connector", word, name), (b, "rusted-connector", word, name)])
    settled = {"photo": a, "tag": "rusted-connector", "value": "absent"}
    library.say("settled", settled, by="cy", private={"why": "wet, not rusted"})
    assert agree(library)["rusted-connector"].disputed == (b,)


@pytest.mark.parametrize(
    ("rows", "match"),
    [([], "no labels"), ([(0, "ann"), (1, "ann")], "Only ann"), ([(0, "ann"), (1, "ben")], "by two people")],
)
def test_no_overlap_is_a_clear_sentence(library: Library, with_photos, rows, match: str) -> None:
    shas = with_photos(2, 1)
    add_labels(library, [(shas[place], "rusted-connector", "absent", name) for place, name in rows])
    with pytest.raises(BadInput, match=match):
        agree(library)


def test_one_word_only_and_one_deck_only(library: Library, with_photos) -> None:
    shas = with_photos(1, 4)
    for name in ("ann", "ben"):
        add_labels(library, [(sha, "rusted-connector", "absent", name) for sha in shas])
        add_labels(
            library,
            [
                (sha, "missing-hanger", word, name)
                for sha, word in zip(shas, ["present", "absent"] * 2, strict=True)
            ],
        )
    found = agree(library)
    assert found["rusted-connector"].observed == 1.0
    assert found["rusted-connector"].alpha is None
    assert any("single answer" in why for why in found["rusted-connector"].why_not)
    assert found["missing-hanger"].alpha == 1.0
    assert found["missing-hanger"].low is None
    assert any("5 decks" in why for why in found["missing-hanger"].why_not)


def test_one_persons_two_references_are_one_person(library: Library, with_photos) -> None:
    """After a merge the same name stands under two references; a person does not disagree with herself."""
    from sqlalchemy import text

    from triage.library.database import writing

    (sha, other) = with_photos(2, 1)
    add_labels(
        library, [(sha, "rusted-connector", "absent", "ann"), (other, "rusted-connector", "absent", "cy")]
    )
    add_labels(
        library, [(sha, "rusted-connector", "present", "anna"), (other, "rusted-connector", "absent", "bo")]
    )
    with writing(library.engine) as connection:
        connection.execute(text("UPDATE private SET text='ann' WHERE text='anna'"))
    library.rebuild()
    found = agree(library)["rusted-connector"]
    assert found.photos == 1
    assert found.disputed == ()


def drawn_deck(draw: np.random.Generator, photos: int = 8) -> np.ndarray:
    """Coincidences of one deck: two people who err more on some decks than on others."""
    share, slips = draw.beta(1, 2), draw.beta(1, 8)
    truth = draw.random(photos) < share
    counts = np.zeros((photos, 3))
    for _ in range(2):
        counts[np.arange(photos), np.where(truth ^ (draw.random(photos) < slips), 2, 0)] += 1
    return coincidences(counts).sum(axis=0)


def percentile(per_deck: np.ndarray, draw: np.random.Generator) -> tuple[float, float]:
    """The interval of before: decks resampled, percentiles."""
    picked = draw.integers(len(per_deck), size=(300, len(per_deck)))
    found = alphas(per_deck[picked].sum(axis=1))
    low, high = np.nanquantile(found, [0.025, 0.975])
    return float(low), float(high)


@pytest.mark.parametrize("decks", [5, 10, 40])
def test_intervals_over_decks_cover_and_the_percentile_bootstrap_is_caught(decks: int) -> None:
    draw = np.random.default_rng(21)
    true = float(alphas(sum(drawn_deck(draw) for _ in range(20_000))))
    inside, before, told = 0, 0, 0
    for _ in range(400 if decks == 5 else cases(150, 400)):
        per_deck = np.array([drawn_deck(draw) for _ in range(decks)])
        try:
            low, high = deck_interval(per_deck)
        except BadInput:
            continue
        told += 1
        inside += low <= true <= high
        low, high = percentile(per_deck, draw)
        before += low <= true <= high
    error = np.sqrt(0.95 * 0.05 / told)
    assert inside / told >= 0.95 - 2.6 * error
    if decks == 5:
        assert before / told < 0.95 - 2.6 * error


def test_perfect_agreement_has_no_interval_but_a_sentence() -> None:
    full = np.zeros((6, 3, 3))
    full[:, 0, 0], full[:, 2, 2] = 10, 4
    with pytest.raises(BadInput, match=r"agreed on all 6 decks.*39%"):
        deck_interval(full)


def test_coin_flips_on_two_unlike_tags_agree_in_nothing(library: Library, with_photos) -> None:
    """Pooled they would give an alpha of about .8: one tag is nearly always there, the other nearly never."""
    shas = with_photos(20, 10)
    draw = np.random.default_rng(3)
    for tag, share in (("rusted-connector", 0.95), ("missing-hanger", 0.05)):
        for name in ("ann", "ben"):
            words = np.where(draw.random(len(shas)) < share, "present", "absent")
            add_labels(library, [(sha, tag, word, name) for sha, word in zip(shas, words, strict=True)])
    found = agree(library)
    assert abs(found[OVERALL].alpha) < 0.2
    assert found[OVERALL].low is None
    assert found[OVERALL].spread is not None
