"""Proposals from the demo library's second visits, as the page and `close --propose` give them."""

from __future__ import annotations

import json
import shutil

import pytest
from common import SAMPLES

from triage.cli import run
from triage.errors import BadInput, Cancelled
from triage.ingest import ingest
from triage.label.files import read_csv_rows
from triage.label.rows import store_rows
from triage.library import Library, queries
from triage.matching import propose_places

DECK = "deck-01"
PAIRS = ("flashing-1.jpg", "hanger-1.jpg", "hanger-2.jpg", "ledger-1.jpg")


@pytest.fixture(scope="module")
def two_visits(tmp_path_factory):
    """A library with both visits of one demo deck; the later photos stand among some of another deck."""
    folder = tmp_path_factory.mktemp("visits")
    shutil.copytree(SAMPLES / "photos" / DECK, folder / "first" / DECK)
    shutil.copytree(SAMPLES / "second_visit" / "photos" / DECK, folder / "second" / DECK)
    for path in sorted((SAMPLES / "photos" / "deck-03").glob("*.jpg")):
        shutil.copy(path, folder / "second" / DECK / f"other-{path.name}")
    with Library.create(folder / "library") as library:
        ingest(library, [folder / "first"], by="ann", visit="2026-05-04", engine="here")
        ingest(library, [folder / "second"], by="ann", visit="2026-09-23", engine="here")
        yield library


def later(library, name):
    return next(one for one in queries.photos(library, DECK, "2026-09-23") if one.name == name)


def earlier(library, name):
    return next(one for one in queries.photos(library, DECK, "2026-05-04") if one.name == name)


def test_the_same_place_is_among_the_five_and_mostly_first(two_visits):
    best = {name: propose_places(two_visits, DECK, earlier(two_visits, name)) for name in PAIRS}
    names = {name: [one.photo.name for one in found] for name, found in best.items()}
    assert all(len(found) == 5 and name in found for name, found in names.items())
    assert sum(found[0] == name for name, found in names.items()) >= 3
    assert best["ledger-1.jpg"][0].inliers > 20
    assert "points lie where they would" in best["ledger-1.jpg"][0].why


def test_only_later_photos_of_this_deck_are_proposed(two_visits):
    found = propose_places(two_visits, DECK, earlier(two_visits, "beam-1.jpg"), limit=100)
    assert {one.photo.visit for one in found} == {"2026-09-23"}
    assert len(found) == len(queries.photos(two_visits, DECK, "2026-09-23"))
    assert [one.score for one in found] == sorted((one.score for one in found), reverse=True)


def test_at_the_last_visit_photos_taken_later_that_day_are_proposed(two_visits):
    photos = queries.photos(two_visits, DECK, "2026-09-23")
    first = min(photos, key=lambda one: one.taken_at)
    found = propose_places(two_visits, DECK, first, limit=100)
    assert {one.photo.sha for one in found} == {one.sha for one in photos if one.taken_at > first.taken_at}
    last = max(photos, key=lambda one: one.taken_at)
    assert propose_places(two_visits, DECK, last) == []


def test_place_words_speak_for_and_against(two_visits, tmp_path):
    with Library.open(shutil.copytree(two_visits.path, tmp_path / "library")) as library:
        rows = [
            ("hanger-1.jpg", earlier, "joist 4 of 13 from the left"),
            ("hanger-1.jpg", later, "joist 9 of 13 from the left"),
            ("hanger-2.jpg", later, "joist 4 of 13 from the left"),
        ]
        lines = ["photo,deck,tag,value,place"]
        lines += [
            f"{when(library, name).sha},{DECK},missing-hanger,unclear,{place}" for name, when, place in rows
        ]
        (tmp_path / "labels.csv").write_text("\n".join(lines))
        assert not store_rows(library, *read_csv_rows(tmp_path / "labels.csv"), by="ben").set_aside
        found = propose_places(library, DECK, earlier(library, "hanger-1.jpg"), limit=100)
        why = {one.photo.name: one.why for one in found}
        assert "its labels name the same place" in why["hanger-2.jpg"]
        assert "but its labels name another place" in why["hanger-1.jpg"]


def test_it_says_nothing_and_records_nothing(two_visits):
    head = two_visits.head()
    propose_places(two_visits, DECK, earlier(two_visits, "hanger-1.jpg"))
    assert two_visits.head() == head


def test_a_photo_of_another_deck_is_refused(two_visits):
    with pytest.raises(BadInput, match="is no photo of deck D-99"):
        propose_places(two_visits, "D-99", earlier(two_visits, "hanger-1.jpg"))


def test_it_can_be_stopped(two_visits):
    with pytest.raises(Cancelled):
        propose_places(two_visits, DECK, earlier(two_visits, "hanger-1.jpg"), cancel=lambda: True)


def test_the_command_lists_and_closes_nothing(two_visits, capsys):
    where = ["-L", str(two_visits.path)]
    before = earlier(two_visits, "ledger-1.jpg").sha
    assert run(["close", DECK, "--propose", "--before", before, "--json", *where]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found) == 5
    assert found[0].keys() == {"photo", "name", "visit", "score", "inliers", "why"}
    assert found[0]["photo"] == later(two_visits, "ledger-1.jpg").sha
    assert run(["close", DECK, "--propose", "--before", before, "--n", "1", *where]) == 0
    assert "only a person says" in capsys.readouterr().out
    assert queries.closings(two_visits, DECK) == []


def test_the_command_says_what_is_missing(two_visits, capsys):
    where = ["-L", str(two_visits.path)]
    assert run(["close", DECK, "--propose", *where]) == 2
    assert "Name it with --before PHOTO" in capsys.readouterr().err
    assert run(["close", DECK, "missing-hanger", "--before", "x", *where]) == 2
    assert "also needs --after, --why" in capsys.readouterr().err
