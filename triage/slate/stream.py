"""The photos of one phone in the order in which they were taken, cut where nothing ties them together.

Order: by the counter in the file names where all have one (a clock may jump, a counter does not), else by
the capture time. A piece is a run of photos without a pause, without a step back of the clock and without
a card inside it: it was taken at one deck.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import PurePosixPath

from triage.slate.card import Card

CLOCK_SLIP_S = 2.0
"""A step back of the clock that is smaller than this is no jump (bursts, rounded seconds)."""


@dataclass(frozen=True)
class Placed:
    """Where a photo belongs and why; deck null where it was left open."""

    key: str
    deck: str | None
    visit: str | None
    reason: str


@dataclass(frozen=True)
class WalkPhoto:
    """What sorting needs of one photo.

    `key` names it for the caller; `phone` tells cameras apart (make, model and serial, or the folder);
    `taken_at` is ISO 8601 with fractions where there are some; `card` is the card it shows, and `unclear`
    says why a card that it shows cannot be used.
    """

    key: str
    phone: str
    name: str
    taken_at: str | None
    card: Card | None = None
    unclear: str | None = None

    @property
    def shows_card(self) -> bool:
        """Whether it shows any card, readable or not."""
        return self.card is not None or self.unclear is not None


@dataclass(frozen=True)
class Shot:
    """A photo with its time in seconds of its phone's own clock."""

    photo: WalkPhoto
    at_s: float


@dataclass(frozen=True)
class Piece:
    """Photos without a card that hang together; whether they also hang on the card before and after."""

    shots: tuple[Shot, ...]
    tied_before: bool
    tied_after: bool
    pause_before_s: float | None
    """Seconds of the pause before it; null at the start, after a card, or where the clock jumped."""


@dataclass(frozen=True)
class Stretch:
    """What lies between two cards of one phone: the shots that show them (null at an end) and the pieces.

    `steady` is false where the clock steps back inside it.
    """

    before: Shot | None
    pieces: tuple[Piece, ...]
    after: Shot | None
    steady: bool


@dataclass(frozen=True)
class Stream:
    """One phone's photos in order, as stretches between its cards."""

    name: str
    shots: tuple[Shot, ...]
    stretches: tuple[Stretch, ...]
    doubtful: bool = False
    """Whether a photo that shows a card may belong anywhere in it: it has no time and no counter."""

    @property
    def cards(self) -> list[Shot]:
        """The shots that show a card, readable or not."""
        return [shot for shot in self.shots if shot.photo.shows_card]


def seconds_of(taken_at: str) -> tuple[bool, float] | None:
    """Return whether the time has a zone, and seconds on that clock; null for text that is not a time."""
    try:
        moment = datetime.fromisoformat(taken_at)
    except ValueError:
        return None
    if moment.tzinfo is not None:
        return True, moment.timestamp()
    return False, (moment - datetime(1970, 1, 1)).total_seconds()


NO_TIME = "the photo has no capture time"
CARD_WITHOUT_TIME = "it has no capture time"
MIXED = "its folder holds photos of two phones with the same counters: give each phone its own folder"


def streams_of(
    photos: Iterable[WalkPhoto], pause_s: float
) -> tuple[list[Stream], list[tuple[WalkPhoto, str]]]:
    """Return the phones' streams, and the photos that have no place in one, with the reason.

    Times with a zone and times without one form streams of their own. A photo without a time that shows a
    card, or may show one, divides the stream where its file name's counter says; without a counter it may
    lie anywhere and makes the streams of its folder doubtful.
    """
    by_clock: dict[tuple[str, bool], list[Shot]] = {}
    left_out = []
    for photo in photos:
        read = seconds_of(photo.taken_at) if photo.taken_at else None
        if read is None:
            left_out.append((photo, NO_TIME))
        else:
            by_clock.setdefault((photo.phone, read[0]), []).append(Shot(photo, read[1]))
    streams = []
    for (phone, _), shots in sorted(by_clock.items()):
        if _mixed(shots):
            left_out += [(shot.photo, MIXED) for shot in shots]
            continue
        strays = [photo for photo, _ in left_out if photo.shows_card and _may_be_of(photo, shots)]
        counted = _by_counter(strays, shots)
        ordered = _in_order(shots + counted)
        stretches = tuple(_stretches(ordered, pause_s))
        streams.append(Stream(phone, tuple(ordered), stretches, len(counted) < len(strays)))
    return streams, left_out


def _may_be_of(photo: WalkPhoto, shots: Sequence[Shot]) -> bool:
    folder = PurePosixPath(photo.key).parent
    return any(
        photo.phone == shot.photo.phone or folder == PurePosixPath(shot.photo.key).parent for shot in shots
    )


def _by_counter(strays: Sequence[WalkPhoto], shots: Sequence[Shot]) -> list[Shot]:
    """Return photos without a time as shots at the time of the photo with the nearest counter.

    Their cards are taken as unclear: which phone took them is not known. None where the phone's files have
    no common counter.
    """
    counters = [_counter(shot.photo.name) for shot in shots]
    known = [(counter, shot) for counter, shot in zip(counters, shots, strict=True) if counter is not None]
    if len(known) < len(shots) or len({counter[0] for counter, _ in known}) != 1:
        return []
    found = []
    for photo in strays:
        counter = _counter(photo.name)
        if counter is None or counter[0] != known[0][0][0]:
            continue
        nearest = min(known, key=lambda one: abs(one[0][1] - counter[1]))[1]
        said = replace(photo, card=None, unclear=photo.unclear or CARD_WITHOUT_TIME)
        found.append(Shot(said, nearest.at_s))
    return found


def _counter(name: str) -> tuple[str, int] | None:
    """Return what stands before the counter of a camera's file name, and the counter.

    A short number behind it (`IMG_0412 (1)`, `IMG_0412-2`) was added when two files of one name met.
    """
    match = re.fullmatch(r"(\D*)(\d{3,6})(?:[ _-]?\(\d{1,2}\)|[ _-]\d)?", PurePosixPath(name).stem)
    return (match[1].lower().removesuffix("e"), int(match[2])) if match else None


def _mixed(shots: Sequence[Shot]) -> bool:
    """Whether one counter stands for photos of different times: then two cameras lie in one heap."""
    times: dict[tuple[str, int], float] = {}
    for shot in shots:
        counter = _counter(shot.photo.name)
        if counter is not None and abs(times.setdefault(counter, shot.at_s) - shot.at_s) > CLOCK_SLIP_S:
            return True
    return False


def _in_order(shots: list[Shot]) -> list[Shot]:
    by_time = sorted(shots, key=lambda shot: (shot.at_s, shot.photo.name))
    counters = [_counter(shot.photo.name) for shot in by_time]
    heads = {counter[0] for counter in counters if counter}
    if None in counters or len(heads) != 1:
        return by_time
    numbered = sorted(
        ((counter[1], shot) for counter, shot in zip(counters, by_time, strict=True) if counter),
        key=lambda pair: (pair[0], pair[1].at_s, pair[1].photo.name),
    )
    plain = [shot for _, shot in numbered]
    gaps = [b[0] - a[0] for a, b in zip(numbered, numbered[1:], strict=False)]
    if not gaps:
        return plain
    turn = gaps.index(max(gaps)) + 1
    wrapped = plain[turn:] + plain[:turn]
    return wrapped if _steps_back(wrapped) < _steps_back(plain) else plain


def _steps_back(shots: Sequence[Shot]) -> int:
    return sum(b.at_s < a.at_s - CLOCK_SLIP_S for a, b in zip(shots, shots[1:], strict=False))


def _stretches(shots: Sequence[Shot], pause_s: float) -> list[Stretch]:
    cards = [place for place, shot in enumerate(shots) if shot.photo.shows_card]
    bounds = [-1, *cards, len(shots)]
    found = []
    for low, high in zip(bounds, bounds[1:], strict=False):
        before = shots[low] if low >= 0 else None
        after = shots[high] if high < len(shots) else None
        inner = shots[low + 1 : high]
        steady = _steps_back(shots[max(low, 0) : high + 1]) == 0
        found.append(Stretch(before, tuple(_pieces(before, inner, after, pause_s)), after, steady))
    return found


def _tied(first: Shot | None, second: Shot | None, pause_s: float) -> bool:
    return first is not None and second is not None and -CLOCK_SLIP_S <= second.at_s - first.at_s <= pause_s


def _pieces(before: Shot | None, inner: Sequence[Shot], after: Shot | None, pause_s: float) -> list[Piece]:
    groups: list[list[Shot]] = []
    for shot in inner:
        if groups and _tied(groups[-1][-1], shot, pause_s):
            groups[-1].append(shot)
        else:
            groups.append([shot])
    pieces = []
    for place, group in enumerate(groups):
        earlier = groups[place - 1][-1] if place else before
        later = groups[place + 1][0] if place + 1 < len(groups) else after
        gap = group[0].at_s - earlier.at_s if earlier is not None else None
        pause = gap if gap is not None and gap > pause_s else None
        first, last = place == 0, place + 1 == len(groups)
        pieces.append(
            Piece(
                tuple(group),
                tied_before=first and _tied(before, group[0], pause_s),
                tied_after=last and _tied(group[-1], later, pause_s),
                pause_before_s=pause,
            )
        )
    return pieces
