"""Folders are read as people mean them."""

import pytest

from triage.ingest.folders import Says, names_nothing, read_folders


def decks(*folders, level=None):
    lots = read_folders(folders, level)
    return [(lots[one].deck, lots[one].says.value) for one in folders]


def test_the_deepest_folder_is_the_deck_and_days_are_its_path():
    days = [("Monday", ("Monday", f"deck-{n}")) for n in (10, 11, 12)]
    assert decks(*days) == [("deck-10", "deck"), ("deck-11", "deck"), ("deck-12", "deck")]


def test_two_backs_under_different_houses_stay_two():
    both = [("card", ("house-1", "back")), ("card", ("house-2", "back"))]
    assert decks(*both) == [("house-1/back", "deck"), ("house-2/back", "deck")]
    assert decks(("12 Elm", ("back",)))[0] == ("12 Elm/back", "deck")
    same = [("card", ("Monday", "D-1")), ("card", ("Tuesday", "D-1"))]
    assert decks(*same) == [("Monday/D-1", "deck"), ("Tuesday/D-1", "deck")]


@pytest.mark.parametrize("inside", ["phone-a", "close-ups", "ledger", "DCIM", "2026-05-04"])
def test_a_phone_a_detail_or_a_day_below_a_deck_belongs_to_it(inside):
    ((deck, _),) = decks(("card", ("D-70", inside)))
    assert deck == "D-70"


@pytest.mark.parametrize(
    "name",
    [
        "DCIM",
        "100MEDIA",
        "100APPLE",
        "Camera Roll",
        "WhatsApp Images",
        "Monday",
        "2026-05-04",
        "May 4",
        "photos",
    ],
)
def test_names_of_cameras_messengers_and_days_name_no_deck(name):
    assert names_nothing(name)
    assert decks((name, ())) == [("", "nothing")]


@pytest.mark.parametrize(
    "name", ["D-17", "deck-10", "12 Elm Street", "123 Maple", "Decker", "Marchand", "Sunny Side"]
)
def test_names_of_decks_are_names(name):
    assert not names_nothing(name)
    assert decks(("card", (name,))) == [(name, "deck")]


def test_a_level_is_a_persons_word():
    folders = [("card", ("North", "D-1", "x")), ("card", ("North", "D-2", "y"))]
    assert decks(*folders, level=1) == [("North", "told"), ("North", "told")]
    assert decks(*folders, level=2) == [("D-1", "told"), ("D-2", "told")]
    assert decks(*folders, level=0) == [("card", "told"), ("card", "told")]
    assert Says("told") is Says.TOLD
