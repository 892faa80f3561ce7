"""Labels that cannot carry a model: a card that says what is missing, no crash, never NaN."""

import json

import pytest
from synthetic import make_world

from triage.train import TagModel, TooFew, tag_json, train_tags
from triage.train.types import TrainingLabel


@pytest.fixture(scope="module")
def world():
    return make_world(decks=8, seed=3)


def trained(world, labels):
    found = train_tags(world.photos, labels, world.vectors_of, tags=["t"])["t"]
    said = tag_json(found)
    json.dumps(said, allow_nan=False)
    return found, said


def answers(world, value_of):
    return [
        TrainingLabel(sha, "t", value_of(number, deck)) for number, (sha, deck) in enumerate(world.photos)
    ]


@pytest.mark.parametrize("value", ["present", "absent", "unclear"])
def test_one_class_only_has_no_model(world, value):
    found, said = trained(world, answers(world, lambda number, deck: value))
    assert isinstance(found, TooFew)
    assert said["average_precision"] is None
    assert said["why_not"]
    assert said["promise"]["holds"] is False


def test_one_deck_only_has_no_model(world):
    first = world.photos[0][1]
    labels = [
        TrainingLabel(sha, "t", ("present", "absent")[number % 2])
        for number, (sha, deck) in enumerate(world.photos)
        if deck == first
    ]
    found, said = trained(world, labels)
    assert isinstance(found, TooFew)
    assert "one deck" in said["why_not"]


def test_opposite_labels_on_the_same_photo_are_taken_at_half_weight(world):
    labels = []
    for number, (sha, _) in enumerate(world.photos):
        labels.append(TrainingLabel(sha, "t", ("present", "absent")[number % 2], weight=0.5, by="a"))
        labels.append(TrainingLabel(sha, "t", ("absent", "present")[number % 2], weight=0.5, by="b"))
    trained(world, labels)


def test_three_positives_make_a_model_without_intervals_or_promise(world):
    decks = sorted({deck for _, deck in world.photos})
    chosen = {next(sha for sha, d in world.photos if d == deck) for deck in decks[:3]}
    found, said = trained(
        world, [TrainingLabel(sha, "t", "present" if sha in chosen else "absent") for sha, _ in world.photos]
    )
    assert isinstance(found, TagModel)
    assert said["present"] == 3
    assert said["average_precision_low"] is None
    assert said["promise"]["threshold"] is None
    assert said["promise"]["missing"] == 16


def test_many_negatives_do_not_drown_a_few_positives():
    wide = make_world(decks=120, seed=4)
    positive = {sha for sha, _ in wide.photos[::40]}
    labels = [TrainingLabel(sha, "t", "present" if sha in positive else "absent") for sha, _ in wide.photos]
    _, said = trained(wide, labels)
    assert said["absent"] == len(wide.photos) - len(positive)
