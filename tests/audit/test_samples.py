"""Samples of a library."""

from __future__ import annotations

import json

import pytest
from small_libraries import add_labels, add_piles

from triage.audit import sample
from triage.audit.draw import draw
from triage.audit.sizes import LAWS, sample_size
from triage.errors import BadInput
from triage.library import Library, queries


def test_a_simple_sample_is_the_draw_of_its_size(library: Library, with_photos) -> None:
    shas = with_photos(10, 20)
    found = sample(library, seed="42")
    assert (found.n, found.population) == (sample_size(0.95, 0.05, 200), 200) == (132, 200)
    assert list(found.items) == draw(shas, 132, "42")
    assert sample(library, seed="42").items == found.items
    photos = {photo.sha: photo for photo in queries.photos(library)}
    said = json.loads(json.dumps(found.to_json(photos), allow_nan=False))
    assert set(said) >= {"n", "population", "items", "seed"}
    assert said["items"][0]["deck"] == photos[found.items[0]].deck


def test_a_seed_of_its_own_is_told(library: Library, with_photos) -> None:
    with_photos(2, 5)
    first, second = sample(library), sample(library)
    assert first.seed != second.seed
    assert sample(library, seed=first.seed).items == first.items


def test_decks_are_drawn_as_decks(library: Library, with_photos) -> None:
    with_photos(100, 2)
    found = sample(library, by="deck", seed="1")
    assert (found.n, found.population) == (80, 100)
    assert set(found.items) <= set(queries.decks(library))
    assert found.to_json({})["items"][0] == {"deck": found.items[0]}


def test_strata_are_shared_out(library: Library, with_photos) -> None:
    shas = with_photos(5, 40)
    found = sample(library, by="strata", seed="1")
    assert found.n == sum(n for _, n in found.strata.values()) == 132
    assert {size for size, _ in found.strata.values()} == {40}
    add_labels(library, [(sha, "shows-hanger", "present", "ann") for sha in shas[:20]])
    add_labels(library, [(sha, "shows-post", "present", "ann") for sha in shas[10:30]])
    few = sample(library, by="strata", stratum="element", margin=0.2, seed="1", least_share=0.15)
    assert few.strata["shows-hanger"][0] == few.strata["shows-post"][0] == 20
    assert all(n >= 0.15 * size for size, n in few.strata.values())
    assert len(set(few.items)) == len(few.items) == few.n
    add_piles(library, "m", "rusted-connector", [(sha, "unlikely") for sha in shas[:150]])
    piled = sample(library, by="strata", stratum="pile", tag="rusted-connector", seed="1")
    assert piled.strata["unlikely"][0] == 150


def test_an_acceptance_plan_sets_the_size(library: Library, with_photos) -> None:
    with_photos(10, 10)
    found = sample(library, rates=(0.01, 0.08), seed="1")
    assert found.plan is not None
    assert (found.n, found.plan.accept) == (46, 1)


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"by": "house"}, "not one of simple"),
        ({"confidence": 95}, "confidence"),
        ({"margin": 0}, "margin"),
        ({"by": "strata", "stratum": "roof"}, "not one of deck"),
        ({"by": "strata", "stratum": "pile"}, "one tag"),
        ({"by": "strata", "stratum": "element"}, "no elements"),
    ],
)
def test_what_cannot_be_sampled_is_a_sentence(library: Library, with_photos, more, match: str) -> None:
    with_photos(2, 2)
    with pytest.raises(BadInput, match=match):
        sample(library, **more)


def test_an_empty_library(library: Library) -> None:
    with pytest.raises(BadInput, match="no photos"):
        sample(library)


def test_the_laws_are_named_with_their_source() -> None:
    assert {name.rsplit(" ", 1)[1] for name, _ in LAWS} == {"5551", "17973"}
