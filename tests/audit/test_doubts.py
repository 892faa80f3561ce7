"""Doubtful labels: flipped ones are found first, no deck speaks about itself, and laws of the quick model."""

from __future__ import annotations

import json

import numpy as np
import pytest
from sklearn.covariance import OAS
from sklearn.discriminant_analysis import LinearDiscriminantAnalysis
from small_libraries import add_labels

from triage.audit import doubting, doubts
from triage.audit.doubting import chances
from triage.audit.left_out import COMPONENTS, Board, deck_folds, nearest, principal, to_probability
from triage.errors import BadInput, Cancelled
from triage.library import Library, queries

TAG = "rusted-connector"


def world(decks: int = 40, each: int = 10, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vectors with a direction for the defect and a nuisance of each deck; truth; deck of each row."""
    generator = np.random.default_rng(seed)
    deck = np.repeat(np.arange(decks), each)
    truth = generator.random(len(deck)) < 0.25
    rows = generator.normal(size=(len(deck), 60)) + 1.5 * generator.normal(size=(decks, 60))[deck]
    rows[:, 0] += 4.0 * truth
    return rows.astype(np.float32), truth, deck


def test_the_model_is_scikit_learns_discriminant_with_oas() -> None:
    rows, truth, deck = world()
    folds = deck_folds([str(one) for one in range(40)])[deck]
    board = Board(rows, folds)
    ours = board.scores(truth, np.ones(len(rows), bool))
    for fold in range(5):
        inside = folds == fold
        centered = (
            rows[~inside]
            - np.stack([rows[~inside & (truth == one)].mean(0) for one in (False, True)])[
                truth[~inside].astype(int)
            ]
        )
        covariance = OAS(assume_centered=True).fit(centered).covariance_
        weights = np.linalg.solve(covariance, rows[~inside & truth].mean(0) - rows[~inside & ~truth].mean(0))
        assert np.corrcoef(ours[inside], rows[inside] @ weights)[0, 1] > 0.9999
        theirs = LinearDiscriminantAnalysis(solver="lsqr", covariance_estimator=OAS()).fit(
            rows[~inside], truth[~inside]
        )
        # theirs shrinks the covariance of each class by itself, ours the pooled one
        assert np.corrcoef(ours[inside], theirs.decision_function(rows[inside]))[0, 1] > 0.99


def test_no_deck_speaks_about_itself() -> None:
    """Changing every label of a deck changes nothing in the scores of its own fold."""
    rows, truth, deck = world()
    folds = deck_folds([str(one) for one in range(40)])[deck]
    board = Board(rows, folds)
    all_rows = np.ones(len(rows), bool)
    changed = np.where(deck == 3, ~truth, truth)
    inside = folds == folds[deck == 3][0]
    before, after = board.scores(truth, all_rows), board.scores(changed, all_rows)
    assert np.allclose(before[inside], after[inside], atol=1e-5)
    assert not np.allclose(before[~inside], after[~inside], atol=1e-5)


def test_scores_of_a_trained_model_count_where_it_has_some() -> None:
    """Errors that whole photos do not show are found by what the model says of left-out decks."""
    rows, truth, deck = world()
    rows[:, 0] = 0  # nothing of the defect is in the whole photo
    board = Board(rows, deck_folds([str(one) for one in range(40)])[deck])
    generator = np.random.default_rng(2)
    wrong = np.zeros(len(truth), bool)
    wrong[generator.choice(len(truth), 20, replace=False)] = True
    said = truth ^ wrong
    learned = np.where(truth, 3.0, -3.0) + generator.normal(size=len(truth))
    learned[:5] = np.nan  # labeled after the training

    def first(chance: np.ndarray) -> int:
        against = np.nan_to_num(np.where(said, 1 - chance, chance), nan=-1)
        return int(wrong[np.argsort(-against)[:40]].sum())

    every = np.ones(len(said), bool)
    quick, cells_too = chances(board, said, every), chances(board, said, every, learned)
    assert first(cells_too) >= 17 > 10 > first(quick)
    assert np.array_equal(cells_too[:5], quick[:5])
    assert np.array_equal(chances(board, said, every, np.full(len(said), np.nan)), quick)


def test_unanswered_rows_do_not_count() -> None:
    rows, truth, deck = world()
    folds = deck_folds([str(one) for one in range(40)])[deck]
    answered = np.random.default_rng(1).random(len(rows)) < 0.8
    whole = Board(rows, folds).scores(truth, answered)
    only = Board(rows[answered], folds[answered]).scores(truth[answered], np.ones(answered.sum(), bool))
    assert np.allclose(whole[answered], only, atol=1e-3)
    assert np.isnan(whole[~answered]).all()


def test_relabeling_and_order_of_rows() -> None:
    rows, truth, deck = world()
    folds = deck_folds([str(one) for one in range(40)])[deck]
    every = np.ones(len(rows), bool)
    straight = Board(rows, folds).scores(truth, every)
    assert np.allclose(straight, -Board(rows, folds).scores(~truth, every), atol=1e-6)
    shuffled = np.random.default_rng(2).permutation(len(rows))
    again = Board(rows[shuffled], folds[shuffled]).scores(truth[shuffled], every)
    assert np.allclose(straight[shuffled], again, atol=1e-3)


def test_probabilities_rise_with_the_score_and_stand_for_shares() -> None:
    generator = np.random.default_rng(5)
    scores = generator.normal(size=4000) * 3
    truth = generator.random(4000) < 1 / (1 + np.exp(-(0.7 * scores - 1)))
    chance = to_probability(scores, truth)
    assert (np.diff(chance[np.argsort(scores)]) >= 0).all()
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        inside = (chance >= low) & (chance < low + 0.2)
        assert truth[inside].mean() == pytest.approx(chance[inside].mean(), abs=0.06)
    apart = np.concatenate([np.full(5, -3.0), np.full(5, 3.0)])
    assert np.isfinite(to_probability(apart, apart > 0)).all()


def test_principal_directions_keep_distances() -> None:
    rows, _, _ = world()
    kept = principal(lambda index: rows[index], len(rows))
    assert kept.shape == (len(rows), min(60, COMPONENTS))
    apart = np.linalg.norm(rows[:50, None] - rows[None, :50], axis=2)
    assert np.allclose(np.linalg.norm(kept[:50, None] - kept[None, :50], axis=2), apart, rtol=1e-3, atol=1e-3)
    flat = principal(lambda index: np.ones((len(index), 7), np.float32), 9)
    assert flat.shape == (9, 1)


def test_neighbors_come_from_other_decks() -> None:
    rows, _, deck = world(6, 5)
    near = nearest(rows, np.array([0, 7]), np.arange(30), deck, 3)
    apart = np.linalg.norm(rows[0] - rows, axis=1)
    apart[deck == 0] = np.inf
    assert near[0] == np.argsort(apart)[:3].tolist()
    assert nearest(rows[:5], np.array([0]), np.arange(5), deck[:5]) == [[]]


@pytest.mark.parametrize("share", [0.03, 0.05, 0.10])
def test_flipped_labels_are_found_first(share: float) -> None:
    """Of 800 labels the first 80 hold nearly as many flips as by the defect's own direction."""
    from triage.audit.columns import Columns

    rows, truth, deck = world(80, 10, seed=3)
    generator = np.random.default_rng(4)
    flipped = np.zeros(len(rows), bool)
    flipped[generator.choice(len(rows), int(share * len(rows)), replace=False)] = True
    said = np.where(truth ^ flipped, 3, 1).astype(np.uint8)[None, :]
    nothing = np.zeros(0, np.int32)
    columns = Columns(
        [f"{one:03d}" for one in range(len(rows))],
        [str(one) for one in range(80)],
        [TAG],
        ["ann"],
        deck.astype(np.int32),
        nothing,
        nothing,
        nothing,
        nothing.astype(np.uint8),
        nothing.astype(bool),
    )
    found = doubting.rank(columns, rows, np.arange(len(rows)), said, said > 9, most=80)
    hits = sum(flipped[int(one.photo)] for one in found.ranked)
    side = np.where(said[0] == 3, -1.0, 1.0) * (rows[:, 0] - 2.0)
    by_nature = flipped[np.argsort(-side)[:80]].sum()
    assert hits >= 0.85 * by_nature
    assert hits >= 4 * 80 * share
    assert [one.contradiction for one in found.ranked] == sorted(
        (o.contradiction for o in found.ranked), reverse=True
    )


@pytest.fixture
def vectors(library: Library, with_photos, monkeypatch) -> tuple[list[str], np.ndarray]:
    """Forty decks of ten photos with vectors."""
    rows, truth, _ = world()
    rows[:, 0] += 3.0 * truth
    shas = with_photos(40, 10)
    row_of = dict(zip(shas, rows, strict=True))

    def fake(_library, wanted):
        have = np.array([place for place, sha in enumerate(wanted) if sha in row_of], dtype=np.intp)
        return (lambda index: np.stack([row_of[wanted[have[one]]] for one in index])), have

    monkeypatch.setattr(doubting, "_vectors", fake)
    return shas, truth


def test_doubts_of_a_library(library: Library, vectors) -> None:
    shas, truth = vectors
    wrong = {3, 77, 150, 222}
    rows = [
        (sha, TAG, "present" if truth[place] ^ (place in wrong) else "absent", "ann")
        for place, sha in enumerate(shas)
    ]
    add_labels(library, rows)
    add_labels(library, [(shas[0], "missing-hanger", "present", "ann")])
    found = doubts(library, most=12)
    first = {shas.index(one.photo) for one in found.ranked}
    assert len(first & wrong) >= 3
    assert "1 photo present and 0 absent" in found.without["missing-hanger"]
    assert found.compared == 400
    decks = {photo.sha: photo.deck for photo in queries.photos(library)}
    for one in found.ranked:
        assert (one.probability > 0.5) == (one.value == "absent")
        assert len(one.neighbors) == 3
        assert decks[one.photo] not in {decks[other.photo] for other in one.neighbors}
    json.dumps([one.to_json() for one in found.ranked], allow_nan=False)
    assert doubts(library, most=12) == found
    with pytest.raises(Cancelled):
        doubts(library, cancel=lambda: True)
    library.say("trained", {"model": "m" * 64, "tags": {}}, by="ann")  # its files are not here
    again = doubts(library, most=12)
    assert again.ranked == found.ranked
    assert "cannot be used: model.json is missing. Only whole photos were compared" in again.without["model"]


@pytest.mark.parametrize(
    ("words", "match"),
    [
        ({}, "no labels"),
        ({0: "unclear"}, "no labels"),
        (dict.fromkeys(range(20), "absent"), "0 photos present"),
        (
            {**dict.fromkeys(range(5), "present"), **dict.fromkeys(range(5, 10), "absent")},
            "fewer than 3 decks",
        ),
        ({**dict.fromkeys(range(5), "present"), **dict.fromkeys(range(20, 60), "absent")}, "single deck"),
    ],
)
def test_what_cannot_be_doubted_is_a_sentence(library: Library, vectors, words, match: str) -> None:
    shas, _ = vectors
    add_labels(library, [(shas[place], TAG, word, "ann") for place, word in words.items()])
    with pytest.raises(BadInput, match=match):
        doubts(library)


def test_photos_without_vectors_are_named(library: Library, with_photos) -> None:
    shas = with_photos(3, 2)
    add_labels(library, [(sha, TAG, "absent", "ann") for sha in shas])
    with pytest.raises(BadInput, match="has vectors yet"):
        doubts(library)
