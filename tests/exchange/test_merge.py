"""Libraries grow together: twice is once, either order gives the same, and nothing private comes back."""

from __future__ import annotations

import contextlib
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from exchange_helpers import TAG, put_label, put_photo
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text

from triage.domain.acts import Refused
from triage.errors import BadInput, Damaged, NoLibrary
from triage.exchange import merge_libraries
from triage.label.rows import settle
from triage.library import Library, queries
from triage.library.database import writing
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.library.tables import FOLDS, private


def state(library: Library) -> dict[str, object]:
    """Everything that a person can see: folds, words, events; not which library it is."""
    with library.read() as connection:
        folds = {table.name: sorted(map(repr, connection.execute(select(table)).all())) for table in FOLDS}
        texts = sorted(map(tuple, connection.execute(select(private.c.ref, private.c.text))))
    words = {key: (one.value, one.disputed, one.settled) for key, one in queries.words(library).items()}
    return {
        "folds": folds,
        "words": words,
        "heads": library.head(),
        "texts": texts,
        "photos": queries.photos(library),
    }


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Library, Library]]:
    with Library.create(tmp_path / "one") as one, Library.create(tmp_path / "other") as other:
        yield one, other


def test_photos_words_and_disputes_come_together(two: tuple[Library, Library]) -> None:
    one, other = two
    shared = put_photo(one, "D-1", "a.jpg")
    assert put_photo(other, "D-1", "a.jpg") == shared
    new = put_photo(other, "D-2", "b.jpg")
    put_label(one, shared, "present", "ann")
    put_label(other, shared, "absent", "ben")
    merged = merge_libraries(one, [other.path])
    assert merged.to_json()["added"] == 1
    assert merged.to_json()["known"] == 1
    assert merged.to_json()["decks"] == {"D-1": 1, "D-2": 1}
    assert merged.set_aside == []
    word = queries.words(one)[shared, TAG]
    assert word.disputed
    assert {label.by for label in word.labels} == {"ann", "ben"}
    assert one.original(new).read_bytes() == b"D-2/b.jpg"
    assert queries.log_faults(one) == []


def test_twice_is_once_and_a_dry_run_changes_nothing(two: tuple[Library, Library]) -> None:
    one, other = two
    put_label(other, put_photo(other, "D-1", "a.jpg"), "present", "ben")
    before = state(one)
    dry = merge_libraries(one, [other.path], dry_run=True)
    assert state(one) == before
    assert (dry.events, len(dry.added)) == (3, 1)
    assert merge_libraries(one, [other.path]).events == 3
    after = state(one)
    again = merge_libraries(one, [other.path, other.path])
    assert (again.events, again.added) == (0, [])
    assert state(one) == after
    assert state(other) == state(one)


def test_a_persons_later_word_replaces_the_earlier_one_across_libraries(two: tuple[Library, Library]) -> None:
    """The same name in two libraries has two references; it is still one person who changed her mind."""
    one, other = two
    sha = put_photo(one, "D-1", "a.jpg")
    merge_libraries(other, [one.path])
    put_label(one, sha, "absent", "cy")
    merge_libraries(other, [one.path])
    put_label(other, sha, "present", "cy")
    merge_libraries(one, [other.path])
    word = queries.words(one)[sha, TAG]
    assert (word.value, word.disputed, len(word.labels)) == ("present", False, 1)
    put_label(one, sha, "unclear", "cy")
    assert queries.words(one)[sha, TAG].value == "unclear"
    one.rebuild()
    assert queries.words(one)[sha, TAG].value == "unclear"


def test_copies_that_both_went_on_merge(tmp_path: Path) -> None:
    """The usual way to work: everyone takes a copy of the folder, and the copies come together again."""
    with Library.create(tmp_path / "one") as one:
        sha = put_photo(one, "D-1", "a.jpg")
    shutil.copytree(tmp_path / "one", tmp_path / "copy")
    with Library.open(tmp_path / "one") as one, Library.open(tmp_path / "copy") as copy:
        put_label(one, sha, "present", "ann")
        put_label(copy, sha, "absent", "ben")
        put_label(copy, sha, "absent", "ben", "missing-hanger")
        assert one.log_id != copy.log_id
        assert len(one.head()) == 1
        assert len(copy.head()) == 2
        merge_libraries(one, [copy.path])
        merge_libraries(copy, [one.path])
        assert queries.words(one)[sha, TAG].disputed
        assert state(one) == state(copy)
    (tmp_path / "one").rename(tmp_path / "moved")
    with Library.open(tmp_path / "moved") as moved:
        put_label(moved, sha, "absent", "ann")
        assert len(moved.head()) == 2


def test_a_log_that_went_two_ways_is_refused(two: tuple[Library, Library]) -> None:
    one, other = two
    with writing(other.engine) as connection:
        connection.execute(text("UPDATE meta SET value = :log WHERE key = 'log_id'"), {"log": one.log_id})
    put_photo(one, "D-1", "a.jpg")
    put_photo(other, "D-2", "b.jpg")
    before = state(one)
    with pytest.raises(Damaged, match="different ways"):
        merge_libraries(one, [other.path])
    assert state(one) == before


def test_a_changed_event_is_refused(two: tuple[Library, Library]) -> None:
    one, other = two
    put_label(other, put_photo(other, "D-1", "a.jpg"), "present", "ben")
    with writing(other.engine) as connection:
        connection.execute(text("UPDATE event SET payload = replace(payload, 'present', 'absent')"))
    with pytest.raises(Damaged, match="failed its check"):
        merge_libraries(one, [other.path])
    assert queries.photo_count(one) == 0


def test_what_is_no_other_library(two: tuple[Library, Library], tmp_path: Path) -> None:
    one, _ = two
    with pytest.raises(BadInput, match="itself"):
        merge_libraries(one, [one.path])
    with pytest.raises(NoLibrary):
        merge_libraries(one, [tmp_path / "nowhere"])


def test_forgotten_there_is_forgotten_here(two: tuple[Library, Library]) -> None:
    """The file goes, the position goes, under whichever reference it stood; and it does not come back."""
    from triage.ingest.moving import forget

    one, other = two
    sha = put_photo(one, "D-1", "a.jpg")
    put_photo(other, "D-1", "a.jpg")
    forget(other, [queries.find_photo(other, sha)], by="ben")
    with pytest.raises(BadInput, match=r"removed 1 photo that is here for good: D-1/a.jpg"):
        merge_libraries(one, [other.path])
    assert queries.photo_count(one) == 1
    dry = merge_libraries(one, [other.path], dry_run=True)
    assert dry.to_json()["removals"] == [{"photo": sha, "deck": "D-1", "name": "a.jpg"}]
    merge_libraries(one, [other.path], accept_removals=True)
    assert queries.photo_count(one) == 0
    assert not one.originals.path(sha, ".jpg").exists()
    with one.read() as connection:
        texts = connection.execute(select(private.c.text)).scalars().all()
    assert not [said for said in texts if said and "latitude" in said]
    merged = merge_libraries(other, [one.path])
    assert merged.added == []
    assert queries.photo_count(other) == 0
    assert state(one)["folds"] == state(other)["folds"]


def test_an_issued_reports_photo_keeps_its_file(two: tuple[Library, Library]) -> None:
    one, other = two
    sha = put_photo(one, "D-1", "a.jpg")
    put_photo(other, "D-1", "a.jpg")
    one.say("issued", {"number": "1", "report_hash": "0", "photos": [sha]}, by="ann")
    other.say("forgotten", {"sha": sha}, by="ben")
    merged = merge_libraries(one, [other.path], accept_removals=True)
    assert "issued report" in merged.set_aside[0].reason
    assert one.originals.path(sha, ".jpg").exists()


def test_a_deleted_text_stays_deleted_either_way(two: tuple[Library, Library]) -> None:
    one, other = two
    put_label(one, put_photo(one, "D-1", "a.jpg"), "present", "ann")
    merge_libraries(other, [one.path])
    with writing(one.engine) as connection:
        connection.execute(text("UPDATE private SET text = NULL WHERE text = 'ann'"))
    one.rebuild()
    merge_libraries(other, [one.path])
    merge_libraries(one, [other.path])
    for library in (one, other):
        assert queries.log_faults(library) == []
        assert next(iter(queries.labels(library))).by.startswith("person-")


def test_questions_that_only_a_person_can_answer(two: tuple[Library, Library]) -> None:
    one, other = two
    put_photo(one, "D-1", "a.jpg", "one house")
    put_photo(other, "D-1", "a.jpg", "another house")
    merged = merge_libraries(one, [other.path])
    reasons = " ".join(each.reason for each in merged.set_aside)
    assert "is it the same house" in reasons
    assert "two different photos have this name" in reasons
    assert queries.photo_count(one) == 2
    assert merge_libraries(one, [other.path]).set_aside == []


def test_missing_and_damaged_originals_are_named(two: tuple[Library, Library]) -> None:
    one, other = two
    gone, changed = put_photo(other, "D-1", "a.jpg"), put_photo(other, "D-1", "b.jpg")
    other.originals.path(gone, ".jpg").unlink()
    other.originals.path(changed, ".jpg").write_text("changed")
    reasons = [each.reason for each in merge_libraries(one, [other.path]).set_aside]
    assert len(reasons) == 2
    assert "missing" in reasons[0]
    assert "damaged" in reasons[1]
    assert queries.photo_count(one) == 2
    other.originals.path(gone, ".jpg").write_text("D-1/a.jpg")
    merge_libraries(one, [other.path])
    assert one.original(gone).read_text() == "D-1/a.jpg"


def test_own_tags_rules_models_and_suggestions_come_along(two: tuple[Library, Library]) -> None:
    one, other = two
    block = '[[tag]]\ntag = "{}"\nkind = "defect"\ndefinition = "{}"\n\n'
    one.own_tags.write_text(block.format("soft-post", "One way."))
    other.own_tags.write_text(
        block.format("soft-post", "Another way.") + block.format("loose-stair", "Loose.")
    )
    other.own_rules.write_text("# rules\n")
    sha = put_photo(other, "D-1", "a.jpg")
    other.say("trained", {"model": "m" * 64, "tags": [TAG]}, by="ben")
    (other.models_dir / ("m" * 16)).mkdir(parents=True)
    (other.models_dir / ("m" * 16) / "model.json").write_text("{}")
    keep_suggestions(other, [Suggestion(sha, TAG, "m" * 64, 0.0, 0.1, "unlikely")])
    merged = merge_libraries(one, [other.path])
    assert [each.file for each in merged.set_aside] == ["soft-post"]
    assert "loose-stair" in one.vocabulary().tags
    assert one.vocabulary().tags["soft-post"].definition == "One way."
    assert one.own_rules.read_text() == "# rules\n"
    assert (one.model_dir / "model.json").exists()
    assert queries.suggestions(one)[sha, TAG].pile == "unlikely"
    keep_suggestions(other, [Suggestion(sha, TAG, "m" * 64, 0.0, 0.1, "unsure")])
    merge_libraries(one, [other.path])
    assert queries.suggestions(one)[sha, TAG].pile == "unsure"


def play(library: Library, others: list[Library], moves: random.Random) -> None:
    """One random thing that a person may do to a library."""
    photos = queries.photos(library)
    by = moves.choice(["ann", "ben", "cy"])
    what = moves.choice(
        ["photo", "label", "label", "label", "undo", "settle", "fact", "move", "forget", "merge"]
    )
    if what == "photo" or not photos:
        put_photo(library, f"D-{moves.randrange(3)}", f"{moves.randrange(5)}.jpg")
    elif what == "label":
        tag = moves.choice([TAG, "missing-hanger"])
        put_label(library, moves.choice(photos).sha, moves.choice(["present", "absent", "unclear"]), by, tag)
    elif what == "undo":
        with contextlib.suppress(BadInput):  # nothing by this person yet
            library.undo(by)
    elif what == "settle":
        with contextlib.suppress(Refused):  # nobody disagrees
            settle(
                library, moves.choice(photos), TAG, moves.choice(["present", "absent"]), why="looked", by=by
            )
    elif what == "fact":
        library.say(
            "fact", {"deck": "D-0", "visit": None, "key": "attached", "value": moves.random() < 0.5}, by=by
        )
    elif what == "move":
        one = moves.choice(photos)
        place = {"sha": one.sha, "deck": f"D-{moves.randrange(3)}", "visit": None, "name": one.name}
        library.say("moved", place, by=by)
    elif what == "forget" and moves.random() < 0.3:
        library.say("forgotten", {"sha": moves.choice(photos).sha}, by=by)
    elif what == "merge":
        merge_libraries(library, [moves.choice(others).path], accept_removals=True)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32), st.integers(5, 25))
def test_random_histories_come_to_one_state(
    tmp_path_factory: pytest.TempPathFactory, seed: int, steps: int
) -> None:
    """Three libraries with random histories, merged in every order and once too often, end in one state."""
    moves = random.Random(seed)
    root = tmp_path_factory.mktemp("merge")
    made = [Library.create(root / name) for name in "abc"]
    try:
        for _ in range(steps):
            one = moves.choice(made)
            play(one, [each for each in made if each is not one], moves)
        orders = [[1, 2], [2, 0, 0], [0, 1, 2, 1]]
        for one, order in zip(made, orders, strict=True):
            for place in order:
                if made[place] is not one:
                    merge_libraries(one, [made[place].path], accept_removals=True)
        merge_libraries(made[1], [made[0].path], accept_removals=True)
        merge_libraries(made[0], [made[1].path, made[2].path], accept_removals=True)
        merge_libraries(made[2], [made[0].path], accept_removals=True)
        first, second, third = (state(one) for one in made)
        assert first == second == third
        for one in made:
            assert queries.log_faults(one) == []
            before = state(one)
            one.rebuild()
            assert state(one) == before
    finally:
        for one in made:
            one.close()
        shutil.rmtree(root)
