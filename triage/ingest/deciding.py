"""What becomes of one lot of photos: a folder's, or a heap's that no folder names."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from triage.ingest.collect import SourceFile
from triage.ingest.folders import Says
from triage.ingest.known import middles_of_decks, sightings_of
from triage.ingest.placing import FAR_APART_M, meters_apart, position, positions_of
from triage.ingest.questions import Question, far_words, question_id
from triage.ingest.sightings import Sighting, sighting
from triage.ingest.take_in import IngestedFile
from triage.ingest.walk import Boundary, Sorting, Why, sort_by_walk
from triage.ingest.walk_model import DECK_FOLDER, FLAT_FOLDER
from triage.library.database import Connection
from triage.library.records import UNSORTED

if TYPE_CHECKING:
    from triage.ingest.run import Run

Fresh = dict[str, tuple[SourceFile, IngestedFile]]
"""Photos that are new, by hash."""


@dataclass
class Verdict:
    """Where photos go (by hash), the questions about those that wait, and the reasons."""

    deck_of: dict[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    reasons: dict[str, str] = field(default_factory=dict)
    boundaries: list[Boundary] = field(default_factory=list)
    proposed: list[str] = field(default_factory=list)
    free_names: bool = False
    """Whether a file whose name is taken gets another one: its name comes from a heap, not from a person."""
    tell_each: bool = False
    """Whether each photo that waits is also listed as set aside."""


def decide(run: Run, connection: Connection, deck: str, fresh: Fresh) -> Verdict:
    """Return what becomes of a lot: `deck` is the folder's name, empty for a heap."""
    says = next(iter(fresh.values()))[0].says
    if run.deck is not None:
        return Verdict(dict.fromkeys(fresh, deck or run.deck), free_names=deck == UNSORTED)
    if deck and run.visit is None:
        other = _other_deck(run, connection, deck, fresh)
        if other is not None:
            return other
    if deck and (says is Says.TOLD or run.visit is not None):
        return Verdict(dict.fromkeys(fresh, deck))
    if deck:
        trust = DECK_FOLDER if says is Says.DECK else FLAT_FOLDER
        found = sort_by_walk(_sightings(fresh), trust=trust, base=deck, taken=_in_use(run))
        return _verdict(found, fresh, deck)
    return _of_heap(run, connection, fresh)


def _of_heap(run: Run, connection: Connection, fresh: Fresh) -> Verdict:
    earlier = sightings_of(connection, run.again)
    photos = [*earlier, *_sightings(fresh)]
    middles = middles_of_decks(connection, without={one.deck for one in earlier if one.deck})
    if run.plan is not None:
        from triage.ingest.by_plan import sort_by_plan

        found, said = sort_by_plan(photos, run.plan, taken=_in_use(run), middles=middles)
        run.result.said_of_plan += said
        verdict = _verdict(found, fresh, None)
    else:
        verdict = _verdict(sort_by_walk(photos, taken=_in_use(run), middles=middles), fresh, None)
    verdict.free_names = True
    return verdict


def _in_use(run: Run) -> Collection[str]:
    return {deck for deck, _, _ in run.placed.names} | set(run.placed.origins)


def _sightings(fresh: Fresh) -> list[Sighting]:
    return [
        sighting(
            sha,
            "/".join((one.root, *one.parts, one.path.name)),
            file.exif.taken_at if file.exif else None,
            file.exif.camera if file.exif else None,
            file.exif.private if file.exif else {},
        )
        for sha, (one, file) in fresh.items()
    ]


def _verdict(found: Sorting, fresh: Fresh, base: str | None) -> Verdict:
    verdict = Verdict(boundaries=found.boundaries)
    for sha in fresh:
        verdict.deck_of[sha] = found.decks.get(sha, UNSORTED)
    verdict.proposed = [deck for deck in dict.fromkeys(found.decks.values()) if deck != base]
    for doubt in found.doubts:
        question = Question(
            question_id(doubt.why, doubt.keys),
            doubt.why,
            doubt.keys,
            doubt.proposal,
            doubt.beside,
            doubt.probability,
            doubt.pause_s,
            doubt.apart_m,
        )
        verdict.questions.append(question)
        verdict.reasons.update(dict.fromkeys(doubt.keys, question.reason))
    return verdict


def _other_deck(run: Run, connection: Connection, deck: str, fresh: Fresh) -> Verdict | None:
    """Return the questions where a folder has the name of a deck that may be another house."""
    new = {sha: pair for sha, pair in fresh.items() if not _from_known_folder(run, deck, pair[0], fresh)}
    if new:
        reason = (
            f"is this the deck {deck} that is here already? Its photos came from another folder; "
            f"say --deck NAME for another deck, or --visit DATE for another day at the same one"
        )
        found = _asked(new, deck, Why.SAME_NAME, reason, None)
        known = {sha: pair for sha, pair in fresh.items() if sha not in new}
        if known:
            rest = _verdict(
                sort_by_walk(_sightings(known), trust=DECK_FOLDER, base=deck, taken=_in_use(run)), known, deck
            )
            found.deck_of.update(rest.deck_of)
            found.questions += rest.questions
            found.reasons.update(rest.reasons)
        return found
    if not run.placed.origins.get(deck):
        return None
    there = [
        place
        for _, file in fresh.values()
        if file.exif and (place := position(file.exif.private)) is not None
    ]
    apart = meters_apart(there, positions_of(connection, deck))
    if apart is None or apart <= FAR_APART_M:
        return None
    reason = (
        f"taken {far_words(apart)} from the photos of deck {deck} that are here already: is it the same "
        f"house? Say --deck NAME for another deck, or --visit DATE for another day"
    )
    return _asked(fresh, deck, Why.KNOWN_PLACE, reason, apart)


def _from_known_folder(run: Run, deck: str, one: SourceFile, fresh: Fresh) -> bool:
    """Say whether a folder is one that a deck's photos came from, or the first of that name in this batch."""
    origins = run.placed.origins.get(deck)
    if origins:
        return run.mark(one) in origins
    first = next(iter(fresh.values()))[0]
    return run.mark(one) == run.mark(first)


def _asked(fresh: Fresh, deck: str, why: Why, reason: str, apart_m: float | None) -> Verdict:
    question = Question(question_id(why, fresh), why, tuple(fresh), f"{deck}-2", deck, None, apart_m=apart_m)
    return Verdict(dict.fromkeys(fresh, UNSORTED), [question], dict.fromkeys(fresh, reason), free_names=True)
