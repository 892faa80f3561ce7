"""In which order photos and tags are asked about.

`deck`: deck by deck, element by element along the load path. `taken`: by the camera's time, photo by photo.
`doubtful` and `dangerous` need suggestions and leave no photo out; `dangerous` goes photo by photo, each with
all its open tags (`label.lists_first`). `learning` asks what would teach the model most, `like` puts the
nearest photos first; both ask one photo of several near-duplicates (`label.selection`).
`second_look` hands out photos that somebody else labeled, without those labels.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from triage.errors import BadInput, WrongUsage
from triage.label.deck_order import PartsOf, along_the_load_path, open_in_deck
from triage.label.hanging import part_of
from triage.label.learning import learning_order, like_order
from triage.label.lists_first import look_order
from triage.label.pool_draws import begin_pools, drawn_decks
from triage.label.window import next_decks, next_suggested
from triage.library import queries
from triage.library.answer_times import answered_blind
from triage.library.look_alikes import deck_groups
from triage.library.look_lines import lines_of
from triage.library.records import MACHINE_ORDERS

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.domain.vocabulary import Vocabulary
    from triage.label.lists_first import Said
    from triage.library import Library
    from triage.library.records import Photo, Word

ORDERS = ("deck", "taken", "doubtful", "dangerous", "learning")


@dataclass(frozen=True)
class Question:
    """One photo x tag to be answered, and how it came to be asked (see `asked_by` of a label).

    `urgent` says that it belongs to the lists of urgent tags, or to the photos that take turns with them;
    `listed` says the same of any list to look at first.
    """

    photo: Photo
    tag: str
    asked_by: str
    urgent: bool = False
    listed: bool = False


def questions(
    library: Library,
    *,
    by: str,
    deck: str | None = None,
    tags: Sequence[str] = (),
    order: str = "deck",
    like: str | None = None,
    second_look: int | None = None,
    parts_of: PartsOf | None = None,
    urgent: Collection[str] = (),
) -> list[Question]:
    """Return what to ask a person, without what this person has answered already.

    With `parts_of` (from a deck to its `shows-` tags), in the order `deck`, the parts are asked with the tags
    that hang on them, photo by photo (`label.deck_order`). In the order `dangerous` the lists of the `urgent`
    tags come first, then the decks that were drawn at random, then the rest.
    Of a large library it returns only those that come first (`label.window`): of the next decks when asked
    deck by deck, those that nobody has answered yet by the machine's words.
    Raises BadInput for an unknown deck, tag or photo, and where an order needs suggestions and has none.
    """
    vocabulary = library.vocabulary()
    chosen = [vocabulary.tag(tag).tag for tag in tags] or list(vocabulary.core)
    if second_look is None and (like is not None or order in MACHINE_ORDERS):
        begin_pools(library, chosen, by)
    if parts_of is not None and order == "deck" and like is None and second_look is None:
        return _with_parts(library, by, deck, chosen, parts_of)
    if second_look is None and like is None and order in MACHINE_ORDERS:
        drawn = _drawn(library, by, chosen, deck)
        return _with_drawn(drawn, _asked(library, by, deck, tags, chosen, order, like, second_look, urgent))
    return _asked(library, by, deck, tags, chosen, order, like, second_look)


def _with_parts(
    library: Library, by: str, deck: str | None, tags: Sequence[str], parts_of: PartsOf
) -> list[Question]:
    """Questions deck by deck and photo by photo, parts with what hangs on them."""
    if deck is not None and not queries.is_deck(library, deck):
        raise BadInput(f"There is no deck {deck!r} with photos.", "List the decks with: deck-triage decks")
    if deck is not None:
        decks = [deck]
    else:
        parts = {part_of(library.vocabulary().tags[tag]) for tag in tags} - {None}
        large = next_decks(library, by, [*tags, *(part for part in parts if part)])
        decks = queries.decks(library) if large is None else large
    return [
        Question(photo, tag, "deck")
        for name in decks
        for photo, tag in open_in_deck(library, name, by, [*parts_of(name), *tags])
    ]


def _drawn(library: Library, by: str, tags: Sequence[str], deck: str | None) -> list[Question]:
    """Questions on the decks that were drawn at random when a machine's order began."""
    groups = deck_groups(library)
    everyone = queries.decks(library)
    asked = []
    for tag, names in drawn_decks(library, tags, groups).items():
        decks = [one for one in everyone if groups.group(one) in names and deck in (None, one)]
        if decks:
            blind = answered_blind(library, tag, decks)
            asked += [(sha, tag) for sha in queries.placed_shas(library, decks) if sha not in blind]
    photos = {
        one.sha: one for one in queries.photos_by_sha(library, list(dict.fromkeys(sha for sha, _ in asked)))
    }
    return [Question(photos[sha], tag, "random") for sha, tag in asked]


def _with_drawn(drawn: Sequence[Question], asked: Sequence[Question]) -> list[Question]:
    """Return all questions: the urgent ones, those on drawn decks, the others; each once.

    A draw holds however late its decks are answered, so it need not keep anybody from the urgent ones.
    """
    of_draw = {(one.photo.sha, one.tag): one for one in drawn}
    first = [
        replace(of_draw.get((one.photo.sha, one.tag), one), urgent=True, listed=True)
        for one in asked
        if one.urgent
    ]
    known = {(one.photo.sha, one.tag) for one in first}
    listed = {(one.photo.sha, one.tag) for one in asked if one.listed}
    then = [
        replace(one, listed=(one.photo.sha, one.tag) in listed)
        for one in drawn
        if (one.photo.sha, one.tag) not in known
    ]
    known |= of_draw.keys()
    return [*first, *then, *(one for one in asked if (one.photo.sha, one.tag) not in known)]


def _asked(
    library: Library,
    by: str,
    deck: str | None,
    tags: Sequence[str],
    chosen: Sequence[str],
    order: str,
    like: str | None,
    second_look: int | None,
    urgent: Collection[str] = (),
) -> list[Question]:
    vocabulary = library.vocabulary()
    if deck is None and order == "deck" and like is None and second_look is None:
        decks = next_decks(library, by, chosen)
        if decks is not None:
            at = [questions(library, by=by, deck=one, tags=tags) for one in decks]
            return [one for asked in at for one in asked]
    if deck is None and order in ("dangerous", "doubtful") and like is None and second_look is None:
        first = next_suggested(library, chosen, order)
        if first is not None:
            return _by_machine(library, chosen, order, first, urgent)
    photos = queries.photos(library, deck)
    if deck is not None and not photos:
        raise BadInput(f"There is no deck {deck!r} with photos.", "List the decks with: deck-triage decks")
    mine = {(one.photo, one.tag) for one in queries.labels(library, deck=deck) if one.by == by}
    words = queries.words(library, deck=deck)
    if second_look is not None:
        return _second_look(photos, chosen, words, mine, by, second_look)
    if like is not None:
        alike = like_order(library, queries.find_photo(library, like), photos, chosen, words)
        found = [Question(photo, tag, "like") for photo, tag in alike]
    elif order in ("doubtful", "dangerous"):
        found = _by_machine(library, chosen, order, _suggested(library, photos, chosen, words), urgent)
    elif order == "learning":
        teaching = learning_order(library, photos, chosen, words)
        found = [Question(photo, tag, order) for photo, tag in teaching]
    elif order == "taken":
        by_time = sorted(photos, key=lambda photo: (photo.taken_at or "9", photo.deck, photo.name))
        found = [Question(photo, tag, "taken") for photo in by_time for tag in chosen]
    elif order == "deck":
        found = _by_deck(photos, chosen, vocabulary)
    else:
        raise WrongUsage(f"{order!r} is not a valid order.", f"Orders: {', '.join(ORDERS)}.")
    return [one for one in found if (one.photo.sha, one.tag) not in mine]


def _by_deck(photos: Sequence[Photo], tags: Sequence[str], vocabulary: Vocabulary) -> list[Question]:
    along = sorted(tags, key=lambda tag: vocabulary.place_of(vocabulary.tags[tag].element))
    decks = dict.fromkeys(photo.deck for photo in photos)
    return [
        Question(photo, tag, "deck")
        for deck in decks
        for tag in along
        for photo in photos
        if photo.deck == deck
    ]


def _suggested(
    library: Library, photos: Sequence[Photo], tags: Sequence[str], words: dict[tuple[str, str], Word]
) -> list[tuple[Said, Photo]]:
    """Return what the machine said of photo x tag that nobody has answered."""
    said = queries.suggestions(library)
    if not said:
        raise BadInput("There are no suggestions to order by.", "Run: deck-triage presort")
    return [
        (said[photo.sha, tag], photo)
        for photo in photos
        for tag in tags
        if (photo.sha, tag) in said and (photo.sha, tag) not in words
    ]


def _by_machine(
    library: Library,
    tags: Sequence[str],
    order: str,
    asked: Sequence[tuple[Said, Photo]],
    urgent: Collection[str],
) -> list[Question]:
    if order == "doubtful":
        by_doubt = sorted(asked, key=lambda pair: abs(pair[0].probability - 0.5))
        return [Question(photo, one.tag, order) for one, photo in by_doubt]
    photo_of = {photo.sha: photo for _, photo in asked}
    open_tags: dict[str, set[str]] = {}
    for one, photo in asked:
        open_tags.setdefault(photo.sha, set()).add(one.tag)
    found = look_order(
        [one for one, _ in asked], {sha: one.deck for sha, one in photo_of.items()}, lines_of(library), urgent
    )
    along = along_the_load_path(tags, library.vocabulary())
    return [
        Question(photo_of[sha], tag, order, urgent=is_urgent, listed=is_listed)
        for shas, is_urgent, is_listed in (
            (found.urgent, True, True),
            (found.others, False, True),
            (found.left, False, False),
        )
        for sha in shas
        for tag in along
        if tag in open_tags[sha]
    ]


def _second_look(
    photos: Sequence[Photo],
    tags: Sequence[str],
    words: dict[tuple[str, str], Word],
    mine: set[tuple[str, str]],
    by: str,
    count: int,
) -> list[Question]:
    """Draw photos that others labeled, the same for the same person and library."""
    others = {
        sha
        for (sha, tag), word in words.items()
        if tag in tags and any(label.by != by for label in word.labels) and (sha, tag) not in mine
    }
    drawn = sorted(
        (photo for photo in photos if photo.sha in others),
        key=lambda photo: hashlib.sha256(f"{by}:{photo.sha}".encode()).hexdigest(),
    )[:count]
    if not drawn:
        raise BadInput(
            "Nobody else has labeled photos that you have not.",
            "Ask for a second look after others have labeled photos.",
        )
    return [
        Question(photo, tag, "second-look")
        for photo in drawn
        for tag in tags
        if (photo.sha, tag) in words and (photo.sha, tag) not in mine
    ]


def near_photos(
    library: Library,
    photo: Photo,
    photos: Iterable[Photo],
    *,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Photo]:
    """Return photos by likeness to one, nearest first (cosine of the whole-photo vectors), itself first.

    Photos without vectors get them first. Raises Cancelled; what was computed is kept.
    """
    import numpy as np

    from triage.features.keep import embed_photos, store_of

    pool = list({one.sha: one for one in (photo, *photos)}.values())
    done = embed_photos(library, [one.sha for one in pool], progress=progress, cancel=cancel)
    bad = {sha for sha, _ in done.set_aside}
    pool = [one for one in pool if one.sha not in bad]
    matrix = store_of(library).whole_matrix([one.sha for one in pool])
    matrix /= np.maximum(np.linalg.norm(matrix, axis=1, keepdims=True), 1e-12)
    order = np.argsort(-(matrix @ matrix[0]), kind="stable")
    return [pool[index] for index in order]
