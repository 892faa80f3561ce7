"""The audit of missed defects on a library: draws decks, records what was found, withdraws a promise."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.audit.columns import WORDS, Cancel, Progress
from triage.audit.draw import in_order, new_seed
from triage.audit.missed_tag import UNCLEAR, DrawnDeck, Missed, Promised, Question, audit_tag
from triage.audit.sizes import sample_size
from triage.domain.plurals import count_of
from triage.errors import BadInput, Cancelled, Damaged, WrongUsage
from triage.library import queries
from triage.library.answer_times import SpokenRow, photos_then, spoken_rows
from triage.library.latest import utc
from triage.library.look_alikes import deck_groups
from triage.library.records import AUDIT, UNSORTED
from triage.library.suggestions import empty_unlikely

if TYPE_CHECKING:
    from triage.library.library import Library

DRAWN = "audit-drawn"
RULE = "whole decks that no model has seen, in the order of SHA-256 of SEED:DECK, until N photos of the pile"
_CODE = {word: code for code, word in enumerate(WORDS)}
NEVER = 1 << 62


def missed(
    library: Library,
    n: int | None = None,
    *,
    seed: str | None = None,
    by: str | None = None,
    tags: Sequence[str] | None = None,
    confidence: float = 0.95,
    early: bool = False,
    strata: bool = False,
    record: bool = True,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> dict[str, Missed]:
    """Audit the pile `unlikely` of each presorted tag (or of the named ones); see `audit_tag`.

    The first call with a seed draws decks that no model has seen and records the draw; the photos of the
    drawn decks without an answer that counts are in `asked`. Label them with `asked_by` audit and call
    again with the same seed. Of the pile only answers count that were given after the draw, without the
    machine's word in view, by somebody who had not labeled that photo before. Without a seed the last draw
    that is not finished goes on. `strata` changes nothing any more: the other piles of a drawn deck are
    always looked at.

    A finished audit is recorded as the event `audited` by `by`, once; when it contradicts the promise, the
    tag's photos leave the pile `unlikely` until the next model passes an audit or a person lifts it. Raises
    BadInput when no model or no suggestion is there, or a named tag has none; WrongUsage for a draw or a
    finished audit that nobody speaks for.
    """
    model = queries.model_in_use(library)
    if model is None:
        raise BadInput(
            "No model has been trained on this library, so there is nothing to audit.", "Train one first."
        )
    wanted = _tags(library, model, tags)
    promises = _promises(library)
    frame = _Frame(library, model)
    fresh_seed = new_seed()
    result: dict[str, Missed] = {}
    for done, tag in enumerate(wanted):
        if cancel is not None and cancel():
            raise Cancelled("The audit was stopped.")
        if progress is not None:
            progress("audit", done, len(wanted))
        earlier = frame.draws(tag)
        draw = frame.find(tag, seed, n)
        if draw is None:
            draw = frame.new_draw(tag, n, seed or fresh_seed, len(earlier) + 1)
            if record and draw.decks:
                _need(by, "A draw is recorded before the first answer")
                event = library.say(DRAWN, draw.payload(n), by=str(by))
                draw = frame.of_event(event)
        if (finished := frame.finished(draw)) is not None:
            result[tag] = finished
            continue
        question = frame.question(draw, promises.get(tag))
        result[tag] = audit_tag(question, confidence=confidence, early=early)
    if record:
        _record(library, [one for one in result.values() if one.complete], by)
    return result


@dataclass(frozen=True)
class DrawOfDecks:
    """A draw of decks for one tag and model; `lamport` is its moment in the log, `number` which it is."""

    tag: str
    model: str
    seed: str
    decks: tuple[str, ...]
    frame: str
    frame_decks: int
    population: int
    largest: int
    number: int = 1
    lamport: int = NEVER
    time: str = ""
    asked_n: int | None = None

    def payload(self, n: int | None) -> dict[str, Any]:
        """Return the payload of the event."""
        return {
            "tag": self.tag,
            "model": self.model,
            "seed": self.seed,
            "n": n,
            "decks": list(self.decks),
            "frame": self.frame,
            "frame_decks": self.frame_decks,
            "population": self.population,
            "largest": self.largest,
            "number": self.number,
            "rule": RULE,
        }


class _Frame:
    """What decks may be drawn from, and what is on record of draws so far."""

    def __init__(self, library: Library, model: str) -> None:
        self.library, self.model = library, model
        self.groups = deck_groups(library)
        seen = {self.groups.group(deck) for deck in seen_decks(library)}
        self.photos: dict[str, list[str]] = defaultdict(list)
        for photo in queries.photos(library):
            name = self.groups.group(photo.deck)
            if photo.deck != UNSORTED and name not in seen:
                self.photos[name].append(photo.sha)
        self.events = [one for one in queries.statements(library, DRAWN) if one.payload["model"] == model]

    def draws(self, tag: str) -> list[Any]:
        """The draws on record for a tag and this model."""
        return [one for one in self.events if one.payload["tag"] == tag]

    def of_event(self, event: Any) -> DrawOfDecks:
        """Return a draw as it was recorded."""
        said = event.payload
        return DrawOfDecks(
            said["tag"],
            said["model"],
            said["seed"],
            tuple(said["decks"]),
            said["frame"],
            said["frame_decks"],
            said["population"],
            said["largest"],
            said["number"],
            event.lamport,
            utc(event.recorded_at) or "",
            said["n"],
        )

    def find(self, tag: str, seed: str | None, n: int | None) -> DrawOfDecks | None:
        """The draw on record with a seed, or the last unfinished one where none is named."""
        known = [self.of_event(one) for one in self.draws(tag)]
        if seed is not None:
            known = [one for one in known if one.seed == seed and n in (None, one.asked_n)]
            return known[-1] if known else None
        going = [one for one in known if self.finished(one) is None and n in (None, one.asked_n)]
        return going[-1] if going else None

    def finished(self, draw: DrawOfDecks) -> Missed | None:
        """The audit of a draw as it was recorded, or null while it goes on."""
        for event in queries.statements(self.library, "audited"):
            said = event.payload
            same = (said["tag"], said["model"], said["seed"]) == (draw.tag, draw.model, draw.seed)
            if same and said.get("draws", 1) == draw.number:
                return Missed.from_payload(said)
        return None

    def piles(self, tag: str, photos: Iterable[Sequence[str]]) -> dict[str, str]:
        """The pile of each photo: as sorted, or as it would be if no audit had withdrawn it."""
        shas = {sha for part in photos for sha in part}
        said = queries.suggestions(self.library, tag=tag, model=self.model)
        piles = {sha: one.pile for (sha, _), one in said.items() if sha in shas}
        if tag in withdrawn_tags(self.library):
            piles.update(_would_be(self.library, tag, sorted(piles)))
        return piles

    def new_draw(self, tag: str, n: int | None, seed: str, number: int) -> DrawOfDecks:
        """Draw decks until they hold n photos of the pile (by default as many as 95 % and 5 % need)."""
        piles = self.piles(tag, self.photos.values())
        decks = {deck: shas for deck, shas in self.photos.items() if all(sha in piles for sha in shas)}
        size = {deck: sum(piles[sha] == "unlikely" for sha in shas) for deck, shas in decks.items()}
        population = sum(size.values())
        n = _sample(tag, n, population)
        taken: list[str] = []
        left = n
        for deck in in_order(decks, seed):
            if left <= 0:
                break
            taken.append(deck)
            left -= size[deck]
        frame = hashlib.sha256("\n".join(sorted(decks)).encode()).hexdigest()
        largest = max(map(len, decks.values()), default=0)
        return DrawOfDecks(
            tag, self.model, seed, tuple(taken), frame, len(decks), population, largest, number
        )

    def question(self, draw: DrawOfDecks, promised: Promised | None) -> Question:
        """The drawn decks with the words that count."""
        drawn = self._drawn(draw)
        piles = self.piles(draw.tag, drawn.values())
        words = queries.words(self.library, tag=draw.tag)
        fresh = fresh_words(spoken_rows(self.library, draw.tag), draw.lamport, draw.time)
        decks = []
        here = {photo.sha for photo in queries.photos(self.library)}
        for deck, shas in drawn.items():
            pile = [sha for sha in shas if piles.get(sha) == "unlikely" or sha not in here]
            others = [sha for sha in shas if piles.get(sha) != "unlikely" and sha in here]
            fresh.update(dict.fromkeys((sha for sha in shas if sha not in here), UNCLEAR))
            known = [_CODE[words[sha, draw.tag].value] if (sha, draw.tag) in words else 0 for sha in others]
            decks.append(
                DrawnDeck(
                    deck,
                    pile,
                    np.array([fresh.get(sha, 0) for sha in pile], np.uint8),
                    others,
                    np.array(known, np.uint8),
                )
            )
        return Question(
            draw.tag,
            draw.model,
            draw.seed,
            decks,
            draw.population,
            draw.frame_decks,
            draw.largest,
            promised,
            draw.number,
        )

    def _drawn(self, draw: DrawOfDecks) -> dict[str, list[str]]:
        """Photos of each drawn deck by hash, as it was when it was drawn.

        It may have been renamed or trained on since, and photos may have been moved out of it or removed:
        they are still looked at, and one that was removed counts as one of which nobody can tell.
        """
        found = {}
        for deck in draw.decks:
            members = {one for one, name in self.groups.of.items() if name == deck} | {deck}
            then = photos_then(self.library, members, draw.lamport)
            found[deck] = sorted(set().union(*then.values()))
        return found


def _sample(tag: str, n: int | None, population: int) -> int:
    if not population:
        return 0
    n = sample_size(0.95, 0.05, population) if n is None else n
    if n < 1:
        raise BadInput(f"A sample of {n} is not possible; draw 1 photo or more.")
    if n > population:
        raise BadInput(
            f"{tag}: a sample of {n} is larger than the {count_of(population, 'photo')} in the pile "
            "`unlikely` of decks that no model has seen",
            f"Use --n {population} or less.",
        )
    return n


def fresh_words(rows: Sequence[SpokenRow], since: int, time: str = "") -> dict[str, int]:
    """Return the worst word on each photo among the answers that an audit counts.

    They were given after a draw (its moment in the log, and its time in UTC: a copy that is merged later may
    have gone on before it), without the machine's word in view, by somebody who had said nothing on that
    photo and tag before (taken back or not). A word from a file that does not say when counts only from the
    sheet of an audit.
    """

    def after(one: SpokenRow) -> bool:
        return one.lamport > since and (one.at >= time if one.at is not None else one.asked_by == AUDIT)

    before = {(one.photo, one.by) for one in rows if not after(one)}
    found: dict[str, int] = {}
    for one in rows:
        if after(one) and one.current and not one.saw_machine and (one.photo, one.by) not in before:
            found[one.photo] = max(found.get(one.photo, 0), _CODE[one.value])
    return found


def seen_decks(library: Library) -> set[str]:
    """Return every deck that some model of this library was trained on."""
    from triage.train.store import load_model
    from triage.train.types import TagModel

    found: set[str] = set()
    for event in library.events("trained"):
        found.update(event.payload.get("decks", ()))
    folders = library.models_dir.iterdir() if library.models_dir.is_dir() else ()
    for folder in folders:
        if not folder.is_dir() or folder.name.startswith("."):
            continue
        try:
            models = load_model(folder)
        except Damaged:  # its decks are in the event of its training
            continue
        for one in models.values():
            if isinstance(one, TagModel):
                found.update(one.folds)
    return found


def _would_be(library: Library, tag: str, shas: Sequence[str]) -> dict[str, str]:
    """The piles of photos if the promise stood: what a new model must be audited on after a withdrawal."""
    from triage.features.keep import vectors_of
    from triage.presort.of_library import load_models
    from triage.presort.piles import HOLDS, pile
    from triage.train.scoring import score
    from triage.train.types import TagModel

    model = load_models(library).get(tag)
    if not isinstance(model, TagModel) or not model.promise.holds:
        return {}
    vectors, found = vectors_of(library), {}
    for sha in shas:
        one = score(model, vectors(sha))
        found[sha] = pile(one.probability, one.leave_one_out, model, HOLDS)
    return found


def withdrawn_tags(library: Library) -> Mapping[str, Any]:
    """Return the tags whose promise is withdrawn by an audit (see `presort.withdrawals`)."""
    from triage.presort.withdrawals import withdrawals

    return withdrawals(library)


def _tags(library: Library, model: str, tags: Sequence[str] | None) -> list[str]:
    from triage.library.counts import pile_counts_by_tag

    sorted_tags = sorted(pile_counts_by_tag(library))
    if not sorted_tags:
        raise BadInput("The model in use has sorted no photo yet.", "Run: deck-triage presort")
    for tag in tags or ():
        if tag not in sorted_tags:
            raise BadInput(
                f"The model in use has sorted no photo for {tag!r}.", "Train the tag, then presort."
            )
    return sorted(tags) if tags else sorted_tags


def _promises(library: Library) -> dict[str, Promised]:
    """What the card of the model in use promises, by tag; nothing where the model's files are gone."""
    from triage.presort.of_library import load_models
    from triage.train.types import TagModel

    return {
        tag: Promised(model.promise.miss_rate, model.promise.holds)
        for tag, model in load_models(library).items()
        if isinstance(model, TagModel)
    }


def _need(by: str | None, what: str) -> None:
    if not by:
        raise WrongUsage(f"{what}, and no name was given.", "Say who with --by NAME.")


def _record(library: Library, finished: Sequence[Missed], by: str | None) -> None:
    """Append one event for each finished audit that is not recorded yet, and empty contradicted piles."""
    known = {
        (one.payload["tag"], one.payload["model"], one.payload["seed"], one.payload.get("draws", 1))
        for one in queries.statements(library, "audited")
    }
    fresh = [one for one in finished if (one.tag, one.model, one.seed, one.draws) not in known]
    if fresh:
        _need(by, "A finished audit is recorded")
    for one in fresh:
        library.say("audited", one.payload(), by=str(by))
        if one.contradicts:
            empty_unlikely(library, one.model, one.tag)
