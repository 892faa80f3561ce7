"""No key typed while the screen did not show a question is in the log: by the rule, and in a terminal."""

import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pseudo_terminal import Terminal

from triage.library import Library, queries
from triage.terminal.gate import Gate

CHILD = (sys.executable, str(Path(__file__).parent / "slow_child.py"))
STEP = st.one_of(
    st.tuples(st.just("close"), st.integers(0, 5)),
    st.tuples(st.just("open"), st.integers(0, 5)),
    st.tuples(st.just("key"), st.integers(0, 5)),
)


def wrongly_taken(gate, steps, settle):
    """Play steps in time; return the keys that were taken though nothing was shown when they were typed.

    A key is handled up to three ticks after it was typed, as by a program that is busy.
    """
    now, shown_since, turn, typed, wrong = 0, None, 0, [], []
    history = []
    for what, ticks in steps:
        now += ticks
        for at in [one for one in typed if one + 3 <= now]:
            typed.remove(at)
            ok = any(begin + settle <= at and at < end for begin, end in history) or (
                shown_since is not None and shown_since + settle <= at
            )
            if gate.takes(at, answers=True) and not ok:
                wrong.append(at)
        if what == "close":
            turn = gate.close()
            if shown_since is not None:
                history.append((shown_since, now))
            shown_since = None
        elif what == "open":
            if gate.open(turn, now) and shown_since is None:
                shown_since = now
        else:
            typed.append(now)
    return wrong


@settings(deadline=None)
@given(st.lists(STEP, max_size=40), st.integers(0, 3))
def test_no_key_counts_that_was_typed_before_the_screen_showed_what_it_is_about(steps, settle):
    assert wrongly_taken(Gate(settle), [("close", 0), *steps], settle) == []


def test_a_gate_that_asks_only_whether_it_is_open_now_is_caught():
    class Broken(Gate):
        def takes(self, typed_at, *, answers):
            return self.is_open

    steps = [("close", 0), ("key", 1), ("open", 1), ("key", 3)]
    assert wrongly_taken(Broken(0), steps, 0) == [1]
    assert wrongly_taken(Gate(0), steps, 0) == []


def test_what_was_shown_before_something_newer_opens_nothing():
    gate = Gate(0)
    old, new = gate.close(), gate.close()
    assert not gate.open(old, 1.0)
    assert not gate.is_open
    assert gate.open(new, 2.0)


def test_dropped_keys_are_counted_once():
    gate = Gate()
    gate.close()
    assert not gate.takes(1.0, answers=False)
    assert gate.told() == "1 key was typed too early and dropped."
    assert gate.told() == ""


@pytest.fixture
def screen(library):
    """Opens the screen on a library of 30 questions; returns the terminal and the library's folder."""
    folder, opened = library.path, []
    library.close()

    def begin(how="as it is", typed_ahead=""):
        terminal = Terminal(folder, how, program=CHILD)
        opened.append(terminal)
        terminal.type(typed_ahead)
        terminal.wait_for("● 0 of 30 answered")
        terminal.read_for(0.5)  # a key that follows the picture too soon is dropped
        return terminal

    yield begin, folder
    for terminal in opened:
        terminal.close()


def stored(folder):
    with Library.open(folder) as library:
        return [label.value for label in queries.labels(library)]


def test_keys_typed_before_the_screen_is_there_are_not_answers(screen):
    begin, folder = screen
    terminal = begin(typed_ahead="apc")
    assert stored(folder) == []
    terminal.press("q")
    assert terminal.ended() == 0


def test_keys_during_a_slow_step_are_dropped_and_escape_stops_it(screen):
    begin, folder = screen
    terminal = begin()
    terminal.press("l")
    terminal.wait_for("of 200")
    terminal.type("papaxco")
    terminal.read_for(1.0)
    terminal.type("\x1b")
    terminal.wait_for("Stopped; what was")
    terminal.wait_for("● 0 of 30")
    assert stored(folder) == []
    terminal.read_for(0.5)
    terminal.press("a")
    terminal.wait_for("1 of 30")
    assert stored(folder) == ["absent"]


def test_a_burst_of_keys_answers_the_photo_on_the_screen_and_no_other(screen):
    begin, folder = screen
    terminal = begin()
    terminal.press("aaaa")
    terminal.wait_for("● 1 of 30")
    assert stored(folder) == ["absent"]


def test_the_same_burst_answers_photos_that_nobody_saw_where_every_key_is_taken(screen):
    """A deliberately broken screen: what the tests above look for does happen without the rule."""
    begin, folder = screen
    terminal = begin("broken")
    terminal.press("aaaa")
    terminal.wait_for("4 of 30")
    assert stored(folder) == ["absent"] * 4


def test_ctrl_c_leaves_at_once_with_everything_saved_even_in_a_slow_step(screen):
    begin, folder = screen
    terminal = begin()
    terminal.press("a")
    terminal.wait_for("● 1 of 30")
    terminal.press("l")
    terminal.wait_for("of 200")
    terminal.press("\x03p")
    assert terminal.ended() == 130
    assert stored(folder) == ["absent"]
