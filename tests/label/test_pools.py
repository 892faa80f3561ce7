"""Which decks a promise counts: pools, and the simulation that catches the simpler rule."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.long_runs import cases
from triage.label.pools import Answer, Draw, counted_decks, start_of, waiting_decks
from triage.train.promise import threshold

DECKS = {f"{deck}-{place}": deck for deck in "abcdef" for place in range(2)}


def said(decks: str, at: int, machine: bool = False, **more: bool) -> list[Answer]:
    return [
        Answer(f"{d}-{p}", f"2026-01-01T{at:02d}", by_machine=machine, **more) for d in decks for p in (0, 1)
    ]


def counts(answers: list[Answer], **more: object) -> str:
    return "".join(sorted(counted_decks(DECKS, answers, **more).decks))  # type: ignore[arg-type]


def test_decks_answered_before_any_machine_order_count() -> None:
    assert counts(said("abc", 1)) == "abc"
    assert counts(said("abc", 1) + said("d", 2, machine=True)) == "abc"


def test_no_part_of_a_pool_counts_that_an_order_left_over() -> None:
    left_over = said("ab", 1) + said("c", 2, machine=True) + said("de", 3)
    assert counts(left_over) == "ab"
    assert counts(left_over + said("f", 4)) == "abcdef"  # the whole pool is answered


def test_drawn_decks_count_once_every_one_is_answered() -> None:
    draw = [Draw("2026-01-01T02", ("d", "e"))]
    answers = said("ab", 1) + said("c", 3, machine=True) + said("d", 4)
    found = counted_decks(DECKS, answers, draws=draw)
    assert (found.decks, found.waiting, found.open_pools) == ({"a", "b"}, ("e",), 1)
    assert counts(answers + said("e", 5, machine=True), draws=draw) == "abde"


def test_a_deck_with_a_photo_left_open_never_counts() -> None:
    assert counts([*said("a", 1), Answer("b-0", "2026-01-01T01")]) == "a"


def test_decks_that_came_later_form_a_pool_of_their_own() -> None:
    arrived = {sha: "2026-01-01T05" for sha, deck in DECKS.items() if deck in "ef"}
    answers = said("ab", 1) + said("cd", 2, machine=True) + said("e", 6)
    assert counts(answers, arrived=arrived) == "abcde"
    later = said("f", 7, machine=True)
    assert counts(answers + later[:1], arrived=arrived) == "abcde"
    assert counts(said("ab", 1) + said("c", 2, machine=True) + said("e", 6), arrived=arrived) == "abe"


def test_unknown_orders_count_only_without_a_machine_order() -> None:
    unknown = said("ab", 1, known=False, foreign=True)
    assert counts(unknown + said("c", 1)) == "abc"
    assert counts(unknown + said("c", 1) + said("d", 2, machine=True)) == "c"


def test_a_machine_order_from_a_file_leaves_nothing_after_it() -> None:
    """Read into a new library, an export must not launder what an order left over."""
    arrived = dict.fromkeys(DECKS, "2026-01-01T20")
    history = (
        said("ab", 1, foreign=True) + said("c", 2, machine=True, foreign=True) + said("def", 3, foreign=True)
    )
    assert counts(history, arrived=arrived) == "ab"


def test_an_answer_with_the_machine_in_view_is_none() -> None:
    seen = said("ab", 1) + said("cdef", 2, machine=True, blind=False)
    assert counts(seen) == "ab"
    assert counts(seen + said("cdef", 3)) == "abcdef"


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abcdef"), st.integers(1, 9), st.booleans()), max_size=14))
def test_a_pool_counts_whole_or_not_at_all(acts: list[tuple[str, int, bool]]) -> None:
    """Without a draw: either everything that the first machine's order chose among counts, or nothing."""
    answers = [one for deck, at, machine in acts for one in said(deck, at, machine)]
    found = set(counts(answers))
    starts = [f"2026-01-01T{at:02d}" for _, at, machine in acts if machine]
    if not starts:
        return
    first = min(starts)
    before = {
        deck
        for deck in "abcdef"
        if all(any(a.photo == f"{deck}-{p}" and a.at < first for a in answers) for p in (0, 1))
    }
    assert found in (before, set("abcdef"))


def hardness(draw: np.random.Generator, n: int) -> list[np.ndarray]:
    """Scores of the positive photos of n decks: hard decks score low."""
    return [draw.normal(1.5, 1.0) + draw.normal(0, 0.5, int(draw.integers(1, 6))) for _ in range(n)]


def missed_share(rule: str, alpha: float = 0.10, runs: int = 400) -> tuple[float, float]:
    """Mean miss of the next deck (with its standard error) when the hardest third was asked by doubt."""
    draw = np.random.default_rng(5)
    lost = []
    for _ in range(runs):
        decks = hardness(draw, 46)
        pool, new = decks[:45], decks[45]
        by_doubt = sorted(range(45), key=lambda k: float(pool[k].mean()))[:15]
        of = {f"{k}": f"{k}" for k in range(45)}
        rest = [k for k in range(45) if k not in by_doubt]
        picked = [str(k) for k in draw.permutation(45)[:12]]
        answers = [Answer(str(k), "2026-01-01T03", by_machine=True) for k in by_doubt]
        answers += [Answer(str(k), "2026-01-01T04") for k in rest if rule != "drawn" or str(k) in picked]
        draws = [Draw("2026-01-01T02", tuple(picked))] if rule == "drawn" else []
        counted = {int(k) for k in counted_decks(of, answers, draws=draws).decks}
        if rule == "left over":  # the simpler rule: decks without an answer by a machine's order
            counted = set(rest)
        at = threshold([pool[k] for k in sorted(counted)], alpha)
        lost.append(0.0 if at is None else float(np.mean(new < at)))
    return float(np.mean(lost)), float(np.std(lost) / np.sqrt(runs))


@pytest.mark.parametrize("rule", ["drawn", "whole"])
def test_the_promise_is_kept_when_the_hardest_third_is_asked_by_doubt(rule: str) -> None:
    mean, error = missed_share(rule)
    assert mean <= 0.10 + 2.6 * error


def test_counting_what_the_order_left_over_breaks_the_promise_and_is_caught() -> None:
    mean, error = missed_share("left over")
    assert mean > 0.10 + 2.6 * error


HISTORIES = st.lists(
    st.tuples(st.sampled_from(sorted(DECKS)), st.integers(1, 9), st.booleans(), st.booleans(), st.booleans()),
    max_size=24,
)
DRAWS = st.lists(
    st.tuples(st.integers(1, 6), st.sets(st.sampled_from("abcdef"), min_size=1), st.booleans()),
    min_size=1,
    max_size=3,
)
ARRIVED = st.dictionaries(st.sampled_from(sorted(DECKS)), st.integers(1, 9))


def drawn_alone(
    answers: list[Answer], draws: list[Draw], arrived: dict[str, str], *, told: bool = True
) -> tuple[str, ...] | None:
    """What waits, from the photos and answers of drawn decks; `told`: of when a machine's order chose."""
    drawn = {deck for draw in draws for deck in draw.decks}
    deck_of = {sha: deck for sha, deck in DECKS.items() if deck in drawn}
    return waiting_decks(
        deck_of,
        [one for one in answers if one.photo in deck_of],
        arrived=arrived,
        draws=draws,
        starts=[start_of(one.at, one.foreign, one.known) for one in answers if one.by_machine and told],
    )


def both_ways(
    acts: list[tuple[str, int, bool, bool, bool]],
    drawn: list[tuple[int, set[str], bool]],
    came: dict[str, int],
    *,
    told: bool = True,
) -> tuple[tuple[str, ...], tuple[str, ...] | None]:
    """What waits, from everything and from the drawn decks alone."""
    answers = [
        Answer(photo, f"2026-01-01T{at:02d}", by_machine=machine, blind=blind, foreign=foreign)
        for photo, at, machine, blind, foreign in acts
    ]
    draws = [Draw(f"2026-01-01T{at:02d}", tuple(sorted(decks)), gone) for at, decks, gone in drawn]
    arrived = {sha: f"2026-01-01T{at:02d}" for sha, at in came.items()}
    everything = counted_decks(DECKS, answers, arrived=arrived, draws=draws).waiting
    return everything, drawn_alone(answers, draws, arrived, told=told)


@settings(max_examples=cases(150, 3000), deadline=None)
@given(HISTORIES, DRAWS, ARRIVED)
def test_what_waits_is_the_same_from_the_drawn_decks_alone_or_it_says_that_others_decide(
    acts: list[tuple[str, int, bool, bool, bool]],
    drawn: list[tuple[int, set[str], bool]],
    came: dict[str, int],
) -> None:
    everything, alone = both_ways(acts, drawn, came)
    assert alone in (everything, None)


def test_what_waits_needs_to_know_when_a_machine_chose_elsewhere() -> None:
    """What an earlier order chose among is its pool; without its time it would seem to be the draw's."""
    acts = [("a-0", 1, True, True, False)]
    assert both_ways(acts, [(3, {"d", "e"}, False)], {}) == ((), ())
    assert both_ways(acts, [(3, {"d", "e"}, False)], {}, told=False)[1] == ("d", "e")


def test_other_decks_decide_where_a_drawn_deck_is_of_another_pool_now() -> None:
    """`f` came later and took a drawn photo in: whether it waits hangs on whether the pool is answered."""
    drawn = [(2, {"d", "f"}, False)]
    came = {"f-0": 5, "f-1": 5}
    some = [(f"d-{place}", 3, False, True, False) for place in (0, 1)]
    every = [(f"{deck}-{place}", 3, False, True, False) for deck in "abcde" for place in (0, 1)]
    assert both_ways(some, drawn, came) == (("f",), None)
    assert both_ways(every, drawn, came) == ((), None)
