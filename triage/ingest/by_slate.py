"""Ingest of photos that come in one heap: the cards in them say which deck they belong to.

Every photo is looked at for a card and read for its time; the walk is sorted as a whole
(`triage.slate.sorting`). What the cards do not decide waits at no deck, is listed with its reason, and time
and place propose a deck for it, which a person accepts or not. The reason of every decision is kept with the
placing.
"""

from __future__ import annotations

import hashlib
import shutil
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path, PurePosixPath

from triage.batch import Cancel, Ok, Progress, map_items
from triage.errors import BadInput, BadPhoto
from triage.ingest.collect import SourceFile, collect
from triage.ingest.exif import ExifFacts, read_exif
from triage.ingest.ingest import check_visit
from triage.ingest.questions import Question, question_id
from triage.ingest.result import IngestResult
from triage.ingest.run import Run
from triage.ingest.sightings import Sighting, at_deck, sighting
from triage.ingest.walk import Why, sort_by_walk
from triage.library import Library, queries
from triage.library.records import UNSORTED
from triage.slate.card import Card
from triage.slate.sorting import Placed, WalkPhoto, sort_walk

NOT_LOOKED_AT = "the photo could not be checked and may show a card"
_SERIALS = ("EXIF BodySerialNumber", "MakerNote SerialNumber")


@dataclass(frozen=True)
class Look:
    """One file to look at, and the library whose cards count."""

    offered: SourceFile
    library_id: str


@dataclass(frozen=True)
class Looked:
    """What sorting needs of a file."""

    sha: str
    exif: ExifFacts
    card: Card | None
    unclear: str | None


def look(task: Look) -> Looked:
    """Read time, phone and card of one photo. Raises BadPhoto. Runs in a worker; writes nothing."""
    from triage.imaging import open_upright
    from triage.slate.read import read_card

    try:
        data = task.offered.path.read_bytes()
    except OSError as error:
        raise BadPhoto(f"cannot be read: {error.strerror or error}") from error
    seen = read_card(open_upright(data).rgb, task.library_id)
    sha, exif = hashlib.sha256(data).hexdigest(), read_exif(data)
    if seen is None:
        return Looked(sha, exif, None, None)
    problem = seen.problem
    if problem is not None and problem.kind != "mirrored":
        return Looked(sha, exif, None, problem.sentence)
    if seen.card is None:
        return Looked(sha, exif, None, "a card is visible but cannot be read")
    return Looked(sha, exif, seen.card, None)


def _phone(exif: ExifFacts, name: str) -> str:
    serial = next((str(exif.private[key]) for key in _SERIALS if key in exif.private), None)
    folder = PurePosixPath(name).parent.as_posix()
    return f"{exif.camera or 'camera'} {serial or f'in {folder}'}"


def ingest_by_slate(
    library: Library,
    paths: Sequence[Path],
    *,
    by: str,
    visit: str | None = None,
    engine: str = "processes",
    dask: str | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> IngestResult:
    """Take photos into the library, each to the deck whose card it follows.

    `visit` overrules the date on the cards. Photos without a decision are placed at `unsorted` and listed
    in `set_aside` with the reason. Raises BadInput when a path is missing or holds no photo.
    """
    given_visit = check_visit(visit)
    run = Run(library, by, UNSORTED, given_visit, engine, dask, dry_run, progress, cancel)
    scratch = library.path / "cache" / "unpacked"
    try:
        offered = run.offered(collect([Path(path) for path in paths], UNSORTED, scratch))
        if not offered and not run.result.set_aside:
            shown = ", ".join(str(path) for path in paths)
            raise BadInput(f"There are no photos in {shown}.", "Name a folder, a zip or photo files.")
        placed, blind = _decide(run, offered)
        _take(run, _sorted_out(run, offered, placed, blind), given_visit)
        _say_blind(run, blind)
        _ask(run, offered, placed)
        run.remember()
    finally:
        run.close()
        shutil.rmtree(scratch, ignore_errors=True)
    return run.result


def _decide(run: Run, offered: Sequence[SourceFile]) -> tuple[dict[str, Placed], dict[str, SourceFile]]:
    """Look at every file (known ones too: their cards count) and sort the walk.

    Returns the decisions by the file's path, and the files that could not be looked at: each may have shown
    a card, so nothing follows across it from an earlier one.
    """
    tasks = [Look(one, run.library.id) for one in offered]
    photos, failed = _looked(run, tasks)
    again, blind = _looked(run, [Look(one, run.library.id) for one in failed])
    photos += again
    for one in blind:
        exif = _exif_of(run, one)
        name = PurePosixPath(one.name).name
        photos.append(
            WalkPhoto(str(one.path), _phone(exif, one.name), name, exif.taken_at, unclear=NOT_LOOKED_AT)
        )
    decided = {placed.key: placed for placed in sort_walk(photos)}
    return decided, {str(one.path): one for one in blind}


def _looked(run: Run, tasks: Sequence[Look]) -> tuple[list[WalkPhoto], list[SourceFile]]:
    """Return what was seen in files, and the files that could not be looked at."""
    few = len(tasks) <= 6 and run.engine == "processes"
    photos: list[WalkPhoto] = []
    failed: list[SourceFile] = []
    outcomes = map_items(
        look, tasks, engine="here" if few else run.engine, cancel=run.cancel, address=run.dask
    )
    for done, outcome in enumerate(outcomes, start=1):
        if run.progress:
            run.progress("looking for cards", done, len(tasks))
        one = outcome.item.offered
        if isinstance(outcome, Ok):
            seen = outcome.value
            name = PurePosixPath(one.name).name
            run.read[one.path] = (seen.sha, seen.exif)
            phone, taken_at = _phone(seen.exif, one.name), seen.exif.taken_at
            photos.append(WalkPhoto(str(one.path), phone, name, taken_at, seen.card, seen.unclear))
        else:
            failed.append(one)
    return photos, failed


def _say_blind(run: Run, blind: Mapping[str, SourceFile]) -> None:
    """List files that could not be checked for a card and were ingested anyway."""
    taken = {str(row["name"]) for row in run.result.added if row["deck"] == UNSORTED}
    for one in blind.values():
        if one.name in taken:
            run.aside(one, f"{NOT_LOOKED_AT}: placed at '{UNSORTED}', correct it with move")


def _exif_of(run: Run, one: SourceFile) -> ExifFacts:
    """Return what a file says about itself, read once for each file."""
    if one.path not in run.read:
        try:
            data = one.path.read_bytes()
        except OSError:
            return ExifFacts()
        run.read[one.path] = (hashlib.sha256(data).hexdigest(), read_exif(data))
    return run.read[one.path][1]


def _ask(run: Run, offered: Sequence[SourceFile], placed: Mapping[str, Placed]) -> None:
    """Ask about the photos that no card decided, with the deck that time and place propose."""
    waiting = {str(row["name"]): str(row["photo"]) for row in run.result.added if row["deck"] == UNSORTED}
    if not waiting:
        return
    found = sort_by_walk(_sightings(run, offered, placed), taken=set(queries.decks(run.library)))
    proposed = {key: doubt.proposal for doubt in found.doubts for key in doubt.keys} | dict(found.decks)
    groups: dict[str | None, list[str]] = defaultdict(list)
    for one in offered:
        if one.name in waiting:
            groups[proposed.get(str(one.path))].append(waiting[one.name])
    for proposal, shas in groups.items():
        question = Question(question_id(Why.NO_CARD, shas), Why.NO_CARD, tuple(shas), proposal)
        run.result.questions.append(question)
    if not run.result.dry_run:
        run.library.say_many([one.draft(run.by) for one in run.result.questions])


def _sightings(run: Run, offered: Sequence[SourceFile], placed: Mapping[str, Placed]) -> Iterator[Sighting]:
    for one in offered:
        exif, decision = _exif_of(run, one), placed.get(str(one.path))
        seen = sighting(str(one.path), f"{one.root}/{one.name}", exif.taken_at, exif.camera, exif.private)
        yield at_deck(seen, decision.deck) if decision is not None and decision.deck else seen


def _sorted_out(
    run: Run, offered: Iterable[SourceFile], placed: Mapping[str, Placed], blind: Mapping[str, SourceFile]
) -> list[tuple[SourceFile, str | None]]:
    """Return what is still to be ingested, with its deck, reason and visit; known photos are done at once."""
    wanted: list[tuple[SourceFile, str | None]] = []
    for one in offered:
        decision = placed.get(str(one.path))
        sha = run.seen.get(one.path)
        if sha is not None and sha in run.placed.deck_of:
            _note_known(run, one, sha, decision)
            continue
        if decision is None or decision.deck is None:
            wanted.append((replace(one, why=decision.reason if decision else None), None))
            if decision is not None and str(one.path) not in blind:
                run.aside(one, f"{decision.reason}: placed at '{UNSORTED}', correct it with move")
        else:
            wanted.append((replace(one, deck=decision.deck, why=decision.reason), decision.visit))
    return wanted


def _note_known(run: Run, one: SourceFile, sha: str, decision: Placed | None) -> None:
    deck, _, name = run.placed.deck_of[sha]
    if decision is None or decision.deck in (None, deck):
        run.result.known.append({"photo": sha, "deck": deck, "name": name})
    else:
        reason = f"{decision.reason}, but it is already here as {deck}/{name}; use move to place it elsewhere"
        run.aside(one, reason)


def _take(run: Run, wanted: list[tuple[SourceFile, str | None]], given_visit: str | None) -> None:
    def order(pair: tuple[SourceFile, str | None]) -> tuple[str, str]:
        return pair[1] or "", pair[0].deck

    for (visit, _), group in groupby(sorted(wanted, key=order), key=order):
        run.visit = given_visit or visit or None
        run.take_all([one for one, _ in group])
