"""Spellings of one name are asked about once and are then one person, in every figure."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.audit.agreeing import agree
from triage.cli import run
from triage.errors import BadInput
from triage.exchange import merge_libraries
from triage.exchange.content import aliases
from triage.library import EventDraft, Library, queries
from triage.library.people import People, alike, decide, open_questions, resembling

TAG = "rusted-connector"
SHA = "ab" * 32


def put(library: Library, sha: str = SHA) -> None:
    facts = {"sha": sha, "bytes": 1, "width": 4, "height": 3, "orientation": 1, "suffix": ".jpg"}
    placed = {"sha": sha, "deck": "D-1", "visit": None, "name": f"{sha[:4]}.jpg"}
    library.say_many([EventDraft("photo-added", facts, "cy"), EventDraft("placed", placed, "cy")])


def speak(library: Library, value: str, by: str, sha: str = SHA) -> None:
    library.say("label", {"photo": sha, "tag": TAG, "value": value}, by=by)


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.create(tmp_path / "library") as made:
        put(made)
        yield made


def names(library: Library) -> list[str]:
    return [label.by for label in queries.labels(library)]


def ask(library: Library) -> list[tuple[str, str]]:
    with library.read() as connection:
        return open_questions(connection)


@pytest.mark.parametrize("other", ["ann ", "ANN", " Ann", "\u00c5nn".replace("\u00c5", "A"), "A\u200bnn"])
def test_what_counts_as_the_same_spelling(other: str) -> None:
    assert (alike("Ann") == alike(other)) == ("\u200b" not in other)


def test_until_somebody_says_so_they_are_two_and_the_question_is_open(library: Library) -> None:
    speak(library, "present", "Ann")
    speak(library, "absent", "ANN")
    assert queries.words(library)[SHA, TAG].disputed
    assert ask(library) == [("ANN", "Ann")]


def test_one_person_in_every_figure_once_it_is_said_and_undo_takes_it_back(library: Library) -> None:
    speak(library, "present", "Ann")
    speak(library, "absent", "ann ")
    speak(library, "absent", "ben")
    decide(library, "Ann", "ann ", same=True, by="cy")
    assert ask(library) == []
    assert sorted(names(library)) == ["Ann", "ben"]
    assert queries.words(library)[SHA, TAG].value == "absent"
    assert not queries.words(library)[SHA, TAG].disputed
    found = agree(library)[TAG]
    assert (found.people, found.photos, found.disputed) == (2, 1, ())
    assert len(set(aliases(library, {"Ann", "ann "}).values())) == 1
    speak(library, "unclear", "ann ")
    assert sorted(names(library)) == ["Ann", "ben"]
    before = queries.words(library)
    library.rebuild()
    assert queries.words(library) == before
    assert library.undo("Ann")[0].payload["value"] == "unclear"
    library.undo("cy")
    assert queries.words(library)[SHA, TAG].disputed
    library.rebuild()
    assert queries.words(library)[SHA, TAG].disputed


def test_two_people_are_not_asked_about_again(library: Library) -> None:
    speak(library, "present", "Ben")
    speak(library, "absent", "ben")
    decide(library, "Ben", "ben", same=False, by="cy")
    assert ask(library) == []
    with library.read() as connection:
        assert resembling(connection, "ben") == []
        assert resembling(connection, "BEN") == ["Ben", "ben"]
    assert queries.words(library)[SHA, TAG].disputed


def test_nobody_is_named_who_has_not_spoken(library: Library) -> None:
    with pytest.raises(BadInput, match="Nobody has spoken"):
        decide(library, "Zoe", "zoe", same=True, by="cy")
    with pytest.raises(BadInput, match="same twice"):
        decide(library, "cy", "cy", same=True, by="cy")


def test_a_merge_names_the_question_and_keeps_the_answer(library: Library, tmp_path: Path) -> None:
    with Library.create(tmp_path / "other") as other:
        put(other)
        speak(library, "present", "Ann")
        speak(other, "absent", "ANN")
        (tmp_path / "library" / "originals").mkdir(exist_ok=True)
        merged = merge_libraries(library, [other.path])
        assert any("one person" in one.reason and "'ANN' and 'Ann'" in one.file for one in merged.set_aside)
        decide(library, "Ann", "ANN", same=True, by="cy")
        merge_libraries(other, [library.path])
        assert names(other) == names(library) == ["Ann"]
        assert queries.words(other) == queries.words(library)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.booleans()), max_size=8))
def test_belonging_together_is_an_equivalence(monkeypatch, said: list[tuple[int, int, bool]]) -> None:
    """Whatever was said, in whatever order: spellings fall into groups, each with one name of its own."""
    rows = [(f"n{one}", f"n{other}", same) for one, other, same in said if one != other]
    monkeypatch.setattr("triage.library.people._said", lambda _: rows)
    people = People(None)  # type: ignore[arg-type]
    every = [f"n{number}" for number in range(5)]
    for one in every:
        group = people.spellings(one)
        assert one in group
        assert people.name(one) in group
        assert {tuple(people.spellings(other)) for other in group} == {tuple(group)}
    for one, other, same in rows:
        assert not same or people.name(one) == people.name(other)
        assert people.is_decided(one, other)


def cli(library: Library, *line: str) -> int:
    return run([*line, "-L", str(library.path)])


def test_the_command_line_asks_before_anything_is_stored(library: Library, capsys) -> None:
    speak(library, "present", "Ann")
    before = queries.event_count(library)
    word = ("label", "set", SHA, f"{TAG}=absent", "--by", "ann")
    assert cli(library, *word) == 1
    told = capsys.readouterr().err
    assert "'Ann' has spoken in this library" in told
    assert "deck-triage people same 'Ann' 'ann'" in told
    assert queries.event_count(library) == before
    assert cli(library, "people", "same", "Ann", "ann", "--by", "ann") == 0
    assert cli(library, *word) == 0
    assert names(library) == ["Ann"]
    capsys.readouterr()
    assert cli(library, "people", "list", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert {"name": "Ann", "spellings": ["Ann", "ann"]} in said["people"]
    assert said["questions"] == []


def test_a_question_in_the_terminal_is_answered_there(library: Library, monkeypatch) -> None:
    speak(library, "present", "Ann")
    monkeypatch.setattr("triage.cli._common._at_a_terminal", lambda: True)
    monkeypatch.setattr("click.confirm", lambda *_args, **_options: True)
    assert cli(library, "label", "set", SHA, f"{TAG}=absent", "--by", "ANN") == 0
    assert names(library) == ["Ann"]
    assert ask(library) == []


def test_another_persons_act_is_taken_back_with_a_reason_only(library: Library, capsys) -> None:
    speak(library, "present", "Ann")
    (label,) = queries.labels(library)
    assert cli(library, "undo", "--event", label.event[:12], "--by", "ben") == 2
    assert cli(library, "undo", "--event", label.event[:12], "--why", " ", "--by", "ben") == 1
    assert len(queries.labels(library)) == 1
    assert cli(library, "undo", "--event", label.event[:12], "--why", "another deck", "--by", "ben") == 0
    assert queries.labels(library) == []
    assert cli(library, "undo", "--event", label.event[:12], "--why", "again", "--by", "ben") == 1
    assert "taken back already" in capsys.readouterr().err
    assert cli(library, "undo", "--event", "zz", "--why", "again", "--by", "ben") == 1
