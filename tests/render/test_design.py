"""The plan of the library is balanced: nothing can be guessed from anything else."""

import numpy as np
import pytest
from deckscene import decks, design
from deckscene.facts import facts, to_toml


def test_cramers_v_of_published_shape() -> None:
    # Bergsma (2013): full association gives 1, independence 0 after the correction.
    a = np.repeat([0, 1], 50)
    assert design.cramers_v(a, a) == pytest.approx(1.0)
    assert design.cramers_v(a, np.tile([0, 1], 50)) == 0.0
    # By hand: table [[20, 10], [10, 20]], n = 60: phi2 = 1/9, minus 1/59; r~ = 2 - 1/59;
    # V = sqrt((1/9 - 1/59) / (1 - 1/59)).
    b, c = (
        np.repeat([0, 1], 30),
        np.r_[np.zeros(20, int), np.ones(10, int), np.zeros(10, int), np.ones(20, int)],
    )
    assert design.cramers_v(b, c) == pytest.approx(np.sqrt((1 / 9 - 1 / 59) / (1 - 1 / 59)))


@pytest.mark.parametrize("rows", ["all", "train"])
def test_no_two_factors_are_associated(rows: str) -> None:
    chosen = np.arange(48) if rows == "all" else np.array([i for i in range(48) if not design.is_presort(i)])
    worst, pair = design.worst_association(design.plan_columns(), chosen)
    assert worst <= 0.2, pair


def test_a_plan_that_is_not_balanced_would_be_noticed() -> None:
    columns = design.plan_columns()
    columns["species"] = columns["rusted"].copy()
    assert design.worst_association(columns, np.arange(48))[0] > 0.9


def test_every_core_fault_is_on_enough_decks_to_promise_and_to_try() -> None:
    columns = design.plan_columns()
    presort = np.array([design.is_presort(i) for i in range(48)])
    assert presort.sum() == 12
    for fault in design.FAULTS:
        assert columns[fault][~presort].sum() >= 20, fault
        assert 5 <= columns[fault][presort].sum() <= 7, fault
    for i in design.SOUND:
        assert not any(columns[fault][i] for fault in design.FAULTS)


def test_decks_carry_what_the_plan_says() -> None:
    for i in range(48):
        deck, level = decks.deck(i), decks.levels_of(i)
        assert bool(deck.missing_hangers) == level["missing"]
        assert any(s >= 0.38 for _, s in deck.rusted_hangers) == level["rusted"]
        assert (deck.ledger_fastener == "nail") == level["nailed"]
        assert (deck.debris >= 0.35) == level["debris"]
        assert (deck.beam_bearing == "side-bolted") == level["side_bolted"]
        assert deck.species == level["species"]


def test_repair_leaves_the_boards_alone() -> None:
    for i in decks.SECOND_VISITS:
        before, after = decks.deck(i), decks.repaired(decks.deck(i))
        assert before.seed == after.seed
        assert not after.missing_hangers
        assert after.ledger_fastener == "bolt"
        assert before != after


def test_facts_follow_the_parameters() -> None:
    import tomllib

    deck = decks.deck(0)
    read = tomllib.loads(
        to_toml({deck.code: facts(deck)}, {deck.code: {"2026-09-23": facts(decks.repaired(deck))}})
    )
    table = read["decks"][deck.code]
    assert table["joist_size"] == deck.joist_size
    assert table["joist_span_ft"] + table["joist_overhang_ft"] <= deck.depth_ft
    assert table["visits"]["2026-09-23"]["ledger_fastener"] == "half-inch-bolt"
