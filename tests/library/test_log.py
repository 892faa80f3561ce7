"""The chain of events: what is said stays said, and a change by hand shows."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from triage.errors import BadInput
from triage.library import EventDraft, Library, log, queries

SHA = "a" * 64


def add_photo(library, sha=SHA, deck="D-1", name="a.jpg"):
    library.say_many(
        [
            EventDraft(
                "photo-added",
                {
                    "sha": sha,
                    "bytes": 1,
                    "width": 2,
                    "height": 3,
                    "orientation": 1,
                    "suffix": ".jpg",
                    "quality": {},
                },
                "ann",
            ),
            EventDraft("placed", {"sha": sha, "deck": deck, "visit": None, "name": name}, "ann"),
        ]
    )


def label(library, value, by="ann", tag="missing-hanger"):
    return library.say("label", {"photo": SHA, "tag": tag, "value": value}, by=by)


@pytest.fixture
def lib(tmp_path):
    with Library.create(tmp_path / "lib") as made:
        add_photo(made)
        yield made


def test_every_event_follows_the_one_before(lib):
    label(lib, "present")
    events = list(lib.events())
    assert [event.seq for event in events] == [1, 2, 3]
    assert events[0].prev_hash == log.GENESIS
    assert all(one.hash == other.prev_hash for one, other in zip(events, events[1:], strict=False))
    assert queries.log_faults(lib) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            "UPDATE event SET payload = replace(payload, 'present', 'absent') WHERE seq = 3",
            "content was changed",
        ),
        ("DELETE FROM event WHERE seq = 2", "missing"),
        ("UPDATE event SET at = '2020-01-01T00:00:00' WHERE seq = 3", "content was changed"),
        ("UPDATE private SET text = 'somebody else'", "content was changed"),
    ],
)
def test_a_row_changed_by_hand_shows(lib, change, said):
    label(lib, "present")
    with lib.engine.connect() as connection:
        connection.execute(text(change))
    assert any(said in fault for fault in queries.log_faults(lib))


def test_reordered_rows_show(lib):
    label(lib, "present")
    with lib.engine.connect() as connection:
        connection.execute(text("UPDATE event SET seq = 99 WHERE seq = 2"))
        connection.execute(text("UPDATE event SET seq = 2 WHERE seq = 3"))
        connection.execute(text("UPDATE event SET seq = 3 WHERE seq = 99"))
    assert queries.log_faults(lib)


def test_a_cut_off_tail_shows_against_a_printed_head(lib):
    label(lib, "present")
    printed = lib.head()
    with lib.engine.connect() as connection:
        connection.execute(text("DELETE FROM event WHERE seq = 3"))
    assert queries.log_faults(lib) == []
    assert lib.head() != printed


def test_a_private_text_can_be_deleted_without_breaking_the_chain(lib):
    lib.say(
        "label", {"photo": SHA, "tag": "t", "value": "present"}, by="ann", private={"note": "at Sample Lane"}
    )
    with lib.engine.connect() as connection:
        connection.execute(text("UPDATE private SET text = NULL WHERE text = 'at Sample Lane'"))
    assert queries.log_faults(lib) == []
    assert queries.labels(lib)[0].note is None
    assert "Sample Lane" not in json.dumps([dict(event.payload) for event in lib.events()])


def test_the_latest_word_of_a_person_counts_and_the_older_one_stays(lib):
    label(lib, "present")
    label(lib, "absent")
    assert [one.value for one in queries.labels(lib)] == ["absent"]
    assert sum(1 for event in lib.events("label")) == 2


def test_present_and_absent_by_two_people_is_a_dispute_that_counts_as_present(lib):
    label(lib, "absent", by="ann")
    label(lib, "present", by="ben")
    word = queries.words(lib)[SHA, "missing-hanger"]
    assert (word.value, word.disputed, word.settled) == ("present", True, False)


def test_unclear_beside_absent_counts_as_unclear(lib):
    label(lib, "absent", by="ann")
    label(lib, "unclear", by="ben")
    word = queries.words(lib)[SHA, "missing-hanger"]
    assert (word.value, word.disputed) == ("unclear", False)


def test_a_settlement_ends_a_dispute_until_somebody_disagrees_again(lib):
    label(lib, "absent", by="ann")
    label(lib, "present", by="ben")
    lib.say(
        "settled",
        {"photo": SHA, "tag": "missing-hanger", "value": "absent"},
        by="cy",
        private={"why": "looked"},
    )
    word = queries.words(lib)[SHA, "missing-hanger"]
    assert (word.value, word.disputed, word.settled) == ("absent", False, True)
    label(lib, "present", by="dee")
    assert queries.words(lib)[SHA, "missing-hanger"].disputed


def test_undo_takes_back_one_act_of_one_person_and_then_the_one_before(lib):
    label(lib, "present")
    label(lib, "unclear", by="ben")
    lib.say_many(
        [EventDraft("label", {"photo": SHA, "tag": tag, "value": "absent"}, "ann") for tag in ("x", "y")]
    )
    assert len(lib.undo("ann")) == 2
    assert {one.tag for one in queries.labels(lib)} == {"missing-hanger"}
    lib.undo("ann")
    assert [one.by for one in queries.labels(lib)] == ["ben"]
    with pytest.raises(BadInput, match="nothing by ann"):
        lib.undo("ann")


def test_a_fact_taken_back_leaves_the_one_before(lib):
    for size in ("2x6", "2x8"):
        lib.say("fact", {"deck": "D-1", "key": "joist_size", "value": size}, by="ann")
    assert queries.facts(lib, "D-1")["joist_size"].value == "2x8"
    lib.undo("ann")
    assert queries.facts(lib, "D-1")["joist_size"].value == "2x6"


def test_as_of_shows_only_what_was_recorded_by_then(lib):
    label(lib, "present")
    then = log.now()
    label(lib, "absent")
    with lib.as_of(then) as view:
        assert [one.value for one in queries.labels(view)] == ["present"]
    assert [one.value for one in queries.labels(lib)] == ["absent"]


ACTS = st.lists(
    st.one_of(
        st.tuples(
            st.just("label"),
            st.sampled_from("ab"),
            st.sampled_from(["present", "absent", "unclear"]),
            st.sampled_from("xy"),
        ),
        st.tuples(st.just("fact"), st.sampled_from("ab"), st.sampled_from(["2x6", "2x8"]), st.none()),
        st.tuples(st.just("undo"), st.sampled_from("ab"), st.none(), st.none()),
    ),
    max_size=12,
)


@settings(max_examples=15, deadline=None)
@given(acts=ACTS)
def test_folding_from_nothing_gives_the_same_state_as_folding_one_by_one(tmp_path_factory, acts):
    with Library.create(tmp_path_factory.mktemp("law") / "lib") as lib:
        add_photo(lib)
        for kind, by, value, tag in acts:
            if kind == "label":
                label(lib, value, by=by, tag=tag)
            elif kind == "fact":
                lib.say("fact", {"deck": "D-1", "key": "joist_size", "value": value}, by=by)
            else:
                try:
                    lib.undo(by)
                except BadInput:
                    continue
        before = (queries.labels(lib), queries.facts(lib, "D-1"), queries.words(lib))
        lib.rebuild()
        assert (queries.labels(lib), queries.facts(lib, "D-1"), queries.words(lib)) == before


def test_an_event_with_a_hash_of_its_own_that_follows_another_history_is_found(library):
    """A rewritten event whose own hash is right again still breaks the chain."""
    from sqlalchemy import select

    from triage.library import log
    from triage.library.tables import event as event_table

    with library.read() as connection:
        query = select(event_table).order_by(event_table.c.log_id, event_table.c.seq)
        rows = [dict(row) for row in connection.execute(query).mappings()]
    assert log._chain_faults(rows) == []
    forged = {**rows[1], "prev_hash": "0" * 63 + "1"}
    forged["hash"] = log.event_hash(forged)
    found = log._chain_faults([rows[0], forged])
    assert len(found) == 1
    assert "does not follow the event before it" in found[0]


def test_what_was_said_before_a_library_was_copied_can_be_taken_back_in_the_copy(tmp_path):
    import shutil

    with Library.create(tmp_path / "a") as library:
        add_photo(library)
        label(library, "present")
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    with Library.open(tmp_path / "a") as library:
        label(library, "absent", tag="rusted-connector")
    with Library.open(tmp_path / "b") as copy:
        label(copy, "absent", tag="side-bolted-beam")
        assert [event.payload["tag"] for event in copy.undo("ann")] == ["side-bolted-beam"]
        assert [event.payload["tag"] for event in copy.undo("ann")] == ["missing-hanger"]
