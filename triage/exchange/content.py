"""What goes into an export: photos, words and people, gathered once and cleaned of what is private.

Position is left out unless asked. Serial numbers and owners never leave the library. People are pseudonyms
unless their names are asked for: `person-xxxxxxxx`, the start of the salted hash by which the event log
refers to a person, the same in every export. Free texts (places, notes, reasons) may name people; with
pseudonyms they leave only where they are asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from triage.assess.evidence import assess_library, promise_words
from triage.errors import TriageError
from triage.exchange.splits import Splits
from triage.frames.of_library import facts_of
from triage.library import queries
from triage.library.people import pseudonyms as pseudonyms_of
from triage.platforms import safe_file_name

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.domain.vocabulary import Tag
    from triage.library import Library
    from triage.library.log import Event
    from triage.library.records import Fact, Label, Photo, Suggestion, Word


@dataclass(frozen=True, eq=False)
class Content:
    """An export's content.

    Attributes
    ----------
    photos : by deck, visit, time and name.
    names : hash to the name in the export, `deck/name` with the visit before it where needed.
    labels : each person's latest word on each photo x tag, people renamed where asked.
    words : the labels combined, per photo and tag.
    settlements : how disputes ended: value, by, at and (with texts) why.
    tags : the vocabulary, used tags first.
    positions : hash to (latitude, longitude) in degrees, empty unless asked.
    splits : deck to split, or nothing.
    library_id, head : where it came from.
    alias : the name under which each person appears.
    texts : whether free text may leave.
    suggestions, promise : what the model in use suggested, and the status of its promise for each tag.
    facts : by deck and visit.
    summaries : the assessment of every deck, worst first; with suggestions and facts only in tables.
    unassessed : why there is no assessment where one was wanted.
    """

    photos: tuple[Photo, ...]
    names: Mapping[str, str]
    labels: tuple[Label, ...]
    words: Mapping[tuple[str, str], Word]
    tags: Mapping[str, Tag]
    positions: Mapping[str, tuple[float, float]]
    splits: Splits | None
    settlements: Mapping[tuple[str, str], Mapping[str, Any]]
    pseudonyms: bool
    library_id: str
    head: Mapping[str, Mapping[str, Any]]
    alias: Mapping[str, str] = field(default_factory=dict)
    texts: bool = False
    suggestions: tuple[Suggestion, ...] = ()
    promise: Mapping[str, str] = field(default_factory=dict)
    facts: tuple[Fact, ...] = ()
    summaries: tuple[DeckSummary, ...] = ()
    unassessed: str | None = None

    def split_of(self, photo: Photo) -> str:
        """Return the split of a photo's deck, or an empty text."""
        return self.splits.of[photo.deck] if self.splits else ""


def gather(
    library: Library,
    *,
    splits: Splits | None = None,
    pseudonyms: bool = True,
    with_text: bool = False,
    show_position: bool = False,
    assessed: bool = False,
) -> Content:
    """Read a library for an export; free texts leave with names, or where they are asked for.

    With `assessed` the content holds suggestions, facts and the assessment of every deck too.
    """
    photos = tuple(queries.photos(library))
    here = {photo.sha for photo in photos}
    labels = [label for label in queries.labels(library) if label.photo in here]
    settled = {
        (str(event.payload["photo"]), str(event.payload["tag"])): event
        for event in queries.statements(library, "settled")
    }
    facts = tuple(facts_of(library)) if assessed else ()
    summaries, promise, unassessed = _assessment(library) if assessed else ((), {}, None)
    people = {label.by for label in labels} | {event.by for event in settled.values()}
    people |= {fact.by for fact in facts}
    people |= {one.tier_by_person.by for one in summaries if one.tier_by_person is not None}
    alias = aliases(library, people) if pseudonyms else {name: name for name in people}
    labels = [replace(label, by=alias[label.by]) for label in labels]
    texts = with_text or not pseudonyms
    if not texts:
        labels = [replace(label, place=None, note=None) for label in labels]
    words = {key: word for key, word in queries.words(library).items() if key[0] in here}
    settlements = {
        key: _settlement(event, alias, texts)
        for key, event in settled.items()
        if key in words and words[key].settled
    }
    positions = _positions(library, photos) if show_position else {}
    vocabulary = library.vocabulary().tags
    used = {label.tag for label in labels}
    tags = {name: tag for name, tag in vocabulary.items() if name in used}
    return Content(
        photos,
        export_names(photos),
        tuple(labels),
        words,
        {**tags, **vocabulary},
        positions,
        splits,
        settlements,
        pseudonyms,
        library.id,
        library.head(),
        alias,
        texts,
        tuple(one for one in queries.suggestions(library).values() if one.photo in here) if assessed else (),
        promise,
        facts,
        summaries,
        unassessed,
    )


def _settlement(event: Event, alias: Mapping[str, str], texts: bool) -> dict[str, Any]:
    """Return how a dispute was settled; why it was is free text."""
    row = {"value": event.payload["value"], "by": alias[event.by], "at": event.at}
    return {**row, "why": event.payload["why"]} if texts and event.payload.get("why") else row


def _positions(library: Library, photos: Sequence[Photo]) -> dict[str, tuple[float, float]]:
    """Return latitude and longitude, degrees, of the photos that have both."""
    found = {}
    for photo in photos:
        exif = queries.private_exif(library, photo.sha)
        if "latitude" in exif and "longitude" in exif:
            found[photo.sha] = (float(exif["latitude"]), float(exif["longitude"]))
    return found


def _assessment(
    library: Library,
) -> tuple[tuple[DeckSummary, ...], Mapping[str, str], str | None]:
    """Return the summaries, how the promises stand, and why there are none where they cannot be had."""
    try:
        return tuple(assess_library(library)), promise_words(library), None
    except TriageError as error:  # a damaged model or rule file must not keep the labels from leaving
        return (), {}, str(error)


def aliases(library: Library, people: set[str]) -> dict[str, str]:
    """Return a pseudonym for every person; a name that was deleted reads as one already."""
    with library.read() as connection:
        return pseudonyms_of(connection, people)


def export_names(photos: tuple[Photo, ...]) -> dict[str, str]:
    """Return a name for each photo that is unique in the export and safe as a path below its folder."""
    plain = {photo.sha: f"{safe_file_name(photo.deck)}/{_path(photo.name)}" for photo in photos}
    uses = Counter(name.lower() for name in plain.values())
    return {
        photo.sha: plain[photo.sha]
        if uses[plain[photo.sha].lower()] == 1
        else f"{safe_file_name(photo.deck)}/{photo.sha[:12]}-{_path(photo.name).rsplit('/', 1)[-1]}"
        for photo in photos
    }


def _jpeg(name: str) -> str:
    """Pictures leave as JPEG, whatever they were."""
    return name if name.lower().endswith((".jpg", ".jpeg")) else f"{name}.jpg"


def _path(text: str) -> str:
    parts = [safe_file_name(part) for part in text.split("/") if part not in ("", ".", "..")]
    return _jpeg("/".join(parts) or "_")
