"""`audit sample`: how many photos or decks must be looked at, and which, drawn from a printed seed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.audit.draw import draw, new_seed
from triage.audit.sizes import Plan, acceptance_plan, allocate, sample_size
from triage.errors import BadInput
from triage.library import queries

if TYPE_CHECKING:
    from triage.library.library import Library
    from triage.library.records import Photo

BY = ("simple", "strata", "deck")
STRATA = ("deck", "element", "pile")
NO_STRATUM = "(none)"


@dataclass(frozen=True)
class Sample:
    """A sample: `n` of `population` items at least, in the order of the draw.

    `items` are photo hashes, or deck names where decks were drawn. `strata` holds (population, sample) of
    each; a photo that shows several elements may be in several of them, and then counts in each.
    """

    by: str
    n: int
    population: int
    seed: str
    confidence: float
    margin: float
    items: tuple[str, ...]
    strata: Mapping[str, tuple[int, int]]
    plan: Plan | None = None

    def to_json(self, photos: Mapping[str, Photo]) -> dict[str, Any]:
        """The promised keys and more; `photos` names the drawn photos (hash -> photo)."""
        items: list[dict[str, Any]] = [{"deck": item} for item in self.items]
        if self.by != "deck":
            items = [
                {"photo": item, "deck": photos[item].deck, "name": photos[item].name} for item in self.items
            ]
        plan = self.plan and {"n": self.plan.sample, "accept": self.plan.accept}
        return {
            "n": self.n,
            "population": self.population,
            "items": items,
            "seed": self.seed,
            "by": self.by,
            "confidence": self.confidence,
            "margin": self.margin,
            "plan": plan,
            "strata": {name: {"population": size, "n": n} for name, (size, n) in self.strata.items()},
        }


def sample(
    library: Library,
    *,
    confidence: float = 0.95,
    margin: float = 0.05,
    seed: str | None = None,
    by: str = "simple",
    stratum: str = "deck",
    tag: str | None = None,
    least_share: float = 0.0,
    rates: tuple[float, float] | None = None,
) -> Sample:
    """Draw a sample of a library's photos (or decks) for a confidence and a margin of error.

    With `rates` (good, bad) the size is that of an acceptance plan with both risks 1 - confidence. Strata
    are decks, the elements that people said a photo shows, or a tag's piles. Raises BadInput for an empty
    library, ranges, or strata that cannot be made.
    """
    if by not in BY:
        raise BadInput(f"{by!r} is not one of {', '.join(BY)}")
    photos = queries.photos(library)
    if not photos:
        raise BadInput("The library holds no photos to sample.", "Ingest some first.")
    seed = seed or new_seed()
    names = sorted({photo.deck for photo in photos}) if by == "deck" else [photo.sha for photo in photos]
    plan = acceptance_plan(*rates, 1 - confidence, 1 - confidence, len(names)) if rates else None
    n = plan.sample if plan else sample_size(confidence, margin, len(names))
    if by != "strata":
        return Sample(by, n, len(names), seed, confidence, margin, tuple(draw(names, n, seed)), {}, plan)
    groups = _strata(library, photos, stratum, tag)
    items, strata = draw_strata(groups, n, seed, least_share)
    return Sample(by, len(items), len(names), seed, confidence, margin, items, strata, plan)


def draw_strata(
    groups: Mapping[str, Sequence[str]], n: int, seed: str, least_share: float = 0.0
) -> tuple[tuple[str, ...], dict[str, tuple[int, int]]]:
    """Draw n items from groups in proportion to their sizes, one of each at least.

    Returns the items (each once, stratum by stratum) and (population, sample) by stratum. Raises BadInput
    for a sample larger than the groups.
    """
    sizes = {name: len(set(members)) for name, members in sorted(groups.items())}
    shares = allocate(sizes, min(n, sum(sizes.values())), least_share)
    items = [item for name, share in shares.items() for item in draw(groups[name], share, seed)]
    return tuple(dict.fromkeys(items)), {name: (sizes[name], share) for name, share in shares.items()}


def _strata(library: Library, photos: Sequence[Photo], stratum: str, tag: str | None) -> dict[str, list[str]]:
    groups: dict[str, list[str]] = defaultdict(list)
    if stratum == "deck":
        for photo in photos:
            groups[photo.deck].append(photo.sha)
    elif stratum == "pile":
        if tag is None:
            raise BadInput("Piles are those of one tag.", "Name it with --tag.")
        piles = {sha: one.pile for (sha, _), one in queries.suggestions(library, tag=tag).items()}
        for photo in photos:
            groups[piles.get(photo.sha, NO_STRATUM)].append(photo.sha)
    elif stratum == "element":
        groups.update(_by_element(library, photos))
    else:
        raise BadInput(f"{stratum!r} is not one of {', '.join(STRATA)}")
    return dict(groups)


def _by_element(library: Library, photos: Sequence[Photo]) -> dict[str, list[str]]:
    """Photos by each element that people said they show; the others under one name of their own."""
    here = {photo.sha for photo in photos}
    groups: dict[str, list[str]] = defaultdict(list)
    shown: set[str] = set()
    for name, tag in library.vocabulary().tags.items():
        if tag.kind != "element":
            continue
        for (sha, _), word in queries.words(library, tag=name).items():
            if word.value == "present" and sha in here:
                groups[name].append(sha)
                shown.add(sha)
    if not groups:
        raise BadInput(
            "No photo is labeled with what it shows, so there are no elements to sample by.",
            "Answer the shows-... tags first, or sample by deck.",
        )
    rest = [photo.sha for photo in photos if photo.sha not in shown]
    if rest:
        groups[NO_STRATUM] = rest
    return groups
