"""The law: no history of acts makes a deck look better without evidence that was looked at.

Random histories on a small library: answers, looks, closings, settlements, liftings, tiers, findings, facts,
suggestions, undo, decks renamed and split, photos moved, a copy of the library merged back. After each act
the law is asked by another road than the program's (`broken_law`). A few examples run always, many with
DECK_TRIAGE_LONG=1.
"""

from __future__ import annotations

import itertools
import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from common import draw_photo
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_acts import AUTUMN, DECK, JULY, MAY, TAGS, looked_at, say

from triage.assess import DeckSummary, assess_library, visits
from triage.assess import summary as summary_module
from triage.assess.acts import close, lift, set_tier
from triage.assess.said import add_finding, warn
from triage.domain.tiers import tier_rank
from triage.errors import TriageError
from triage.exchange.merge import merge_libraries
from triage.ingest import ingest
from triage.ingest.deck_acts import rename, split_off
from triage.ingest.moving import move
from triage.label.rows import settle
from triage.library import Library, queries
from triage.library.records import Closing, Photo, Suggestion
from triage.library.suggestions import keep_suggestions
from triage.structure.telling import set_facts

EXAMPLES = 300 if os.environ.get("DECK_TRIAGE_LONG") == "1" else 6
PLACE = "left end"
MODEL = "m" * 64


@dataclass(frozen=True)
class Step:
    """One act: what, on which two photos, about which tag, with which answer; `flag` chooses a variant."""

    kind: str
    one: int = 0
    two: int = 0
    tag: str = "nail-only-ledger"
    value: str = "present"
    flag: bool = True


KINDS = [
    *["label", "look", "close"] * 3,
    *[
        "lift",
        "tier",
        "find",
        "settle",
        "warn",
        "undo",
        "fact",
        "suggest",
        "rename",
        "split",
        "move",
        "merge",
    ],
]
histories = st.lists(
    st.builds(
        Step,
        st.sampled_from(KINDS),
        st.integers(0, 5),
        st.integers(0, 5),
        st.sampled_from(sorted(TAGS)),
        st.sampled_from(["present", "present", "absent", "unclear"]),
        st.booleans(),
    ),
    min_size=4,
    max_size=10,
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with one deck, walked three times, with two photos of each walk; copied for each history."""
    folder = tmp_path_factory.mktemp("law")
    with Library.create(folder / "library") as library:
        for number, visit in enumerate((MAY, JULY, AUTUMN)):
            for side in range(2):
                draw_photo(folder / visit / DECK / f"{side}.jpg", seed=10 * number + side, size=(64, 48))
            ingest(library, [folder / visit], by="ann", visit=visit, deck=DECK, engine="here")
        library.say("trained", {"model": MODEL, "tags": {}}, by="ann")
    return folder / "library"


@pytest.fixture
def begin(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[object]:
    """Return a function that opens a fresh copy of the library."""
    monkeypatch.setattr("triage.presort.of_library.promise_standing", lambda _library: {})
    numbers = itertools.count()
    opened: list[Library] = []

    def fresh() -> Library:
        while opened:
            opened.pop().close()
        place = tmp_path / f"{next(numbers)}"
        shutil.copytree(made, place)
        opened.append(Library.open(place))
        return opened[-1]

    yield fresh
    while opened:
        opened.pop().close()


def photos_of(library: Library) -> list[Photo]:
    """Return the six photos, oldest visit first, wherever they are now."""
    found = [one for one in queries.photos(library)]
    return sorted(found, key=lambda one: (one.visit or "", one.sha))


def act(library: Library, step: Step, number: int) -> None:
    """Do a step by a new person each time, so that nobody takes back an own word but by undo."""
    seen, by = photos_of(library), f"person {number}"
    one, two = seen[step.one], seen[step.two]
    deck = one.deck
    if step.kind == "label":
        tag = step.tag if step.flag else f"shows-{TAGS[step.tag]}"
        say(library, one, tag, step.value, by, PLACE if step.two % 3 == 0 else None)
    elif step.kind == "look":
        looked_at(library, one, step.tag, by, PLACE if step.flag else None)
    elif step.kind == "close":
        rules = [c.rule for c in assess_library(library, [deck])[0].concerns if c.is_open] or [
            "missing-hanger"
        ]
        close(library, deck, rules[number % len(rules)], place=PLACE, before=one, after=two, why="x", by=by,
              same_place=step.flag)  # fmt: skip
    elif step.kind == "lift":
        lift(library, deck, why="x", after=one, by=by)
    elif step.kind == "tier":
        set_tier(library, deck, "watch" if step.flag else "repair-before-use", why="x", by=by)
    elif step.kind == "find":
        tier = "stop-use" if step.flag else "watch"
        add_finding(library, deck, tier=tier, text="x", by=by, photos=[one], visit=one.visit)
    elif step.kind == "settle":
        settle(library, one, step.tag, "absent", why="x", by=by)
    elif step.kind == "warn":
        warn(library, deck, told="x", how="y", at="2026-05-04T18:00", by=by)
    elif step.kind == "undo":
        library.undo(f"person {step.two}")
    else:
        act_on_more(library, step, number, one, by)


def act_on_more(library: Library, step: Step, number: int, one: Photo, by: str) -> None:
    """Do what changes the ground under the closings: facts, suggestions, decks, another copy's words."""
    if step.kind == "fact":
        fastener = {"present": "nail", "absent": "half-inch-bolt", "unclear": "unknown"}[step.value]
        facts = {"ledger_fastener": fastener} if step.flag else {"height_above_grade_ft": "1.5"}
        set_facts(library, one.deck, facts, by=by, visit=one.visit)
    elif step.kind == "suggest":
        pile, chance = ("likely", 0.9) if step.flag else ("unlikely", 0.01)
        keep_suggestions(library, [Suggestion(one.sha, step.tag, MODEL, chance, chance, pile)])
    elif step.kind == "rename":
        rename(library, one.deck, f"R-{number}", by=by)
    elif step.kind == "split":
        split_off(library, one.deck, [one], f"S-{number}", by=by)
    elif step.kind == "move":
        move(library, [one], DECK if one.deck != DECK else "D-2", by=by)
    else:
        copy = library.path.with_name(f"{library.path.name}-copy-{number}")
        shutil.copytree(library.path, copy)
        with Library.open(copy) as other:
            act(
                other,
                Step("label" if step.flag else "look", step.one, step.two, step.tag, step.value),
                number,
            )
        merge_libraries(library, [copy])


class Evidence:
    """What the log says, read from labels, settlements and closings alone."""

    def __init__(self, library: Library) -> None:
        self.said: dict[tuple[str, str], set[str]] = {}
        self.places: dict[str, set[str | None]] = {}
        for one in queries.labels(library):
            self.said.setdefault((one.photo, one.tag), set()).add(one.value)
            self.places.setdefault(one.photo, set()).add(one.place)
        ended = queries.statements(library, "settled")
        self.settled = {(one.payload["photo"], one.payload["tag"]) for one in ended}
        self.photos = {photo.sha: photo for photo in queries.photos(library)}
        self.decks = sorted({photo.deck for photo in self.photos.values()})
        self.closings = {deck: queries.closings(library, deck) for deck in self.decks}
        self.findings = {deck: queries.findings(library, deck) for deck in self.decks}

    def repaired(self, after: str, tag: str) -> bool:
        """Return whether everybody says that a photo shows the part, and that the defect is absent."""
        part, defect = (after, f"shows-{TAGS[tag]}"), (after, tag)
        absent = self.said.get(defect, set())
        gone = absent == {"absent"} or "absent" in absent and defect in self.settled
        return gone and (self.said.get(part) == {"present"} or part in self.settled)

    def bears(self, closing: Closing, sha: str, tag: str) -> bool:
        """Return whether a closing is evidence that a defect on a photo is repaired."""
        after, before = self.photos.get(closing.after), self.photos[sha]
        if after is None or after.deck != before.deck or not closing.rule.startswith(tag):
            return False
        covered = closing.before == sha or closing.place in self.places.get(sha, ())
        tied = closing.same_place or closing.place in self.places.get(closing.after, ())
        later = (after.visit or "") > (before.visit or "")
        return covered and tied and later and self.repaired(closing.after, tag)


def broken_law(library: Library, summaries: dict[str, DeckSummary]) -> str | None:
    """Return a concern that went without evidence in the log, or null.

    Every photo on which somebody's word says 'present', and every finding, is open on the deck where it is
    now, or (a photo) a settlement is in the log, or a closing of that deck bears it.
    """
    log = Evidence(library)
    for (sha, tag), values in log.said.items():
        if tag not in TAGS or "present" not in values or (sha, tag) in log.settled:
            continue
        deck = log.photos[sha].deck
        stands = any(c.is_open and c.tag == tag and sha in c.photos for c in summaries[deck].concerns)
        if not stands and not any(log.bears(one, sha, tag) for one in log.closings[deck]):
            return f"{tag} on {sha[:8]}"
    for deck in log.decks:
        stand = {c.rule for c in summaries[deck].concerns if c.is_open}
        shut = {one.rule for one in log.closings[deck] if one.same_place}
        rules = {f"finding-{one.id[:12]}" for one in log.findings[deck]}
        if rules - stand - shut:
            return min(rules - stand - shut)
    return None


def assessed(library: Library) -> dict[str, DeckSummary]:
    return {one.deck: one for one in assess_library(library)}


MAY_LOWER = ("close", "settle", "undo", "fact", "move", "split", "merge")
"""Acts after which a tier may be milder: closed, a dispute ended, an own word taken back, other ground."""


def run(library: Library, history: Sequence[Step]) -> str | None:
    """Live through a history; returns how the law was broken, or null."""
    now = assessed(library)
    for number, step in enumerate(history):
        before = now
        try:
            act(library, step, number)
        except TriageError:
            continue
        now = assessed(library)
        found = broken_law(library, now)
        for deck in now.keys() & before.keys():
            milder = tier_rank(now[deck].tier) > tier_rank(before[deck].tier)
            if milder and step.kind not in MAY_LOWER:
                found = f"the tier of {deck} is milder"
        if found is not None:
            return f"{found} after {number}: {step}"
    return None


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(histories)
def test_no_history_makes_a_deck_look_better_without_evidence(begin, history):
    assert run(begin(), history) is None


# ---- broken variants: each history is lawful, and breaks the law in a program that asks for less -----------

NAILS, LOOKED = Step("label", one=0), Step("look", one=4)
CLOSED = Step("close", one=0, two=4)


def _once(real):
    """Return a program's function that judges a closing once and never again."""
    held = {}

    def closings(given, book):
        held.update({one.closing: one for one in real(given, book)})
        return list(held.values())

    return closings


BROKEN = {
    "the walk is not asked for": (
        visits, "_order_fault", lambda _: lambda *a: None, [NAILS, Step("look", one=1), Step("close", two=1)]
    ),
    "no answer is asked for": (visits, "_answer_fault", lambda _: lambda *a: None, [NAILS, CLOSED]),
    "the place is not asked for": (
        visits, "_place_fault", lambda _: lambda *a: None,
        [NAILS, Step("look", one=4, flag=False), Step("close", two=4, flag=False)],
    ),
    "one person's yes outvotes a 'cannot tell'": (
        visits, "_doubted", lambda _: lambda *a: False,
        [NAILS, LOOKED, Step("label", one=4, value="unclear", flag=False), CLOSED],
    ),
    "a closing outlives the deck of its photo": (
        summary_module, "closings_that_hold", _once, [NAILS, LOOKED, CLOSED, Step("split", one=4)]
    ),
    "a closing is judged once": (
        summary_module, "closings_that_hold", _once, [NAILS, LOOKED, CLOSED, Step("label", one=4)]
    ),
    "a closing outlives the merged word of another copy": (
        summary_module, "closings_that_hold", _once, [NAILS, LOOKED, CLOSED, Step("merge", one=4)]
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(BROKEN))
def test_the_law_catches_a_program_that_asks_for_less(begin, monkeypatch, what):
    module, name, broken, history = BROKEN[what]
    assert run(begin(), history) is None
    monkeypatch.setattr(module, name, broken(getattr(module, name)))
    assert run(begin(), history) is not None
