"""Label rows: giving, reading from files, settling. Nothing is ever overwritten; undo adds an event."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from triage.domain.acts import Refused
from triage.domain.tiers import VALUES
from triage.domain.vocabulary import SHOWS, Tag
from triage.errors import BadInput, WrongUsage
from triage.label.files import LabelRow, SetAside, checked_box, write_csv
from triage.label.hanging import part_note, part_of, taken_back, taken_back_note
from triage.library import EventDraft, Library, queries
from triage.library.database import Connection
from triage.library.derived import FIELD as DERIVED
from triage.library.derived import derived_in
from triage.library.people import pseudonyms
from triage.library.records import ASKED_BY, UNKNOWN_ORDER, UNSORTED, Box, Label, Photo

_LOT = 2000
SETTLED_ELSEWHERE = "settled in the library that the file came from"


def check_value(value: str) -> str:
    """Return a label's value. Raises WrongUsage for a word that is none."""
    if value not in VALUES:
        raise WrongUsage(f"{value!r} is not a valid answer.", f"Answers: {', '.join(VALUES)}.")
    return value


@dataclass(frozen=True)
class Where:
    """Where on a photo (boxes in fractions) and on the deck (words) something is, how many, and a note.

    `derived` is the tag whose answer this one follows from, see `triage.label.hanging`.
    """

    boxes: tuple[Sequence[float], ...] = ()
    place: str | None = None
    count: int | None = None
    note: str | None = None
    derived: str | None = None


def by_part(tag: Tag) -> Where:
    """Return what stands with a 'no' that follows from the part that a tag hangs on."""
    return Where(note=part_note(tag), derived=part_of(tag))


def give_labels(
    library: Library,
    answers_of: Sequence[tuple[Photo, Mapping[str, str]]],
    *,
    by: str,
    boxes: Sequence[Sequence[float]] = (),
    where_of: Mapping[tuple[str, str], Where] | None = None,
    place: str | None = None,
    count: int | None = None,
    asked_by: str = "taken",
    saw_machine: bool = False,
    note: str | None = None,
    at: str | None = None,
) -> list[Label]:
    """Store one person's labels for one or more photos as one act, which `undo` takes back as a whole.

    Returns the rows as stored.

    `boxes`, `place` and `count` hold for every answer, boxes for one only; `where_of` holds them by
    (photo, tag) and goes first. Raises WrongUsage for an unknown tag, answer or way of asking, or a box
    that does not fit.
    """
    pairs = [(photo, tag, value) for photo, answers in answers_of for tag, value in answers.items()]
    if boxes and len(pairs) != 1:
        raise WrongUsage(
            "A box belongs to one tag of one photo.", "Give the tags one at a time when there is a box."
        )
    if asked_by not in ASKED_BY:
        raise WrongUsage(f"{asked_by!r} is not a valid value of asked_by.", f"Ways: {', '.join(ASKED_BY)}.")
    vocabulary = library.vocabulary()
    everywhere = Where(tuple(boxes), place, count)
    places = dict(where_of or {})
    pairs += _taken_back(library, pairs, by, places)
    said, checked = [], []
    for photo, tag, value in pairs:
        one = places.get((photo.sha, tag), everywhere)
        one = replace(one, boxes=tuple(_four(box) for box in one.boxes))
        checked.append(one)
        payload: dict[str, Any] = {
            "photo": photo.sha,
            "tag": known_tag(vocabulary, tag),
            "value": check_value(value),
            "boxes": [list(box) for box in one.boxes],
            "asked_by": asked_by,
            "saw_machine": saw_machine,
        }
        if one.count is not None:
            payload["count"] = one.count
        if one.derived is not None:
            payload[DERIVED] = known_tag(vocabulary, one.derived)
        said.append(EventDraft("label", payload, by, at, _private(one.place, one.note or note)))
    events = library.say_many(said)
    return [
        Label(
            photo=event.payload["photo"],
            tag=event.payload["tag"],
            value=event.payload["value"],
            by=by,
            at=event.at,
            boxes=tuple(_four(box) for box in one.boxes),
            place=one.place,
            count=one.count,
            asked_by=asked_by,
            saw_machine=saw_machine,
            note=one.note or note,
            event=event.hash,
        )
        for event, one in zip(events, checked, strict=True)
    ]


def _taken_back(
    library: Library,
    pairs: Sequence[tuple[Photo, str, str]],
    by: str,
    places: dict[tuple[str, str], Where],
) -> list[tuple[Photo, str, str]]:
    """Return the derived answers that these answers about parts take back; their notes go into `places`."""
    photos = {photo.sha: photo for photo, tag, value in pairs if tag.startswith(SHOWS) and value != "absent"}
    if not photos:
        return []
    vocabulary = library.vocabulary()
    with library.read() as connection:
        if not derived_in(connection, photos=photos):
            return []
        labels = [one for sha in photos for one in queries.labels(connection, photo=sha)]
        given = [(photo.sha, tag, value) for photo, tag, value in pairs]
        back = taken_back(connection, labels, given, by)
    for sha, tag, part in back:
        note = taken_back_note(vocabulary.tags[tag])
        places[sha, tag] = Where(note=note, derived=part)
    return [(photos[sha], tag, "unclear") for sha, tag, _ in back]


def _four(box: Sequence[float]) -> Box:
    if len(box) != 4:
        raise WrongUsage(
            f"A box has four numbers, not {len(box)}.", "Write X,Y,W,H as fractions of the photo."
        )
    try:
        return checked_box(*box)
    except (BadInput, ValueError) as error:
        raise WrongUsage(
            f"The box does not fit: {error}", "Write X,Y,W,H as fractions of the photo."
        ) from error


def known_tag(vocabulary: Any, tag: str) -> str:
    """Return the tag if the vocabulary has it. Raises WrongUsage with near names otherwise."""
    try:
        return str(vocabulary.tag(tag).tag)
    except BadInput as error:
        raise WrongUsage(str(error), error.hint) from error


def _private(place: str | None, note: str | None) -> dict[str, str]:
    return {name: text for name, text in (("place", place), ("note", note)) if text}


@dataclass
class ReadResult:
    """What reading a label file did."""

    rows: int = 0
    new: int = 0
    known: int = 0
    set_aside: list[SetAside] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {
            "rows": self.rows,
            "new": self.new,
            "known": self.known,
            "set_aside": [{"row": one.row, "reason": one.reason} for one in self.set_aside],
        }


def store_rows(
    library: Library,
    rows: Iterable[LabelRow],
    set_aside: Iterable[SetAside],
    *,
    by: str | None,
    visit: str | None = None,
    dry_run: bool = False,
) -> ReadResult:
    """Store rows read from a file: unknown photos and tags are set aside, rows read before are known.

    `by` speaks for rows that name nobody; without either a row is set aside. `visit` is the day of the visit
    that all photos are of, for rows that name none.
    """
    result = ReadResult(set_aside=list(set_aside))
    known = queries.label_row_hashes(library)
    here = _Said(library)
    vocabulary = library.vocabulary()
    finder = PhotoFinder(library)
    ended = queries.statements(library, "settled")
    settled = {(one.payload["photo"], one.payload["tag"], one.payload["value"]) for one in ended}
    said: list[EventDraft] = []
    for unnamed in rows:
        row = here.named(replace(unnamed, by=unnamed.by or by))  # two may say the same of the same photos
        if row.at and row.row_hash in known:  # the same words at the same time were read before
            result.known += 1
            continue
        row = replace(row, visit=row.visit or visit)
        reason, photo = _row_fault(row, by, vocabulary, finder)
        if reason or photo is None:
            result.set_aside.append(SetAside(row.row, reason or "unknown photo"))
            continue
        ended_so = row.settles and (photo, row.tag, row.value) in settled
        if row.row_hash in known or ended_so or here.has(row, photo):
            result.known += 1
            continue
        known.add(row.row_hash)
        said.append(_said(row, photo, by or ""))
        result.new += 1
    for start in range(0, 0 if dry_run else len(said), _LOT):
        library.say_many(said[start : start + _LOT])
    result.rows = result.new + result.known + len(result.set_aside)
    result.set_aside.sort(key=lambda one: one.row)
    return result


class _Said:
    """What people have said here, so that a file that this library wrote says nothing new."""

    def __init__(self, library: Library) -> None:
        labels = queries.labels(library)
        with library.read() as connection:
            self._names = {
                alias: name for name, alias in pseudonyms(connection, {x.by for x in labels}).items()
            }
        self._whole = {(*_said_of(one), one.place, one.note) for one in labels}
        self._bare = {_said_of(one) for one in labels}
        self._private: set[int] = set()

    def named(self, row: LabelRow) -> LabelRow:
        """Return the row with the name of a person who stands in it as this library's pseudonym."""
        if row.by not in self._names:
            return row
        self._private.add(row.row)
        return replace(row, by=self._names[row.by])

    def has(self, row: LabelRow, photo: str) -> bool:
        """Say whether the same was said here; a row under a pseudonym may have left its texts behind."""
        if row.settles or row.at is None:
            return False
        said = (photo, row.tag, row.value, row.by, row.at, tuple(row.boxes), row.count)
        bare = row.row in self._private and row.place is None and row.note is None
        return said in self._bare if bare else (*said, row.place, row.note) in self._whole


def _said_of(label: Label) -> tuple[Any, ...]:
    return (label.photo, label.tag, label.value, label.by, label.at, tuple(label.boxes), label.count)


def _row_fault(
    row: LabelRow, by: str | None, vocabulary: Any, finder: PhotoFinder
) -> tuple[str | None, str | None]:
    if row.tag not in vocabulary.tags:
        return f"unknown tag {row.tag!r}; add it with: deck-triage tags add FILE.toml", None
    if not (row.by or by):
        return "it has no author: the column 'by' is empty and --by was not given", None
    try:
        return None, finder.find(row.photo, row.deck, row.visit)
    except BadInput as error:
        return str(error), None


def _said(row: LabelRow, photo: str, by: str) -> EventDraft:
    if row.settles:
        ended = {"photo": photo, "tag": row.tag, "value": row.value}
        return EventDraft("settled", ended, row.by or by, row.at, {"why": row.note or SETTLED_ELSEWHERE})
    payload: dict[str, Any] = {
        "photo": photo,
        "tag": row.tag,
        "value": row.value,
        "boxes": [list(box) for box in row.boxes],
        "asked_by": row.asked_by if row.order_known else UNKNOWN_ORDER,
        "saw_machine": row.saw_machine,
        "row": row.row_hash,
    }
    if row.count is not None:
        payload["count"] = row.count
    return EventDraft("label", payload, row.by or by, row.at, _private(row.place, row.note))


class PhotoFinder:
    """Finds photos by the names in label files, with one look at the library for all of them.

    A name that several visits have, or that a photo has whose deck is still in question, is nobody's guess: a
    row about the repaired ledger must not become a word on the photo that shows the nails.
    """

    def __init__(self, library: Library) -> None:
        self._library = library
        self._by_path: dict[str, set[str]] = {}
        self._by_name: dict[str, set[str]] = {}
        self._photos: dict[str, Photo] = {}
        for photo in queries.photos(library):
            self._photos[photo.sha] = photo
            self._by_path.setdefault(photo.path_name, set()).add(photo.sha)
            self._by_name.setdefault(photo.name, set()).add(photo.sha)
            tail = photo.name.rsplit("/", 1)[-1]
            if tail != photo.name:
                self._by_name.setdefault(tail, set()).add(photo.sha)
        self._waiting = {photo.name.rsplit("/", 1)[-1] for photo in queries.photos(library, deck=UNSORTED)}

    def find(self, text: str, deck: str | None, visit: str | None = None) -> str:
        """Return the hash of the photo, of a certain visit where one is named.

        Raises BadInput when there is none, more than one, or when a photo of that name waits for its deck.
        """
        text = text.strip().replace("\\", "/").removeprefix("./")
        if text in self._photos:
            return self._of_visit({text}, text, visit)
        found = self._by_path.get(text, set())
        if not found and deck:
            found = self._by_path.get(f"{deck}/{text}", set())
        if not found:
            found = self._by_name.get(text, set())
        if found and not visit and text.rsplit("/", 1)[-1] in self._waiting:
            raise BadInput(
                f"{text!r} may be a photo that still waits for its deck: answer the question first"
                " (deck-triage decks questions), or say the day of the visit with --visit DATE or in a"
                " column 'visit'"
            )
        if found or visit:
            return self._of_visit(found or {queries.find_photo(self._library, text).sha}, text, visit)
        return queries.find_photo(self._library, text).sha

    def _of_visit(self, found: set[str], text: str, visit: str | None) -> str:
        """Return the one photo of a visit, by its day or by the day on which it was taken."""
        photos = [self._photos[sha] for sha in found if sha in self._photos]
        mine = [one for one in photos if not visit or visit in (one.visit, (one.taken_at or "")[:10])]
        if len(mine) == 1:
            return mine[0].sha
        days = ", ".join(sorted({one.visit or "no known day" for one in mine or photos}))
        if not mine:
            raise BadInput(f"{text!r} has no photo of the visit {visit} (there are: {days})")
        if len({one.visit for one in mine}) < len(mine):
            raise BadInput(f"{text!r} names {len(mine)} photos; write deck/name or the hash")
        raise BadInput(
            f"{text!r} names {len(mine)} photos, of the visits {days}: say which with --visit DATE or in a"
            " column 'visit'"
        )


def settle(library: Library, photo: Photo, tag: str, value: str, *, why: str, by: str) -> dict[str, Any]:
    """End a dispute over a photo x tag, with the reason.

    Raises Refused where nobody disagrees, WrongUsage without a reason or for an unknown tag or value.
    """
    tag = known_tag(library.vocabulary(), tag)
    if not why.strip():
        raise WrongUsage("A settlement needs a reason.", "Say it with --why TEXT.")
    payload = {"photo": photo.sha, "tag": tag, "value": check_value(value)}

    def decide(connection: Connection) -> list[EventDraft]:
        word = queries.words(connection, photo=photo.sha, tag=tag).get((photo.sha, tag))
        if word is None or not word.disputed:
            detail = f"Nobody disagrees about '{tag}' on {photo.path_name}"
            if word is not None and word.settled:
                detail = f"'{tag}' on {photo.path_name} is already settled"
            raise Refused("settle", "in-dispute", detail, photo.path_name, tag=tag)
        return [EventDraft("settled", payload, by, None, {"why": why})]

    (event,) = library.say_after(decide)
    return {**payload, "by": by, "at": event.at, "why": why}


def labels_file(
    library: Library,
    path: Path,
    deck: str | None = None,
    *,
    show_names: bool = False,
    with_text: bool = False,
) -> int:
    """Write the current labels as CSV; returns the number of rows.

    People are pseudonyms, and places and notes stay back, unless names are asked for (or the texts alone).
    Read into the same library again, such a file is known.
    """
    photos = {photo.sha: photo for photo in queries.photos(library, deck=deck)}
    labels = queries.labels(library, deck=deck)
    if not show_names:
        with library.read() as connection:
            alias = pseudonyms(connection, {label.by for label in labels})
        labels = [replace(label, by=alias[label.by]) for label in labels]
        if not with_text:
            labels = [replace(label, place=None, note=None) for label in labels]
    return write_csv(path, labels, photos)
