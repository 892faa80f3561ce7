"""From labels to models and back from disk."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.train.synthetic import CELL_DIM, make_world
from triage.errors import BadInput, Damaged
from triage.presort import suggest
from triage.train import TagModel, TooFew, TrainingLabel, load_model, save_model, score, store, train_tags
from triage.train.cells import HIGHEST
from triage.train.report import tag_json
from triage.train.types import Linear

TAG = "rusted-connector"


@pytest.fixture(scope="module")
def world():
    return make_world(decks=14)


@pytest.fixture(scope="module")
def models(world):
    return train_tags(world.photos, world.labels, world.vectors_of, tags=[TAG, "other"])


def test_a_new_deck_is_ranked_well(models, world):
    new = make_world(decks=9, seed=1)
    said = {s.photo: s for s in suggest(models, [sha for sha, _ in new.photos], new.vectors_of)}
    truth = {label.photo: label.value == "present" for label in new.labels}
    present = [said[sha].probability for sha in said if truth[sha]]
    absent = [said[sha].probability for sha in said if not truth[sha]]
    assert np.mean(present) > 0.7
    assert np.mean(absent) < 0.2
    assert {s.pile for s in said.values()} <= {"likely", "unsure"}


def test_a_tag_without_labels_says_what_is_missing(models):
    few = models["other"]
    assert isinstance(few, TooFew)
    assert (few.missing_present, few.missing_absent) == (2, 2)
    assert tag_json(few)["average_precision"] is None


def test_a_stored_model_scores_as_before(models, world, tmp_path):
    digest = save_model(models, tmp_path)
    again = load_model(tmp_path)
    vectors = world.vectors_of(world.photos[0][0])
    assert score(again[TAG], vectors) == score(models[TAG], vectors)
    assert again[TAG].promise == models[TAG].promise
    assert again["other"] == models["other"]
    assert save_model(again, tmp_path / "copy") == digest


def test_a_model_stored_before_neighbors_were_read_scores_as_it_did(models, world, tmp_path, monkeypatch):
    old = replace(
        models[TAG], cells=Linear(models[TAG].cells.weights[:, :CELL_DIM].copy(), models[TAG].cells.bias)
    )
    monkeypatch.setattr(store, "FORMAT", 1)
    save_model({TAG: old}, tmp_path)
    monkeypatch.undo()
    vectors = world.vectors_of(world.photos[0][0])
    alone = np.sort(vectors.cells_float() @ old.cells.weights[0])[-HIGHEST:].mean() + old.cells.bias[0]
    raw = old.blend[0] + old.blend[1] * (old.whole.weights[0] @ vectors.whole + old.whole.bias[0])
    found = score(load_model(tmp_path)[TAG], vectors)
    assert found.raw == pytest.approx(raw + old.blend[2] * alone, abs=1e-4)
    assert found.where


def test_a_model_of_a_later_format_is_refused_with_what_to_do(models, tmp_path, monkeypatch):
    monkeypatch.setattr(store, "FORMAT", 3)
    save_model(models, tmp_path)
    with pytest.raises(Damaged, match="format 3") as caught:
        load_model(tmp_path)
    assert "deck-triage train" in caught.value.hint


@pytest.mark.parametrize("name", ["arrays.npz", "model.json"])
def test_a_changed_model_file_is_refused(models, tmp_path, name):
    save_model(models, tmp_path)
    data = bytearray((tmp_path / name).read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / name).write_bytes(bytes(data))
    with pytest.raises(Damaged, match="cannot be used"):
        load_model(tmp_path)


def test_vectors_of_another_recipe_are_refused(models, world):
    vectors = world.vectors_of(world.photos[0][0])
    other = type(vectors)(vectors.whole, vectors.cells, vectors.cell_scale, vectors.cell_offset, "another")
    with pytest.raises(BadInput, match="recipe"):
        score(models[TAG], other)


def test_neither_order_nor_a_second_run_changes_the_model(world, models, tmp_path):
    rng = np.random.default_rng(3)
    photos = [world.photos[i] for i in rng.permutation(len(world.photos))]
    labels = [world.labels[i] for i in rng.permutation(len(world.labels))]
    again = train_tags(photos, labels, world.vectors_of, tags=[TAG, "other"])
    assert save_model(again, tmp_path / "a") == save_model(models, tmp_path / "b")


def test_a_photo_under_two_decks_is_refused(world):
    with pytest.raises(BadInput, match="two decks"):
        train_tags([*world.photos, (world.photos[0][0], "x")], world.labels, world.vectors_of, tags=[TAG])


def test_an_unknown_value_is_refused(world):
    bad = TrainingLabel(world.photos[0][0], TAG, "maybe")
    with pytest.raises(BadInput, match="maybe"):
        train_tags(world.photos, [bad], world.vectors_of, tags=[TAG])


def test_models_are_models(models):
    assert isinstance(models[TAG], TagModel)
