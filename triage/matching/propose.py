"""Proposals from a library: which later photo of a deck shows the place of an earlier one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from triage.errors import BadInput, Cancelled, TriageError
from triage.library import queries
from triage.matching.points import Points, no_points, points_of
from triage.matching.rank import Ranked, Sight, rank_places, reasons

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.library.records import Photo


@dataclass(frozen=True)
class Proposal:
    """A later photo that may show the place; a person decides.

    Attributes
    ----------
    photo : the later photo.
    score : orders the proposals of one photo; it is no probability and compares with no other photo's.
    why : what speaks for it, in words.
    inliers : points that agree in one plane or one rigid scene, 0 where no more do than by chance.
    """

    photo: Photo
    score: float
    why: str
    inliers: int

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `close --propose --json` promises."""
        return {
            "photo": self.photo.sha,
            "name": self.photo.path_name,
            "visit": self.photo.visit,
            "score": self.score,
            "inliers": self.inliers,
            "why": self.why,
        }


def propose_places(
    library: Library,
    deck: str,
    photo: Photo,
    *,
    limit: int = 5,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Proposal]:
    """Return the later photos of a deck that likeliest show the place of `photo`, best first.

    Photos of later visits are considered; where there is none, those taken later at the same visit, as after
    a repair of the same day. What speaks for one: how alike the photos look (vectors, computed where they
    are not kept), the place words of their labels, where in its walk each was taken, and local points that
    one plane or rigid scene explains. Only this deck's photos are read. Nothing is recorded: `close` is a
    person's act.

    Raises BadInput for a photo of another deck, Cancelled when `cancel` says so.
    """
    if photo.deck != deck:
        raise BadInput(f"{photo.path_name} is no photo of deck {deck}.", "Name a photo of this deck.")
    photos = queries.photos(library, deck)
    later = _later(photos, photo)
    sights = {one.sha: one for one in _sights(library, deck, photos, [photo, *later])}

    def stop() -> None:
        if cancel is not None and cancel():
            raise Cancelled("Stopped while photos were compared.")

    done = 0

    def step() -> None:
        nonlocal done
        stop()
        done += 1
        if progress is not None:
            progress("comparing photos", done, None)

    ranked = rank_places(
        sights[photo.sha],
        [sights[one.sha] for one in later],
        lambda sha: _points(library, sha),
        check=step,
    )
    by_look = sorted(ranked, key=lambda one: -(one.look or 0.0))
    by_sha = {one.sha: one for one in later}
    return [_proposal(one, by_sha[one.sha], len(later), by_look.index(one) + 1) for one in ranked[:limit]]


def _proposal(one: Ranked, photo: Photo, of: int, place: int) -> Proposal:
    agreed = max(one.points.in_plane, one.points.in_scene) if one.points.beyond_chance else 0
    return Proposal(photo, one.score, reasons(one, of, place), agreed)


def _later(photos: Sequence[Photo], before: Photo) -> list[Photo]:
    others = [one for one in photos if one.sha != before.sha]
    later = [one for one in others if (one.visit or "") > (before.visit or "")]
    if later:
        return later
    same = [one for one in others if one.visit == before.visit]
    return [one for one in same if (one.taken_at or "~") > (before.taken_at or "")]


def _sights(library: Library, deck: str, photos: Sequence[Photo], wanted: Sequence[Photo]) -> Iterable[Sight]:
    from triage.features.keep import embed_photos, store_of

    embed_photos(library, [one.sha for one in wanted])  # what cannot be read has no vectors and stays in
    store, walks = store_of(library), _walks(photos)
    places: dict[str, set[str]] = {}
    for label in queries.labels(library, deck):
        if label.place:
            places.setdefault(label.photo, set()).add(label.place)
    for one in wanted:
        named = frozenset(places.get(one.sha, ()))
        yield Sight(one.sha, store.get(one.sha), walks.get(one.sha), named)


def _walks(photos: Sequence[Photo]) -> dict[str, float]:
    """Return where in its visit each photo with a time was taken, 0 first to 1 last, by order not clock."""
    visits: dict[str | None, list[Photo]] = {}
    for one in photos:
        if one.taken_at:
            visits.setdefault(one.visit, []).append(one)
    found = {}
    for taken in visits.values():
        taken.sort(key=lambda one: one.taken_at or "")
        for index, one in enumerate(taken):
            found[one.sha] = index / max(len(taken) - 1, 1)
    return found


def _points(library: Library, sha: str) -> Points:
    from triage.imaging.kept import rendition_of

    try:
        return _read(rendition_of(library, sha))
    except TriageError:  # an original that is damaged or gone: nothing is known of its points
        return no_points()


_read = lru_cache(maxsize=64)(points_of)
