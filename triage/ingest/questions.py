"""Questions about photos that wait for a deck, and files that were set aside: kept until somebody answers.

A question is an event `asked` about photos that are in the library but at no deck. It is open as long as one
of its photos waits: moving them (or `answer`) is the answer, `undo` opens it again. A file that was set
aside is an event of its own and stays listed until a person says that it is done with, or a later run takes
it in.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from triage.errors import BadInput
from triage.ingest.collect import SetAside, clean_name
from triage.ingest.placing import visit_of
from triage.ingest.walk import Why
from triage.library import EventDraft, Library, queries
from triage.library.database import Connection
from triage.library.records import UNSORTED, Photo

_SHORT = 8
CLEAR = 0.1
"""Up to this chance of being wrong a proposal may be accepted without a look at each photo."""


@dataclass(frozen=True)
class Question:
    """An open question: its photos wait at no deck.

    `probability` is that of being another deck than `beside`; null where nothing can be estimated.
    """

    id: str
    why: Why
    photos: tuple[str, ...]
    proposal: str | None
    beside: str | None = None
    probability: float | None = None
    pause_s: float | None = None
    apart_m: float | None = None

    @property
    def is_clear(self) -> bool:
        """Whether the proposal is hardly in doubt: it may be accepted together with others."""
        if self.proposal is None or self.probability is None:
            return False
        is_same = self.proposal == self.beside
        return self.probability <= CLEAR if is_same else self.probability >= 1 - CLEAR

    @property
    def reason(self) -> str:
        """The question in words."""
        return sentence(self)

    def to_json(self) -> dict[str, Any]:
        """Return the question in the shape that scripts rely on."""
        return {
            "id": self.id,
            "kind": self.why.value,
            "photos": list(self.photos),
            "reason": self.reason,
            "proposal": self.proposal,
            "beside": self.beside,
            "probability": None if self.probability is None else round(self.probability, 4),
        }

    def draft(self, by: str) -> EventDraft:
        """Return what is to be recorded."""
        numbers = {"probability": self.probability, "pause_s": self.pause_s, "apart_m": self.apart_m}
        payload = {
            "question": self.id,
            "why": self.why.value,
            "photos": list(self.photos),
            "proposal": self.proposal,
            "beside": self.beside,
            "numbers": {key: round(value, 4) for key, value in numbers.items() if value is not None},
        }
        return EventDraft("asked", payload, by)


def question_id(why: Why, shas: Iterable[str]) -> str:
    """Return the identifier of a question: the same photos and reason give the same one."""
    return "q" + hashlib.sha256("|".join([why.value, *sorted(shas)]).encode()).hexdigest()[:_SHORT]


def _of_payload(payload: Mapping[str, Any]) -> Question:
    numbers = payload.get("numbers", {})
    return Question(
        payload["question"],
        Why(payload["why"]),
        tuple(payload["photos"]),
        payload.get("proposal"),
        payload.get("beside"),
        numbers.get("probability"),
        numbers.get("pause_s"),
        numbers.get("apart_m"),
    )


def open_questions(library: Library) -> list[Question]:
    """Return the questions of which a photo still waits, oldest first, each with the photos that wait."""
    with library.read() as connection:
        return _open(connection)


def _open(connection: Connection) -> list[Question]:
    waiting = {photo.sha for photo in queries.photos(connection, UNSORTED)}
    if not waiting:
        return []
    found: dict[str, Question] = {}
    asked_last: dict[str, str] = {}
    for event in queries.statements(connection, "asked"):
        one = _of_payload(event.payload)
        found[one.id] = one
        asked_last.update(dict.fromkeys(one.photos, one.id))
    left = []
    for one in found.values():
        photos = tuple(sha for sha in one.photos if sha in waiting and asked_last[sha] == one.id)
        if photos:
            left.append(
                Question(
                    one.id,
                    one.why,
                    photos,
                    one.proposal,
                    one.beside,
                    one.probability,
                    one.pause_s,
                    one.apart_m,
                )
            )
    return left


def answer(
    library: Library,
    ids: Sequence[str],
    *,
    by: str,
    deck: str | None = None,
    visit: str | None = None,
    dry_run: bool = False,
) -> list[tuple[Photo, str]]:
    """Place the photos of open questions, at `deck` or where each question proposes, as one act.

    Returns (photo, deck) pairs. A name that is taken at the deck gets the photo's hash added. Raises
    BadInput, with nothing moved, for a question that is not open or that proposes nothing.
    """
    target = clean_name(deck) if deck is not None else None
    moved: list[tuple[Photo, str]] = []

    def decide(connection: Connection) -> list[EventDraft]:
        moved.clear()
        said: list[EventDraft] = []
        taken: dict[str, set[tuple[str | None, str]]] = {}
        for one in _chosen(_open(connection), ids):
            place = target or one.proposal
            if place is None or place == UNSORTED:
                raise BadInput(
                    f"Question {one.id} proposes no deck.", f"Name one: decks answer {one.id} --deck NAME"
                )
            photos = queries.photos_by_sha(connection, one.photos)
            if place not in taken:
                taken[place] = {(each.visit, each.name) for each in queries.photos(connection, place)}
            day = visit or visit_of(each.taken_at for each in photos)
            for photo in photos:
                said.append(_moved(photo, place, day, taken[place], by, one))
                moved.append((photo, place))
        return said

    if dry_run:
        with library.read() as connection:
            decide(connection)
    else:
        library.say_after(decide)
    return moved


def _moved(
    photo: Photo,
    deck: str,
    day: str | None,
    taken: set[tuple[str | None, str]],
    by: str,
    question: Question,
) -> EventDraft:
    visit = day or photo.visit
    name = photo.name
    if (visit, name) in taken:
        stem, dot, suffix = name.rpartition(".")
        name = f"{stem}-{photo.sha[:6]}{dot}{suffix}"
    taken.add((visit, name))
    payload = {
        "sha": photo.sha,
        "deck": deck,
        "visit": visit,
        "name": name,
        "from": photo.deck,
        "question": question.id,
    }
    return EventDraft("moved", payload, by)


def _chosen(questions: Sequence[Question], ids: Sequence[str]) -> list[Question]:
    by_id = {one.id: one for one in questions}
    missing = [one for one in ids if one not in by_id]
    if missing:
        raise BadInput(
            f"No open question {missing[0]} in this library.", "List them with: deck-triage decks questions"
        )
    return [by_id[one] for one in dict.fromkeys(ids)]


# ---- files that were set aside ----------------------------------------------------------------------------


@dataclass(frozen=True)
class LeftOut:
    """A file that was set aside in some run and that nobody has dealt with."""

    id: str
    file: str
    reason: str
    at: str


def file_mark(library_id: str, file: str) -> str:
    """Return the identifier of a file that was set aside."""
    return "f" + hashlib.sha256(f"{library_id}:{file}".encode()).hexdigest()[:_SHORT]


def remember(
    library: Library,
    rows: Sequence[SetAside],
    taken: Collection[str],
    by: str,
    waits: Mapping[str, str] | None = None,
) -> None:
    """Record files that were set aside, and that earlier ones were `taken` in now; twice is once.

    `waits` holds the photo (its hash) of a file that is in the library and waits for a deck: it is listed
    only as long as it waits.
    """
    with library.read() as connection:
        known = {event.payload["file_id"]: event for event in queries.statements(connection, "set-aside")}
        gone = _answered(connection)
    said = []
    hidden = re.compile(re.escape(f"{library.caches}/") + r"(uploads/[^/]+/files|unpacked/[^/]+)/")
    rows = [SetAside(hidden.sub("", row.file), hidden.sub("", row.reason)) for row in rows]
    taken = [hidden.sub("", file) for file in taken]
    photos = {hidden.sub("", file): sha for file, sha in (waits or {}).items()}
    for one in {row.file: row for row in rows}.values():
        mark = file_mark(library.id, one.file)
        if mark in known and (known[mark].payload.get("why") == one.reason):
            continue
        private = {"file": one.file, "why": one.reason}
        payload = {"file_id": mark, **({"photo": photos[one.file]} if one.file in photos else {})}
        said.append(EventDraft("set-aside", payload, by, private=private))
    for file in taken:
        mark = file_mark(library.id, file)
        if mark in known and mark not in gone:
            said.append(EventDraft("set-aside-done", {"file_id": mark, "how": "taken-in"}, by))
    library.say_many(said)


def _answered(connection: Connection) -> dict[str, int]:
    return {
        event.payload["file_id"]: event.lamport for event in queries.statements(connection, "set-aside-done")
    }


def left_out(library: Library) -> list[LeftOut]:
    """Return the files that were set aside and not dealt with, oldest first.

    One whose photo waited for a deck is not listed once the photo stands at one.
    """
    with library.read() as connection:
        done = _answered(connection)
        rows = queries.statements(connection, "set-aside")
        asked = {str(event.payload["photo"]) for event in rows if event.payload.get("photo")}
        waiting = {one.sha for one in queries.photos(connection, UNSORTED)} if asked else set()
        return [
            LeftOut(
                event.payload["file_id"],
                event.payload.get("file") or "(name deleted)",
                event.payload.get("why") or "",
                event.at,
            )
            for event in rows
            if done.get(event.payload["file_id"], -1) < event.lamport
            and (event.payload.get("photo") is None or event.payload["photo"] in waiting)
        ]


def dealt_with(library: Library, ids: Sequence[str], *, by: str) -> list[LeftOut]:
    """Record that a person has dealt with files that were set aside. Raises BadInput for an unknown one."""
    listed = {one.id: one for one in left_out(library)}
    missing = [one for one in ids if one not in listed]
    if missing:
        raise BadInput(
            f"No file {missing[0]} is set aside in this library.",
            "List them with: deck-triage decks questions",
        )
    chosen = [listed[one] for one in dict.fromkeys(ids)]
    library.say_many([EventDraft("set-aside-done", {"file_id": one.id, "how": "seen"}, by) for one in chosen])
    return chosen


# ---- words ------------------------------------------------------------------------------------------------


def sentence(one: Question) -> str:
    """Return a question in words."""
    photos, do = ("1 photo", "does it") if len(one.photos) == 1 else (f"{len(one.photos)} photos", "do they")
    beside = f"deck {one.beside}" if one.beside else "the other photos"
    apart = f"{far_words(one.apart_m)} from" if one.apart_m is not None else "beside"
    words = {
        Why.PAUSE: f"{photos} taken {pause_words(one.pause_s)} away from {beside}: "
        "the same deck, or the next one?",
        Why.FAR: f"{photos} taken {apart} {beside}: the same house, or another one?",
        Why.PHONES: f"{photos} from another phone, taken near {beside}: {do} show that deck?",
        Why.RETURN: f"{photos} taken later {apart} {beside}: a return to that deck, or a neighbor's?",
        Why.FEW: f"{photos} taken away from every other stop: which deck, if any?",
        Why.NO_TIME: f"{photos} without a usable capture time: which deck?",
        Why.KNOWN_PLACE: f"{photos} taken {apart} {beside}, which is in the library already: the same deck?",
        Why.SAME_NAME: f"{photos} from another folder of that name: "
        f"is this the deck {one.beside} that is here already?",
        Why.NAME_TAKEN: f"{photos} with a file name that {beside} has already: the same deck?",
        Why.NO_CARD: f"{photos} that no card decides: which deck?",
        Why.PLAN: f"{photos} that fit no single stop of the day's plan: which deck?",
    }
    return words[one.why]


def pause_words(seconds: float | None) -> str:
    """Return a pause in words."""
    if seconds is None:
        return "some time"
    if abs(seconds) < 120:
        return f"{abs(seconds):.0f} seconds"
    if abs(seconds) < 7200:
        return f"{abs(seconds) / 60:.0f} minutes"
    return f"{abs(seconds) / 3600:.1f} hours"


def far_words(meters: float) -> str:
    """Return a distance in words."""
    return f"{meters / 1609.344:.1f} miles" if meters > 1609 else f"{meters * 3.28084:.0f} ft"
