"""Reads from a library what the report needs; the only file of the room that knows where things stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from triage.imaging.blackout import blackouts
from triage.imaging.kept import fresh_rendition, rendition_of
from triage.library import queries
from triage.library.counts import waiting_count
from triage.report.firm import firm_of
from triage.report.source import DeckRecord, RepairDone, Source
from triage.version import __version__

if TYPE_CHECKING:
    from triage.assess.grown import SeverityChange
    from triage.assess.records import DeckSummary
    from triage.library import Library
    from triage.library.records import Photo

REPAIR_DONE = "repair-done"
"""Kind of the event that holds one filled-in row of a crew's sheet."""
_ROW = ("count", "day", "place", "done_by", "photo", "note")


class LibraryPhotos:
    """The upright renditions of a library."""

    def __init__(self, lib: Library) -> None:
        self._lib = lib

    def jpeg(self, sha: str) -> bytes:
        """Return the rendition's bytes; raises OSError where the original is damaged or gone."""
        from triage.errors import TriageError

        try:
            return rendition_of(self._lib, sha).read_bytes()
        except TriageError as error:
            raise OSError(str(error)) from error


class CheckedPhotos:
    """Upright pictures made from originals that were checked against their hashes: for issued reports."""

    def __init__(self, lib: Library) -> None:
        self._lib = lib

    def jpeg(self, sha: str) -> bytes:
        """Return the picture's bytes; raises OSError where the original is damaged or gone."""
        from triage.errors import TriageError

        try:
            return fresh_rendition(self._lib, sha)
        except TriageError as error:
            raise OSError(str(error)) from error


def gather_source(lib: Library, summaries: Sequence[DeckSummary], *, positions: bool = False) -> Source:
    """Return the state of a library for these decks; positions only where they are to be printed."""
    vocabulary = lib.vocabulary()
    return Source(
        library_id=lib.id,
        head=lib.head(),
        decks={one.deck: deck_record(lib, one.deck, one.visit, positions=positions) for one in summaries},
        provider=LibraryPhotos(lib),
        versions=versions(lib),
        definitions={name: tag.definition for name, tag in vocabulary.tags.items()},
        element_of={name: tag.element for name, tag in vocabulary.tags.items() if tag.element},
        blackouts=blackouts(lib),
        waiting=waiting_count(lib),
        firm=firm_of(lib.path),
    )


def deck_record(lib: Library, deck: str, visit: str | None, *, positions: bool = False) -> DeckRecord:
    """Return what is known of a deck at a visit and before it; everything where the visit is null."""
    from triage.assess.acts import lifts_now

    up_to = visit or "9999"
    photos = tuple(one for one in queries.photos(lib, deck) if (one.visit or "") <= up_to)
    shas = {one.sha for one in photos}
    return DeckRecord(
        photos=photos,
        labels=tuple(one for one in queries.labels(lib, deck=deck) if one.photo in shas),
        facts=queries.facts(lib, deck, visit) if visit else queries.facts(lib, deck),
        findings=tuple(one for one in queries.findings(lib, deck) if (one.visit or "") <= up_to),
        person_tier=queries.person_tier(lib, deck, visit) if visit else queries.person_tier(lib, deck),
        closings=tuple(one for one in queries.closings(lib, deck) if (one.visit or "") <= up_to),
        warnings=tuple(queries.warnings(lib, deck)),
        lifts=tuple(queries.lifts(lib, deck)),
        lift_faults=lifts_now(lib, deck, visit),
        repairs=repairs_done(lib, deck),
        private=queries.deck_private(lib, deck),
        positions=_positions(lib, sorted(shas)) if positions else {},
        grown=_grown(lib, deck, photos),
    )


def _grown(lib: Library, deck: str, photos: Sequence[Photo]) -> tuple[SeverityChange, ...]:
    """Return what changed in degree between the last two dated visits."""
    from triage.assess.grown import grown_between

    visits = sorted({photo.visit for photo in photos if photo.visit})
    return grown_between(lib, deck, visits[-2], visits[-1]) if len(visits) > 1 else ()


def repairs_done(lib: Library, deck: str) -> tuple[RepairDone, ...]:
    """Return what crews' sheets said about a deck, in order."""
    return tuple(
        RepairDone(
            rule=event.payload["rule"],
            done=event.payload["done"],
            by=event.by,
            at=event.at,
            **{
                name: event.payload.get(name)
                for name in ("count", "day", "place", "done_by", "photo", "note")
            },
        )
        for event in queries.statements(lib, REPAIR_DONE, deck)
    )


def versions(lib: Library) -> dict[str, str]:
    """Return the versions and hashes that an assessment rests on."""
    from triage.assess.evidence import rule_book_of

    book = rule_book_of(lib)
    return {"deck-triage": __version__, "rule book": book.hash, "model": queries.model_in_use(lib) or "none"}


def _positions(lib: Library, shas: Sequence[str]) -> dict[str, str]:
    return {sha: words for sha in shas if (words := position_words(queries.private_exif(lib, sha)))}


def position_words(exif: Mapping[str, Any]) -> str:
    """Return a position in degrees, empty where the camera gave none."""
    latitude, longitude = exif.get("latitude"), exif.get("longitude")
    if not isinstance(latitude, int | float) or not isinstance(longitude, int | float):
        return ""
    return f"{latitude:.5f}, {longitude:.5f} (degrees, from the camera)"
