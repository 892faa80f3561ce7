"""Which decks a promise counts: by pools, so that it never depends on how hard a deck is.

A machine's order (doubtful, dangerous, learning, like, or an answer given with the machine's word in view)
reaches easy and hard decks at different times. Of the decks that it chose among, those that happen to be
answered at some moment are therefore not a fair sample, and neither are those that it left over. So the decks
of one tag are taken in pools:

- Decks that were wholly answered before any machine's order chose among them all count.
- A pool is the decks that were unanswered when a machine's order first chose among them. All of it counts
  once all of it is wholly answered, in whatever order. Until then only the decks that were drawn at random
  when the pool began count, once every one of them is wholly answered. Never any other part of it: a drawn
  deck that was renamed, joined, split or moved is still drawn, by its photos, and where one of them has no
  photo left nothing counts before the whole pool.
- A label whose time or way of asking is not known (from a file) makes its deck unknown. Without any machine's
  order in the tag unknown decks count; with one they never do. A machine's order that came from a file begins
  a pool of which nobody here knows the members: nothing of it counts.

An answer counts as given when it was given without the machine's word in view; `unclear` is an answer.
Decks that share look-alike photos are one deck here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

ALWAYS = ""
"""A time before all others."""
NEVER = "~"
"""A time after all others (ISO 8601 texts begin with digits)."""


@dataclass(frozen=True)
class Answer:
    """That somebody answered a photo for a tag.

    Attributes
    ----------
    photo : which photo.
    at : when, as ISO 8601 in UTC; empty where it is not known.
    by_machine : the machine chose the photo, or its word was in view.
    blind : the machine's word was not in view.
    foreign : it came from a file, so that nobody here knows what else was there.
    known : its time and its way of asking are known.
    """

    photo: str
    at: str
    by_machine: bool = False
    blind: bool = True
    foreign: bool = False
    known: bool = True


@dataclass(frozen=True)
class Draw:
    """The decks drawn at random when a pool began, and when that was.

    Attributes
    ----------
    decks : those that hold a photo of a drawn deck now, whatever they are called.
    gone : a drawn deck has no photo left here, so that what is left of the draw is a part of it.
    """

    at: str
    decks: tuple[str, ...]
    gone: bool = False


@dataclass(frozen=True)
class Counted:
    """Decks that a promise counts, and why others do not.

    Attributes
    ----------
    decks : names of the groups that count.
    waiting : drawn decks that are not wholly answered yet.
    open_pools : pools of which not all decks are answered.
    unknown : decks that never count because a label's time or way of asking is not known.
    whole : decks that are wholly answered.
    pooled : decks that belong to some pool.
    """

    decks: frozenset[str]
    waiting: tuple[str, ...] = ()
    open_pools: int = 0
    unknown: int = 0
    whole: frozenset[str] = frozenset()
    pooled: frozenset[str] = frozenset()


def counted_decks(
    deck_of: Mapping[str, str],
    answers: Sequence[Answer],
    *,
    arrived: Mapping[str, str] | None = None,
    draws: Sequence[Draw] = (),
    starts: Collection[tuple[str, bool]] = (),
    more_open: bool = False,
) -> Counted:
    """Return which decks of one tag count.

    Parameters
    ----------
    deck_of : every photo of the library to its deck (or group of decks).
    answers : of one tag.
    arrived : when each photo came into the library; missing means it was always there.
    draws : of this tag, decks named as in `deck_of`.
    starts : as of `start_of`, when a machine's order chose among decks that are not in `deck_of`.
    more_open : every pool has a deck that is not in `deck_of` and not wholly answered.
    """
    photos: dict[str, list[str]] = defaultdict(list)
    for sha, deck in deck_of.items():
        photos[deck].append(sha)
    answers = [one for one in answers if one.photo in deck_of]
    blind = {one.photo for one in answers if one.blind}
    whole = {deck for deck, shas in photos.items() if all(sha in blind for sha in shas)}
    begun = {start_of(one.at, one.foreign, one.known) for one in answers if one.by_machine}
    begun |= {(draw.at, False) for draw in draws} | set(starts)
    if not begun:
        return Counted(frozenset(whole), whole=frozenset(whole))
    unknown = {deck_of[one.photo] for one in answers if not one.known}
    pools = _pools(photos, _first_blind(answers), _arrivals(deck_of, answers, arrived or {}), sorted(begun))
    pooled = {deck for decks in pools.values() for deck in decks}
    counts = whole - pooled
    drawn_at: dict[str, set[str]] = defaultdict(set)
    for draw in draws:
        drawn_at[draw.at].update(draw.decks)
    gone = {draw.at for draw in draws if draw.gone}
    waiting: set[str] = set()
    open_pools = 0
    for (at, foreign), decks in pools.items():
        drawn = drawn_at[at]
        if decks <= whole and not foreign and not more_open:
            counts |= decks
            continue
        open_pools += 1
        if at in gone or not drawn & decks:
            continue
        waiting |= drawn - whole
        if drawn <= whole:
            counts |= drawn & decks
    return Counted(
        frozenset(counts - unknown),
        tuple(sorted(waiting)),
        open_pools,
        len(unknown),
        frozenset(whole),
        frozenset(pooled),
    )


def start_of(at: str, foreign: bool, known: bool) -> tuple[str, bool]:
    """Return when an answer of a machine's order began a pool, and whether its members are known nowhere."""
    return at, foreign or not known


def waiting_decks(
    deck_of: Mapping[str, str],
    answers: Sequence[Answer],
    *,
    arrived: Mapping[str, str],
    draws: Sequence[Draw],
    starts: Collection[tuple[str, bool]],
) -> tuple[str, ...] | None:
    """Return the `waiting` of `counted_decks` from the drawn decks alone; null where other decks decide it.

    A deck's own photos, and the times at which a machine's order chose anywhere (`starts`), settle which pool
    it belongs to. Other decks settle only whether every deck of a pool is wholly answered, so the result is
    computed for both cases and returned where they agree.

    Parameters
    ----------
    deck_of : every photo of every drawn deck, as the decks are now.
    answers : of these photos, for one tag.
    """
    closed, opened = (
        counted_decks(deck_of, answers, arrived=arrived, draws=draws, starts=starts, more_open=more_open)
        for more_open in (False, True)
    )
    return closed.waiting if closed.waiting == opened.waiting else None


def _first_blind(answers: Sequence[Answer]) -> dict[str, str]:
    """When each photo was first answered without the machine's word in view, as far as that is known."""
    first: dict[str, str] = {}
    for one in answers:
        if one.blind and one.known:
            first[one.photo] = min(first.get(one.photo, NEVER), one.at)
    return first


def _arrivals(
    deck_of: Mapping[str, str], answers: Sequence[Answer], arrived: Mapping[str, str]
) -> dict[str, str]:
    """When each photo came; one whose deck was spoken of before it came was there before, elsewhere."""
    came: dict[str, str] = {}
    for sha, deck in deck_of.items():
        came[deck] = min(came.get(deck, NEVER), arrived.get(sha, ALWAYS))
    elsewhere = {deck_of[one.photo] for one in answers if one.at < came[deck_of[one.photo]]}
    return {sha: ALWAYS if deck in elsewhere else arrived.get(sha, ALWAYS) for sha, deck in deck_of.items()}


def _pools(
    photos: Mapping[str, Sequence[str]],
    first: Mapping[str, str],
    arrived: Mapping[str, str],
    starts: Sequence[tuple[str, bool]],
) -> dict[tuple[str, bool], set[str]]:
    """Return the decks of each pool by its beginning: (when, whether it began in a file)."""
    times = [at for at, _ in starts]
    found: dict[tuple[str, bool], set[str]] = defaultdict(set)
    for deck, shas in photos.items():
        place = bisect_left(times, min(arrived[sha] for sha in shas))
        if place == len(starts):
            continue
        start = times[place]
        if any(arrived[sha] <= start <= first.get(sha, NEVER) for sha in shas):
            foreign = any(from_file for at, from_file in starts if at == start)
            found[start, foreign].add(deck)
    return found
