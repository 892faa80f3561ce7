"""Places are shown only by models that were shown places."""

from dataclasses import replace

import pytest

from tests.train.synthetic import make_world
from triage.presort.suggesting import PLACES_FROM, suggest
from triage.train import TagModel, train_tags

TAG = "rusted-connector"


@pytest.mark.parametrize(("marked", "shown"), [(0, False), (PLACES_FROM - 1, False), (PLACES_FROM, True)])
def test_places_need_marked_photos(marked, shown):
    world = make_world(decks=12, photos=4, cell_strength=5.0, seed=8)
    boxed = [label.photo for label in world.labels if label.boxes][:marked]
    labels = [one if one.photo in boxed else replace(one, boxes=()) for one in world.labels]
    models = train_tags(world.photos, labels, world.vectors_of, tags=[TAG])
    assert isinstance(models[TAG], TagModel)
    assert models[TAG].cells is not None
    said = list(suggest(models, [sha for sha, _ in world.photos], world.vectors_of))
    assert len(said) == len(world.photos)
    assert {bool(one.where) for one in said} == {shown}
