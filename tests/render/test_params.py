"""A deck as data: what cannot be built is refused with a sentence."""

import pytest
from deckscene.errors import RenderError
from deckscene.params import DeckParams, check, from_table
from deckscene.units import IN, dressed_m


def test_dressed_sizes_are_those_of_the_lumber_standard() -> None:
    # PS 20-20, table 3 (from memory): 2x8 is 1-1/2 x 7-1/4 in, 4x4 3-1/2 x 3-1/2, 6x6 5-1/2 x 5-1/2.
    assert dressed_m("2x8") == pytest.approx((1.5 * IN, 7.25 * IN))
    assert dressed_m("4x4") == pytest.approx((3.5 * IN, 3.5 * IN))
    assert dressed_m("6x6") == pytest.approx((5.5 * IN, 5.5 * IN))


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ({"colour": "red"}, "Unknown deck parameter 'colour'"),
        ({"species": "oak"}, "species cannot be 'oak'"),
        ({"debris": 1.4}, "debris = 1.4 is not between 0 and 1"),
        ({"width_ft": 90.0}, "width_ft = 90.0 is outside 6 to 24"),
        ({"joist_size": "2x9"}, "'2x9' is not a lumber size"),
        ({"missing_hangers": [40]}, "only joists 0 to 9"),
        ({"missing_hangers": [3], "rusted_hangers": [[3, 0.5]]}, "joist 3 cannot be both missing and rusted"),
        ({"joist_bearing": "ledger-strip", "missing_hangers": [3]}, "bear on a ledger strip"),
        ({"beam_bearing": "side-bolted", "post_seated": False}, "does not sit on it"),
        ({"ledger_size": "2x6"}, "is lower than the 2x8 joists"),
        ({"stair_fault": "loose-tread"}, "no stairs"),
        ({"rusted_hangers": [[3, 0.0]]}, "rust of 0.0 on joist 3"),
    ],
)
def test_a_deck_that_cannot_be_built_is_refused(table: dict[str, object], sentence: str) -> None:
    with pytest.raises(RenderError, match=sentence):
        from_table({"code": "deck-99", "seed": 1, **table})


def test_parameters_survive_json() -> None:
    deck = check(DeckParams("deck-99", 1, missing_hangers=(3,), rusted_hangers=((5, 0.6),)))
    import json

    assert from_table(json.loads(json.dumps(deck.to_json()))) == deck
