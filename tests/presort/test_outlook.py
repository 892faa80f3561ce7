"""What the next labels would bring: the curve against numpy, laws, what cannot be said, the command."""

import dataclasses
import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from common import draw_photo

from tests.train.synthetic import make_world
from triage.cli.card import command
from triage.errors import Cancelled
from triage.features.keep import store_of
from triage.features.vectors import PhotoVectors
from triage.ingest import ingest
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.presort.outlook import MORE, T_7, Outlook, carry_on, outlook
from triage.presort.outlook_kept import kept_outlook, outlook_of_library
from triage.train.of_library import train_library

TAG = "rusted-connector"


def test_a_power_law_is_carried_on_exactly():
    sizes = np.array([25.0, 50.0, 75.0])
    now, then = carry_on(sizes, 2 * sizes**-0.5, 100, 60)
    assert (now, then) == pytest.approx((2 * 100**-0.5, 2 * 160**-0.5))


def test_the_fit_is_that_of_numpy():
    sizes, errors = np.array([30.0, 60.0, 90.0]), np.array([0.41, 0.22, 0.24])
    slope, level = np.polyfit(np.log(sizes), np.log(errors), 1)
    expected = [math.exp(level + slope * math.log(n)) for n in (120, 170)]
    assert carry_on(sizes, errors, 120, 50) == pytest.approx(expected)


def test_students_t_is_that_of_scipy():
    from scipy.stats import t

    assert pytest.approx(t.ppf(0.975, 7), abs=5e-4) == T_7


@pytest.fixture(scope="module")
def world():
    return make_world(decks=20, photos=4, strength=0.5, cell_strength=1.0, seed=3)


@pytest.fixture(scope="module")
def seen(world):
    return outlook(TAG, dict(world.photos), world.labels, world.vectors_of)


def test_the_estimate_has_an_interval_and_adds_up(seen):
    assert seen.why_not == ""
    assert seen.labels == 80
    assert seen.then - seen.now == pytest.approx(seen.gain)
    assert seen.gain_low <= seen.gain <= seen.gain_high
    assert 0 <= seen.now <= 1
    assert 0 <= seen.then <= 1
    assert [count for count, _ in seen.points] == [20, 40, 60]
    assert f"{seen.gain:+.2f}" in seen.sentence()
    assert json.loads(json.dumps(seen.to_json(), allow_nan=False))["more"] == MORE


def test_the_order_of_labels_changes_nothing_and_the_curve_goes_on(world, seen):
    turned = np.random.default_rng(1).permutation(len(world.labels))
    labels = [world.labels[k] for k in turned]
    more = outlook(TAG, dict(world.photos), labels, world.vectors_of, more=200)
    assert (more.now, more.points) == (seen.now, seen.points)
    assert (more.gain - seen.gain) * seen.gain >= 0


def test_where_the_model_is_right_already_little_is_to_be_had():
    easy = make_world(decks=20, photos=4, strength=8.0, cell_strength=6.0, seed=4)
    found = outlook(TAG, dict(easy.photos), easy.labels, easy.vectors_of)
    assert found.now > 0.97
    assert abs(found.gain) < 0.03


@pytest.mark.parametrize(
    ("decks", "photos", "why"), [(20, 1, "40 photos"), (9, 6, "8 decks that show it and 8")]
)
def test_too_few_labels_or_decks_are_told(decks, photos, why):
    small = make_world(decks=decks, photos=photos)
    found = outlook(TAG, dict(small.photos), small.labels, small.vectors_of)
    assert found.gain is None
    assert why in found.why_not
    assert "cannot be estimated" in found.sentence()


def test_unclear_and_disputed_words_are_passed_over():
    small = make_world(decks=4, photos=5)
    first, second = small.labels[:2]
    other = "absent" if second.value == "present" else "present"
    labels = [
        dataclasses.replace(first, value="unclear"),
        *small.labels[1:],
        dataclasses.replace(second, value=other, by="ben"),
    ]
    assert outlook(TAG, dict(small.photos), labels, small.vectors_of).labels == 20 - 2


def test_no_labels_and_stopping(world):
    assert outlook(TAG, {}, [], world.vectors_of).why_not
    with pytest.raises(Cancelled):
        outlook(TAG, dict(world.photos), world.labels, world.vectors_of, cancel=lambda: True)


@pytest.fixture(scope="module")
def trained(tmp_path_factory):
    """A library of sixteen decks of three drawn photos with made-up vectors, trained."""
    folder = tmp_path_factory.mktemp("outlook")
    rng = np.random.default_rng(2)
    for deck in range(16):
        for number in range(3):
            at = folder / "card" / f"D-{deck:02d}" / f"{number}.jpg"
            draw_photo(at, seed=10 * deck + number, size=(64, 48))
    with Library.create(folder / "library") as library:
        ingest(library, [folder / "card"], by="ann", engine="here")
        store = store_of(library)
        recipe = store.recipe
        scale = np.full(recipe.cell_dim, 1 / 16, np.float32)
        for place, photo in enumerate(queries.photos(library)):
            present = place % 3 == 0
            whole = rng.normal(size=recipe.whole_dim).astype(np.float32) / 72
            whole[0] += 0.8 * present
            cells = rng.integers(0, 255, (3, 4, recipe.cell_dim)).astype(np.uint8)
            store.put(photo.sha, PhotoVectors(whole, cells, scale, -8 * scale, recipe.sha))
            give_labels(library, photo, {TAG: "present" if present else "absent"}, by="ann")
        give_labels(library, queries.photos(library)[0], {"missing-hanger": "present"}, by="ann")
        train_library(library, by="ann")
    return folder / "library"


def test_the_command_prints_what_the_function_says_and_keeps_it(trained, monkeypatch):
    done = CliRunner().invoke(command, ["-L", str(trained), "--outlook", "50", "--json"])
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)["outlook"]
    assert said[TAG]["gain"] is not None
    assert said["missing-hanger"]["gain"] is None
    assert "needs 40 photos" in said["missing-hanger"]["why_not"]

    def never(*_args, **_more):
        raise AssertionError("worked out again")

    monkeypatch.setattr("triage.presort.outlook_kept.outlook", never)
    shown = CliRunner().invoke(command, ["-L", str(trained), "--outlook", "50"])
    assert "## What more labels would bring" in shown.output
    assert f"- {TAG}: 50 more labels would bring average precision to about" in shown.output
    with Library.open(trained) as library:
        kept = kept_outlook(library)
        assert kept[TAG].to_json() == said[TAG]
        assert outlook_of_library(library, tags=[TAG]) == {TAG: kept[TAG]}
        assert isinstance(kept["missing-hanger"], Outlook)


def test_a_new_label_makes_what_was_kept_stale(trained, tmp_path):
    import shutil

    shutil.copytree(trained, tmp_path / "library")
    with Library.open(tmp_path / "library") as library:
        outlook_of_library(library)
        give_labels(library, queries.photos(library)[1], {TAG: "unclear"}, by="ann")
        assert TAG not in kept_outlook(library)
