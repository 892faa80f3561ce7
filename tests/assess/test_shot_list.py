import deck_builder as made

from triage.assess import assess_deck
from triage.assess.shots import shot_list


def test_what_is_not_known_is_asked_for(book, vocabulary):
    """Before a visit nothing is known: stairs and guards are looked for until a fact says there are none."""
    asks = shot_list({})
    assert any("stair" in ask for ask in asks)
    assert not any("whole flight" in ask for ask in shot_list({"has_stairs": False}))
    assert set(assess_deck(made.deck(), book, vocabulary).go_back_for) <= set(asks)


def test_it_goes_from_the_deck_down_and_round():
    asks = shot_list({})
    starts = ("On the deck, at the house wall", "Guard:", "Under the deck", "Beam:", "From the yard")
    order = [next(number for number, ask in enumerate(asks) if ask.startswith(start)) for start in starts]
    assert order == sorted(order)
