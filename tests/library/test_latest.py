"""What one person said in several libraries: the later word stands where the clocks tell, else both do."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.exchange import merge_libraries
from triage.library import EventDraft, Library, latest, log, queries
from triage.library.latest import SaidRow, standing

TAG = "rusted-connector"
WORDS = ("present", "unclear", "absent")


def row(number: int, chain: str, seq: int, lamport: int, said: str, at: int, replaces: list[str]) -> SaidRow:
    time = f"2026-{at:05d}"
    return SaidRow(
        event=f"event-{number}",
        key="key",
        log_id=chain,
        seq=seq,
        lamport=lamport,
        said=said,
        time=time,
        recorded_at=time,
        sha=None,
        replaces=tuple(replaces),
        undone=False,
        current=False,
        tier=None,
    )


Step = tuple[str, str, int, bool]
"""Which library, what was said, how many other events came before it, whether a merge came before it."""


def history(steps: list[Step]) -> list[SaidRow]:
    """What one person said in turn; a library's counter runs as fast as it is busy."""
    rows: list[SaidRow] = []
    counter = {"a": 0, "b": 0, "c": 0}
    seen: dict[str, set[str]] = {"a": set(), "b": set(), "c": set()}
    for number, (chain, said, busy, merged) in enumerate(steps):
        counter[chain] += busy + 1
        if merged:
            counter[chain] = max(counter.values()) + 1
            seen[chain] = {one.event for one in rows}
        last = {one.log_id: one.event for one in rows if one.event in seen[chain] and one.log_id != chain}
        rows.append(row(number, chain, counter[chain], counter[chain], said, number, sorted(last.values())))
    return rows


def by_the_counter(rows: list[SaidRow], _plausible: Callable[[SaidRow], bool]) -> list[SaidRow]:
    """The variant of before: what stands furthest in the log, that is in the busier library."""
    return [max(rows, key=lambda one: one.order)]


HISTORIES = st.lists(
    st.tuples(st.sampled_from("abc"), st.sampled_from(WORDS), st.integers(0, 50), st.booleans()),
    min_size=1,
    max_size=8,
).map(history)


@settings(max_examples=300, deadline=None)
@given(HISTORIES)
def test_the_later_word_stands_where_clocks_are_plausible(rows: list[SaidRow]) -> None:
    assert standing(rows, lambda _: True)[0].said == rows[-1].said
    assert len(standing(rows, lambda _: True)) == 1


@settings(max_examples=300, deadline=None)
@given(HISTORIES)
def test_without_a_plausible_clock_nothing_that_may_be_the_last_word_is_lost(rows: list[SaidRow]) -> None:
    found = standing(rows, lambda _: False)
    assert rows[-1].said in {one.said for one in found}
    named = {event for one in rows for event in one.replaces}
    last_of = {one.log_id: one for one in rows}
    assert {one.said for one in found} >= {
        one.said for one in last_of.values() if one.event not in named
    } or len({one.said for one in found}) == 1


def test_the_busier_librarys_word_as_a_rule_is_caught() -> None:
    """The law above fails for the variant: a January word of a busy library beats one of June."""
    rows = history([("a", "absent", 40, False), ("b", "present", 0, False)])
    assert by_the_counter(rows, lambda _: True)[0].said == "absent"
    assert standing(rows, lambda _: True)[0].said == "present"


class Clock:
    """A clock that says what it is told, in place of the system's."""

    def __init__(self) -> None:
        self.time = "2026-01-01T00:00:00.000000+00:00"

    def at(self, day: str) -> None:
        self.time = f"{day}T00:00:00.000000+00:00"


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    found = Clock()
    monkeypatch.setattr(log, "now", lambda: found.time)
    return found


@pytest.fixture
def two(tmp_path: Path, clock: Clock) -> Iterator[tuple[Library, Library, str]]:
    """A library and another that took over its one photo in January."""
    with Library.create(tmp_path / "one") as one, Library.create(tmp_path / "other") as other:
        sha = hashlib.sha256(b"a").hexdigest()
        facts = {"sha": sha, "bytes": 1, "width": 4, "height": 3, "orientation": 1, "suffix": ".jpg"}
        placed = {"sha": sha, "deck": "D-1", "visit": None, "name": "a.jpg"}
        file = one.originals.path(sha, ".jpg")
        file.parent.mkdir(parents=True)
        file.write_bytes(b"a")
        one.say_many([EventDraft("photo-added", facts, "ann"), EventDraft("placed", placed, "ann")])
        merge_libraries(other, [one.path])
        yield one, other, sha


def speak(library: Library, clock: Clock, day: str, sha: str, value: str, busy: int = 0) -> None:
    clock.at(day)
    noise = [EventDraft("finding", {"deck": "D-9", "tier": "watch"}, "ben")] * busy
    library.say_many([*noise, EventDraft("label", {"photo": sha, "tag": TAG, "value": value}, "ann")])


def said(library: Library, sha: str) -> tuple[str, bool]:
    word = queries.words(library)[sha, TAG]
    return word.value, word.disputed


def both_ways(one: Library, other: Library, sha: str) -> tuple[str, bool]:
    """Merge either way; both must say the same, and a rebuild too."""
    merge_libraries(one, [other.path])
    merge_libraries(other, [one.path])
    found = said(one, sha)
    assert said(other, sha) == found
    one.rebuild()
    assert said(one, sha) == found
    return found


def test_a_june_word_beats_a_january_word_of_a_busier_library(two, clock: Clock) -> None:
    one, other, sha = two
    speak(one, clock, "2026-01-05", sha, "absent", busy=30)
    speak(other, clock, "2026-06-05", sha, "present")
    assert both_ways(one, other, sha) == ("present", False)


def test_a_clock_that_went_back_makes_a_dispute_that_the_merge_names(two, clock: Clock) -> None:
    one, other, sha = two
    speak(one, clock, "2026-01-05", sha, "absent", busy=30)
    speak(other, clock, "2027-06-05", sha, "present")
    clock.at("2026-02-01")
    other.say("finding", {"deck": "D-9", "tier": "watch"}, by="ben")
    merged = merge_libraries(one, [other.path])
    assert "the clocks do not tell which came last" in merged.set_aside[0].reason
    assert both_ways(one, other, sha) == ("present", True)
    speak(one, clock, "2026-02-02", sha, "absent")  # said in view of both: no clock is needed
    assert said(one, sha) == ("absent", False)
    assert both_ways(one, other, sha) == ("absent", False)


def test_a_word_older_than_its_photo_was_said_by_a_wrong_clock(two, clock: Clock) -> None:
    one, other, sha = two
    speak(one, clock, "2026-01-05", sha, "present", busy=30)
    clock.at("2019-01-01")
    with Library.create(other.path.parent / "third") as third:  # a laptop whose clock was never set
        merge_libraries(third, [other.path])
        speak(third, clock, "2019-01-02", sha, "absent")
        assert both_ways(one, third, sha) == ("present", True)


def test_a_word_said_after_a_merge_stands_whatever_the_other_clock_said(two, clock: Clock) -> None:
    one, other, sha = two
    speak(other, clock, "2030-01-01", sha, "present", busy=30)
    merge_libraries(one, [other.path])
    speak(one, clock, "2026-03-01", sha, "absent")
    assert said(one, sha) == ("absent", False)
    assert both_ways(one, other, sha) == ("absent", False)
    one.undo("ann")
    assert said(one, sha) == ("present", False)


def test_a_deck_and_a_fact_follow_the_later_time_too(two, clock: Clock) -> None:
    one, other, sha = two
    fact = {"deck": "D-1", "visit": None, "key": "attached"}
    clock.at("2026-01-05")
    one.say_many([EventDraft("finding", {"deck": "D-9", "tier": "watch"}, "ben")] * 20)
    one.say("fact", {**fact, "value": True}, by="ann")
    one.say("moved", {"sha": sha, "deck": "D-2", "visit": None, "name": "a.jpg"}, by="ann")
    clock.at("2026-06-05")
    other.say("fact", {**fact, "value": False}, by="ann")
    other.say("moved", {"sha": sha, "deck": "D-3", "visit": None, "name": "a.jpg"}, by="ann")
    merge_libraries(one, [other.path])
    assert queries.facts(one, "D-1")["attached"].value is False
    assert queries.photos(one)[0].deck == "D-3"


def test_a_clock_that_goes_back_here_reopens_what_it_decided(two, clock: Clock) -> None:
    """Folded one by one or from nothing, the same stands."""
    one, other, sha = two
    speak(one, clock, "2026-01-05", sha, "absent")
    speak(other, clock, "2027-06-05", sha, "present")
    merge_libraries(other, [one.path])
    assert said(other, sha) == ("present", False)
    clock.at("2026-02-01")
    other.say("finding", {"deck": "D-9", "tier": "watch"}, by="ben")
    assert said(other, sha) == ("present", True)
    other.rebuild()
    assert said(other, sha) == ("present", True)


def test_what_replaces_what_is_only_looked_for_across_chains(two) -> None:
    one, _, sha = two
    with one.read() as connection:
        draft = EventDraft("label", {"photo": sha, "tag": TAG, "value": "present"}, "ann")
        assert latest.with_replaced(connection, one.log_id, [draft]) == [draft]
