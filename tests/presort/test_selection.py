"""Which photos to label next: k-centre against brute force, near-duplicates, decks in turn, laws."""

from itertools import combinations

import numpy as np
import pytest

from triage.errors import WrongUsage
from triage.presort import Pool, next_to_label
from triage.presort.selection import k_centre, unit_rows


def make_pool(decks=4, photos=5, seed=0, **how):
    rng = np.random.default_rng(seed)
    n = decks * photos
    shas = [f"{k:064x}" for k in range(n)]
    return Pool(
        shas,
        [f"d{k // photos}" for k in range(n)],
        rng.normal(size=(n, 12)).astype(np.float32),
        how.pop("labelled", np.zeros(n, bool)),
        **how,
    )


def radius(rows, chosen):
    """Largest Euclidean distance of a row to its nearest chosen row."""
    return max(min(np.linalg.norm(row - rows[c]) for c in chosen) for row in rows)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("n", [2, 3, 4])
def test_k_centre_is_within_twice_the_best_by_brute_force(seed, n):
    """Gonzalez (1985): the radius of farthest-first is at most twice the least possible one."""
    rows = unit_rows(np.random.default_rng(seed).normal(size=(11, 3)))
    best = min(radius(rows, chosen) for chosen in combinations(range(len(rows)), n))
    found = k_centre(rows, n)
    assert len(set(found)) == n
    assert radius(rows, found) <= 2 * best + 1e-9


def test_k_centre_finds_one_row_of_each_clump():
    rng = np.random.default_rng(1)
    centres = np.eye(5)
    rows = unit_rows(np.repeat(centres, 6, axis=0) + rng.normal(scale=0.02, size=(30, 5)))
    assert sorted(place // 6 for place in k_centre(rows, 5)) == [0, 1, 2, 3, 4]


def test_without_a_model_decks_take_turns():
    pool = make_pool(decks=4, photos=5)
    deck = dict(zip(pool.shas, pool.decks, strict=True))
    first = [deck[sha] for sha in next_to_label(pool, 8)]
    assert sorted(first[:4]) == sorted(first[4:]) == ["d0", "d1", "d2", "d3"]


def test_a_deck_that_has_labels_waits_for_those_that_have_none():
    labelled = np.array([k < 3 for k in range(20)])
    pool = make_pool(labelled=labelled)
    deck = dict(zip(pool.shas, pool.decks, strict=True))
    assert {deck[sha] for sha in next_to_label(pool, 9)} == {"d1", "d2", "d3"}


@pytest.mark.parametrize("order", ["learning", "doubtful", "dangerous", "like"])
def test_near_duplicates_never_spend_two_labels(order):
    pool = make_pool(probabilities=np.linspace(0.05, 0.95, 20))
    pool.vectors[7] = pool.vectors[3] * 1.5
    pool.vectors[12] = pool.vectors[3] + 0.001
    found = next_to_label(pool, 20, order=order, like=pool.shas[0])
    assert len({pool.shas[k] for k in (3, 7, 12)} & set(found)) == 1
    assert len(found) == (17 if order == "like" else 18)


def test_a_photo_like_a_labelled_one_is_not_asked():
    labelled = np.array([k == 3 for k in range(20)])
    pool = make_pool(labelled=labelled)
    pool.vectors[7] = pool.vectors[3]
    found = next_to_label(pool, 20)
    assert {pool.shas[3], pool.shas[7]}.isdisjoint(found)
    assert len(found) == 18


def test_of_a_burst_one_photo_is_asked():
    groups = ["burst" if k in (1, 2, 9) else "" for k in range(20)]
    pool = make_pool(groups=groups)
    found = next_to_label(pool, 20)
    assert len({pool.shas[k] for k in (1, 2, 9)} & set(found)) == 1


def test_doubtful_and_dangerous_go_by_the_probability():
    chance = np.random.default_rng(2).permutation(np.linspace(0.01, 0.99, 20))
    pool = make_pool(probabilities=chance)
    said = dict(zip(pool.shas, chance, strict=True))
    dangerous = [said[sha] for sha in next_to_label(pool, 20, order="dangerous")]
    assert dangerous == sorted(dangerous, reverse=True)
    doubt = [abs(said[sha] - 0.5) for sha in next_to_label(pool, 20, order="doubtful")]
    assert doubt == sorted(doubt)


def test_like_puts_the_nearest_first_and_not_the_photo_itself():
    pool = make_pool()
    unit = unit_rows(pool.vectors)
    found = next_to_label(pool, 5, order="like", like=pool.shas[4])
    nearest = np.argsort(-(unit @ unit[4]))
    assert found == [pool.shas[k] for k in nearest[1:6]]


@pytest.mark.parametrize("order", ["learning", "doubtful", "dangerous"])
def test_the_order_of_the_photos_changes_nothing(order):
    pool = make_pool(probabilities=np.random.default_rng(3).random(20))
    turned = np.random.default_rng(4).permutation(20)
    other = Pool(
        [pool.shas[k] for k in turned],
        [pool.decks[k] for k in turned],
        pool.vectors[turned],
        pool.labelled[turned],
        pool.probabilities[turned],
    )
    assert next_to_label(pool, 9, order=order) == next_to_label(other, 9, order=order)


def test_orders_that_need_something_say_so():
    pool = make_pool()
    with pytest.raises(WrongUsage, match="needs suggestions"):
        next_to_label(pool, 3, order="doubtful")
    with pytest.raises(WrongUsage, match="no order"):
        next_to_label(pool, 3, order="alphabetical")
    with pytest.raises(WrongUsage, match="no such photo"):
        next_to_label(pool, 3, order="like", like="unknown")


def test_an_empty_pool_asks_nothing():
    empty = Pool([], [], np.zeros((0, 4), np.float32), np.zeros(0, bool))
    assert next_to_label(empty, 5) == []
