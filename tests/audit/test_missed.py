"""What the machine let through: rates and shares with bounds, early stops, and the withdrawn promise."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats
from small_libraries import add_labels, add_piles

from triage.audit import missed, of_library
from triage.audit.missed_tag import Missed, Promised, Question, audit_tag
from triage.errors import BadInput, WrongUsage
from triage.library import Library

TAG = "rusted-connector"


def question(unlikely: str, others: str = "", promised: float | None = None, seed: int = 0) -> Question:
    """Words as letters: p present, a absent, u unclear, . none."""
    letters = {"p": 3, "a": 1, "u": 2, ".": 0}
    words = np.array([letters[one] for one in unlikely + others], dtype=np.uint8)
    piles = np.array(
        [1] * len(unlikely) + [3, 2] * (len(others) // 2) + [3] * (len(others) % 2), dtype=np.uint8
    )
    order = np.random.default_rng(seed).permutation(len(words))
    promise = None if promised is None else Promised(promised, True)
    return Question(TAG, "m", "1", words, piles, order, [str(one) for one in range(len(words))], promise)


def no_nan(one: Missed) -> None:
    json.dumps(one.to_json(), allow_nan=False)
    json.dumps(one.payload(), allow_nan=False)


def test_a_pile_looked_at_whole_is_known_exactly() -> None:
    one = audit_tag(question("p" * 3 + "a" * 97, "p" * 57 + "a" * 43), 100)
    assert (one.rate, one.low, one.high) == (0.03, 0.03, 0.03)
    assert one.missed_share == one.missed_share_low == one.missed_share_high == pytest.approx(3 / 60)
    assert one.complete
    no_nan(one)


def test_the_share_is_n_q_over_n_q_plus_found() -> None:
    one = audit_tag(question("a" * 198 + "pp", "p" * 20 + "a" * 30, seed=5), 100)
    assert one.rate == one.defects / 100
    assert one.missed_share == pytest.approx(200 * one.rate / (200 * one.rate + 20))
    assert one.missed_share_low <= 2 / 22 <= one.missed_share_high
    assert one.found == 20


def test_unanswered_photos_are_asked_for_and_no_rate_is_stated() -> None:
    one = audit_tag(question("." * 100, "p" * 10), 20)
    assert len(one.asked) == 20
    assert one.rate is None
    assert "20 of the 20 drawn photos have no answer yet" in one.why_not
    assert not one.complete
    again = audit_tag(question("." * 100, "p" * 10), 10)
    assert again.asked == one.asked[:10]
    no_nan(one)


def test_unclear_is_no_defect_below_and_one_above() -> None:
    one = audit_tag(question("u" * 5 + "a" * 95, "p" * 10), 100)
    assert (one.rate, one.low, one.high, one.unclear) == (0.0, 0.0, 0.05, 5)


def test_with_open_piles_the_share_has_bounds_only() -> None:
    one = audit_tag(question("p" * 4 + "a" * 96, "p" * 20 + "." * 30), 100)
    assert one.missed_share is None
    assert one.missed_share_low == pytest.approx(4 / (4 + 50))
    assert one.missed_share_high == pytest.approx(4 / (4 + 20))
    assert any("30 photos of the other piles have no answer" in why for why in one.why_not)


def test_stratified_draws_cover_the_true_share() -> None:
    """The other piles are drawn from too; their undrawn photos have no answer."""
    generator = np.random.default_rng(7)
    inside, times = 0, 150
    for seed in range(times):
        truth = np.array(list("p" * 8 + "a" * 392 + "p" * 90 + "a" * 110))
        letters = {"p": 3, "a": 1}
        words = np.array([letters[one] for one in truth], dtype=np.uint8)
        piles = np.array([1] * 400 + list(generator.permutation([2, 3] * 100)), dtype=np.uint8)
        order = np.random.default_rng(seed).permutation(600)
        drawn = np.concatenate([order[piles[order] == pile][:60] for pile in (1, 2, 3)])
        hidden = np.zeros(600, dtype=np.uint8)
        hidden[drawn] = words[drawn]
        one = audit_tag(Question(TAG, "m", "1", hidden, piles, order, [""] * 600), 60, strata=True)
        assert one.missed_share is not None
        inside += one.missed_share_low <= 8 / 98 <= one.missed_share_high
    assert inside >= 0.95 * times


def test_stratified_asks_for_the_other_piles_too() -> None:
    one = audit_tag(question("a" * 50, "." * 40), 10, strata=True)
    assert len(one.asked) == 20
    assert not one.complete
    assert audit_tag(question("a" * 50, "p" * 40), 10, strata=True).asked == ()


def test_an_early_stop_asks_no_more() -> None:
    clean = question("a" * 60 + "." * 340, "p" * 400, promised=0.05)
    order = np.concatenate([np.arange(800)])
    clean = Question(TAG, "m", "1", clean.words, clean.piles, order, clean.photos, clean.promised)
    one = audit_tag(clean, 350, early=True)
    assert one.verdict == "within"
    assert one.asked == ()
    assert one.drawn < 80
    assert one.bounds == "anytime"
    assert one.complete
    bad = Question(
        TAG,
        "m",
        "1",
        np.where(order < 60, 3, clean.words).astype(np.uint8),
        clean.piles,
        order,
        clean.photos,
        clean.promised,
    )
    stopped = audit_tag(bad, 350, early=True)
    assert stopped.contradicts
    assert stopped.drawn < 60


def test_an_early_audit_without_a_stop_goes_on_asking() -> None:
    one = audit_tag(question("a" * 5 + "." * 395, "p" * 400, promised=0.05, seed=3), 300, early=True)
    assert one.verdict is None
    assert len(one.asked) > 250


@pytest.mark.parametrize(("n", "match"), [(0, "no sample"), (101, "larger than the 100 photos")])
def test_impossible_samples(n: int, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        audit_tag(question("a" * 100), n)


def test_an_empty_pile_and_no_defect_at_all() -> None:
    empty = audit_tag(question("", "pa"), 5)
    assert empty.rate is None
    assert "empty" in empty.why_not[0]
    none = audit_tag(question("a" * 10, "a" * 10), 10)
    assert none.rate == 0.0
    assert none.missed_share is None
    assert "no defect was found anywhere" in none.why_not[0]
    no_nan(empty)
    no_nan(none)


def test_simulated_audits_contradict_a_kept_promise_in_five_of_a_hundred_at_most() -> None:
    """Exactly 5 % of the defects in the pile and a promise of 5 %: 'above' would be wrong."""
    wrong = sum(
        audit_tag(
            question("p" * 10 + "a" * 490, "p" * 190 + "a" * 10, promised=0.05, seed=seed), 100
        ).contradicts
        for seed in range(300)
    )
    assert wrong <= 15
    right = sum(
        audit_tag(
            question("p" * 100 + "a" * 400, "p" * 190 + "a" * 10, promised=0.05, seed=seed), 100
        ).contradicts
        for seed in range(100)
    )
    assert right >= 95


@pytest.fixture
def presorted(library: Library, with_photos, monkeypatch) -> list[str]:
    """Sixty photos, forty of them `unlikely`; the card promises 5 %."""
    monkeypatch.setattr(of_library, "_promises", lambda _: {TAG: Promised(0.05, True)})
    shas = with_photos(6, 10)
    add_piles(
        library, "m1", TAG, [(sha, "unlikely" if place < 40 else "likely") for place, sha in enumerate(shas)]
    )
    return shas


def test_an_audit_asks_then_states_and_is_recorded_once(library: Library, presorted) -> None:
    add_labels(library, [(sha, TAG, "present", "ann") for sha in presorted[40:]])
    first = missed(library, 30, seed="7", by="ann")[TAG]
    assert len(first.asked) == 30
    assert set(first.asked) <= set(presorted[:40])
    assert list(library.events("audited")) == []
    add_labels(library, [(sha, TAG, "absent", "ann") for sha in first.asked], asked_by="audit")
    done = missed(library, 30, seed="7", by="ann")[TAG]
    assert (done.rate, done.asked, done.found) == (0.0, (), 20)
    assert done.high == pytest.approx(float(stats.hypergeom.cdf(0, 40, 2, 30) > 0.025) * 2 / 40)
    assert missed(library, 30, seed="7", by="ann")[TAG] == done
    (event,) = library.events("audited")
    assert event.by == "ann"
    assert event.at
    assert {key: event.payload[key] for key in ("tag", "model", "seed", "n", "missed", "contradicts")} == {
        "tag": TAG,
        "model": "m1",
        "seed": "7",
        "n": 30,
        "missed": 0,
        "contradicts": False,
    }
    assert {"rate", "low", "high"} <= set(event.payload)


def test_a_contradicted_promise_is_withdrawn_until_trained_again(library: Library, presorted) -> None:
    """Nothing stays `unlikely`, whoever looks: not in the suggestions, nor after another audit."""
    add_labels(library, [(sha, TAG, "present", "ann") for sha in presorted])
    found = missed(library, 30, seed="7", by="ann")[TAG]
    assert found.contradicts
    assert found.missed_share_low > 0.05
    assert {one.pile for one in library.suggestions(tag=TAG).values()} == {"unsure", "likely"}
    (event,) = library.events("audited")
    assert event.payload["contradicts"] is True
    emptied = missed(library, 30, seed="8", by="ann")[TAG]
    assert "empty" in emptied.why_not[0]
    add_piles(library, "m2", TAG, [(sha, "unlikely") for sha in presorted[:5]])
    assert "unlikely" in {one.pile for one in library.suggestions(tag=TAG).values()}


def test_a_finished_audit_needs_a_speaker(library: Library, presorted) -> None:
    add_labels(library, [(sha, TAG, "absent", "ann") for sha in presorted])
    with pytest.raises(WrongUsage, match="nobody speaks"):
        missed(library, 30, seed="7")
    assert missed(library, 30, seed="7", record=False)[TAG].rate == 0.0


def test_no_model_no_pile_no_tag(library: Library, with_photos, presorted) -> None:
    with pytest.raises(BadInput, match="sorted no photo for 'debris'"):
        missed(library, 5, tags=["debris"])
    with pytest.raises(BadInput, match=r"a sample of 41 is larger than the 40"):
        missed(library, 41, by="ann")


def test_a_library_without_a_model(library: Library) -> None:
    with pytest.raises(BadInput, match="No model was trained"):
        missed(library, 5)
    library.say("trained", {"model": "m", "tags": [TAG]}, by="ann")
    with pytest.raises(BadInput, match="sorted no photo yet"):
        missed(library, 5)
