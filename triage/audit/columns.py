"""The library's words as columns of small numbers, so that millions of labels fit and are fast to count.

A word is 0 where nobody said anything, else 1 absent, 2 unclear, 3 present; the larger is the worse.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from triage.library import queries
from triage.library.log import Names

if TYPE_CHECKING:
    from triage.library.library import Library
    from triage.library.look_alikes import DeckGroups

WORDS = ("", "absent", "unclear", "present")
_WORD_CODE = {word: code for code, word in enumerate(WORDS)}
_DIGITS = 16

Ints = NDArray[np.int32]
Bytes = NDArray[np.uint8]


class Codes:
    """Numbers for texts, in the order in which they are first met."""

    def __init__(self, known: Sequence[str] = ()) -> None:
        self.texts = list(known)
        self._code = {text: code for code, text in enumerate(self.texts)}

    def of(self, texts: Sequence[str]) -> Ints:
        """Return the code of every text, making new ones."""
        try:
            return np.fromiter(map(self._code.__getitem__, texts), np.int32, len(texts))
        except KeyError:
            for text in dict.fromkeys(texts):
                if text not in self._code:
                    self._code[text] = len(self.texts)
                    self.texts.append(text)
            return self.of(texts)

    def known(self, texts: Sequence[str]) -> Ints:
        """Return the code of every text, -1 where there is none."""
        code = self._code
        try:
            return np.fromiter(map(code.__getitem__, texts), np.int32, len(texts))
        except KeyError:
            return np.fromiter((code.get(text, -1) for text in texts), np.int32, len(texts))


class PhotoCodes:
    """Codes of photos by the first digits of their hashes: short texts, looked up as sorted numbers.

    `digits` is how much of a hash to ask the database for, `of` turns the answers into codes.
    """

    def __init__(self, shas: Sequence[str]) -> None:
        self.shas = list(shas)
        keys = _keys(sha[:_DIGITS] for sha in shas)
        self._order = np.argsort(keys, kind="stable") if keys is not None else np.zeros(0, np.intp)
        self._sorted = keys[self._order] if keys is not None else np.zeros(0, np.uint64)
        self.short = keys is not None and not (self._sorted[1:] == self._sorted[:-1]).any()
        self._plain = Codes(shas)

    @property
    def digits(self) -> int | None:
        """How much of a hash tells the photos apart; null for all of it."""
        return _DIGITS if self.short else None

    def of(self, texts: Sequence[str]) -> Ints:
        """Return the code of every photo, -1 where it is not placed."""
        keys = _keys(texts) if self.short else None
        if keys is None or not len(self._sorted):
            return self._plain.known(texts)
        places = np.minimum(np.searchsorted(self._sorted, keys), len(self._sorted) - 1)
        return np.where(self._sorted[places] == keys, self._order[places], -1).astype(np.int32)


def _keys(digits: Iterable[str]) -> NDArray[np.uint64] | None:
    """One number for each text of sixteen ASCII characters, or nothing where one is not such a text."""
    texts = list(digits)
    joined = "".join(texts)
    if not joined.isascii() or set(map(len, texts)) != {_DIGITS}:
        return None
    halves = np.frombuffer(joined.encode(), dtype=np.uint64).reshape(-1, 2)
    return np.asarray(halves[:, 0] * np.uint64(0x9E3779B97F4A7C15) ^ halves[:, 1])


def _small(texts: Sequence[str], code: dict[str, int]) -> Bytes:
    return np.fromiter(map(code.__getitem__, texts), np.uint8, len(texts))


@dataclass(frozen=True, eq=False)
class Columns:
    """All current labels: one entry per photo x tag x person, two where a person contradicts herself.

    Attributes
    ----------
    photos, decks, tags, people : texts by code (photos by hash).
    deck_of : (photos,) the deck of each photo.
    photo, tag, person : (n,) codes of each label.
    word : (n,) 1 absent, 2 unclear, 3 present.
    saw_machine : (n,) whether the person had seen the machine's word.
    """

    photos: list[str]
    decks: list[str]
    tags: list[str]
    people: list[str]
    deck_of: Ints
    photo: Ints
    tag: Ints
    person: Ints
    word: Bytes
    saw_machine: NDArray[np.bool_]
    settled: dict[tuple[int, int], int] = field(default_factory=dict)

    def put_together(self) -> tuple[Bytes, NDArray[np.bool_]]:
        """Return (tags, photos) the word of each pair, and whether people disagree on it unsettled.

        `present` and `absent` side by side are a dispute and count as the worse; a settlement ends it.
        """
        shape = (len(self.tags), len(self.photos))
        words = np.zeros(shape, dtype=np.uint8)
        both = np.zeros(shape, dtype=np.uint8)
        for code in (1, 2, 3):
            which = self.word == code
            words[self.tag[which], self.photo[which]] = code
            both[self.tag[which], self.photo[which]] |= 1 << code
        disputed = (both & 0b1010) == 0b1010
        for (tag, picture), word in self.settled.items():
            words[tag, picture], disputed[tag, picture] = word, False
        return words, disputed


def _placed(connection: Any) -> tuple[PhotoCodes, Codes, Ints]:
    """Placed photos, their decks, and the deck of each photo."""
    shas: list[str] = []
    decks = Codes()
    deck_of = [np.zeros(0, np.int32)]
    for sha_column, deck_column in queries.placed_columns(connection):
        shas.extend(sha_column)
        deck_of.append(decks.of(deck_column))
    return PhotoCodes(shas), decks, np.concatenate(deck_of)


Part = tuple[Ints, Ints, Ints, Bytes, NDArray[np.bool_]]
_NOTHING: Part = (
    np.zeros(0, np.int32),
    np.zeros(0, np.int32),
    np.zeros(0, np.int32),
    np.zeros(0, np.uint8),
    np.zeros(0, np.bool_),
)


def read_columns(library: Library, tags: Sequence[str] | None = None) -> Columns:
    """Read every current label of placed photos, of all tags or the named ones."""
    tag_codes, refs = Codes(sorted(tags or ())), Codes()
    with library.read() as connection:
        shas, decks, deck_of = _placed(connection)
        rows = queries.label_columns(connection, tags, digits=shas.digits)
        part = _read_labels(rows, shas, tag_codes, refs)
        names = Names(connection)
        persons = [names.get(ref) for ref in refs.texts]
        people = sorted(set(persons))
        settlements = [event.payload for event in queries.statements(connection, "settled")]
        settled = {(str(payload["photo"]), str(payload["tag"])) for payload in settlements}
    code = np.array([people.index(name) for name in persons] or [0], dtype=np.int32)
    picture, tag, person, word, saw = part[0], part[1], code[part[2]], part[3], part[4]
    keep = picture >= 0
    columns = Columns(
        shas.shas,
        decks.texts,
        tag_codes.texts,
        people,
        deck_of,
        picture[keep],
        tag[keep],
        person[keep],
        word[keep],
        saw[keep],
    )
    columns.settled.update(_settlements(library, columns, settled))
    return columns


def _read_labels(rows: Iterable[Sequence[Any]], shas: PhotoCodes, tags: Codes, refs: Codes) -> Part:
    """Label rows as codes; photos that are not placed get -1."""
    parts = [
        (
            shas.of(column[0]),
            tags.of(column[1]),
            refs.of(column[2]),
            _small(column[3], _WORD_CODE),
            np.fromiter(column[4], np.bool_, len(column[4])),
        )
        for column in rows
    ]
    if not parts:
        return _NOTHING
    first, second, third, fourth, fifth = (np.concatenate(each) for each in zip(*parts, strict=True))
    return first, second, third, fourth, fifth


def grouped(columns: Columns, groups: DeckGroups) -> Columns:
    """Return the labels with decks that share look-alike photos as one deck."""
    names = [groups.group(deck) for deck in columns.decks]
    decks = sorted(set(names))
    code = np.array([decks.index(name) for name in names] or [0], dtype=np.int32)
    return replace(columns, decks=decks, deck_of=code[columns.deck_of])


def _settlements(
    library: Library, columns: Columns, settled: set[tuple[str, str]]
) -> dict[tuple[int, int], int]:
    """Settled pairs as codes; whether a settlement still holds is decided by the library."""
    pictures, tags = Codes(columns.photos), Codes(columns.tags)
    found: dict[tuple[int, int], int] = {}
    wanted: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for sha, tag in settled:
        place, code = int(pictures.known([sha])[0]), int(tags.known([tag])[0])
        if place >= 0 and code >= 0:
            wanted.setdefault((columns.decks[columns.deck_of[place]], tag), []).append((sha, tag))
    for (deck, tag), pairs in wanted.items():
        words = queries.words(library, deck=deck, tag=tag)
        for sha, _ in pairs:
            word = words.get((sha, tag))
            if word is not None and word.settled:
                pair = (int(tags.known([tag])[0]), int(pictures.known([sha])[0]))
                found[pair] = _WORD_CODE[word.value]
    return found


Progress = Callable[[str, int, "int | None"], None]
Cancel = Callable[[], bool]
