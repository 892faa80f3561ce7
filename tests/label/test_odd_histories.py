"""Histories that people really make: renamed decks, taken-back answers, merges, files without orders.

Whatever happens, what counts for a promise is never a part of a pool that hangs on which decks are open.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from triage.exchange import merge_libraries
from triage.ingest.deck_acts import join, rename, split_off
from triage.ingest.moving import forget, move
from triage.label.counting import counted_in_library
from triage.label.pool_draws import begin_pools
from triage.label.rows import give_labels
from triage.library import EventDraft, Library, queries
from triage.library.look_alikes import deck_groups

TAG = "rusted-connector"


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """Twelve decks with two photos each; D-00 and D-01 are answered, then a machine's order begins."""
    folder = tmp_path_factory.mktemp("made") / "twelve"
    with Library.create(folder) as library:
        said = []
        for number in range(24):
            sha = hashlib.sha256(str(number).encode()).hexdigest()
            facts = {"bytes": 1, "width": 40, "height": 30, "orientation": 1, "suffix": ".jpg", "quality": {}}
            place = {"sha": sha, "deck": f"D-{number // 2:02d}", "name": f"{number}.jpg"}
            said += [
                EventDraft("photo-added", {"sha": sha, **facts}, "ann"),
                EventDraft("placed", place, "ann"),
            ]
        library.say_many(said)
        answer(library, "D-00", "D-01")
        begin_pools(library, [TAG], "ann")
        answer(library, drawn(library)[0], drawn(library)[1])
    return folder


@pytest.fixture
def twelve(made: Path, tmp_path: Path) -> Iterator[Library]:
    """Two of its three drawn decks are answered."""
    shutil.copytree(made, tmp_path / "twelve")
    with Library.open(tmp_path / "twelve") as library:
        yield library


def answer(library: Library, *decks: str, by: str = "ann", **more: object) -> None:
    for deck in decks:
        for photo in queries.photos(library, deck):
            give_labels(library, [(photo, {TAG: "present"})], by=by, **more)


def drawn(library: Library) -> list[str]:
    return list(next(iter(library.events("pool-begun"))).payload["drawn"])


def counts(library: Library) -> set[str]:
    return set(counted_in_library(library, [TAG], deck_groups(library))[TAG].decks)


def renamed(library: Library, deck: str) -> None:
    rename(library, deck, "R-99", by="ann")


def joined(library: Library, deck: str) -> None:
    join(library, "D-00" if deck != "D-00" else "D-01", deck, by="ann")


def moved(library: Library, deck: str) -> None:
    move(library, queries.photos(library, deck), "M-99", by="ann")


def partly_moved(library: Library, deck: str) -> None:
    move(library, queries.photos(library, deck)[:1], "M-99", by="ann")


def split(library: Library, deck: str) -> None:
    split_off(library, deck, queries.photos(library, deck)[1:], "S-99", by="ann")


def forgotten(library: Library, deck: str) -> None:
    forget(library, queries.photos(library, deck), by="ann")


@pytest.mark.parametrize("act", [renamed, joined, moved, partly_moved, split, forgotten])
def test_drawn_decks_stay_the_drawn_ones_whatever_they_are_called(
    twelve: Library, act: Callable[[Library, str], None]
) -> None:
    """Two of three drawn decks are answered; the open one, perhaps the hard one, does not slip out."""
    first, second, open_one = drawn(twelve)
    assert counts(twelve) == {"D-00", "D-01"}
    act(twelve, open_one)
    assert not counts(twelve) & {first, second}
    for deck in ("R-99", "M-99", "S-99", open_one):
        answer(twelve, deck)
    if act not in (forgotten, joined):
        assert {first, second} <= counts(twelve)


def test_a_joined_drawn_deck_counts_once_it_is_answered(twelve: Library) -> None:
    joined(twelve, drawn(twelve)[2])
    answer(twelve, "D-00")
    assert {"D-00", *drawn(twelve)[:2]} <= counts(twelve)


def test_an_answer_that_was_taken_back_opens_its_deck_again(twelve: Library) -> None:
    answer(twelve, drawn(twelve)[2])
    assert set(drawn(twelve)) <= counts(twelve)
    twelve.undo("ann")
    assert counts(twelve) == {"D-00", "D-01"}


def test_a_second_person_and_a_second_look_change_nothing(twelve: Library) -> None:
    before = counts(twelve)
    answer(twelve, "D-00", by="ben", asked_by="second-look", saw_machine=True)
    other = next(deck for deck in queries.decks(twelve) if deck not in {"D-00", "D-01", *drawn(twelve)})
    answer(twelve, other, by="ben", asked_by="doubtful")
    assert counts(twelve) == before


def test_a_copy_that_drew_anew_does_not_choose_the_better_draw(twelve: Library, tmp_path: Path) -> None:
    """Both copies began a pool of the same decks; only the first draw counts after the merge."""
    others = sorted(set(queries.decks(twelve)) - {"D-00", "D-01", *drawn(twelve)})[:3]
    with Library.create(tmp_path / "copy") as copy:
        merge_libraries(copy, [twelve.path])
        copy.say(
            "pool-begun",
            {
                "tag": TAG,
                "population": 10,
                "frame": "0" * 64,
                "seed": "2",
                "rule": "x",
                "drawn": others,
            },
            by="ben",
        )
        answer(copy, *others, by="ben")
        merge_libraries(twelve, [copy.path])
    assert counts(twelve) == {"D-00", "D-01"}


def test_a_file_without_orders_counts_for_nothing_beside_a_machine_order(twelve: Library, tmp_path) -> None:
    from triage.label.files import read_csv_rows
    from triage.label.rows import store_rows

    lines = ["photo,deck,tag,value"]
    lines += [f"{photo.name},{photo.deck},{TAG},present" for photo in queries.photos(twelve)]
    (tmp_path / "all.csv").write_text("\n".join(lines) + "\n")
    result = store_rows(twelve, *read_csv_rows(tmp_path / "all.csv"), by="eve")
    assert not result.set_aside
    assert counts(twelve) <= {"D-00", "D-01"}
