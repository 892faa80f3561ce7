"""The orders `learning` and `like` through the command that a person types, on a library with vectors."""

import numpy as np
import pytest
from click.testing import CliRunner
from common import draw_photo

from triage.cli.label import command
from triage.features.keep import store_of
from triage.features.vectors import PhotoVectors
from triage.ingest import ingest
from triage.label import learning
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions

TAG = "missing-hanger"


@pytest.fixture
def made(tmp_path):
    """Four decks of four photos; vectors are set, so that which photos are alike is known."""
    at = np.random.default_rng(1).normal
    for deck in range(4):
        for number in range(4):
            draw_photo(tmp_path / "card" / f"D-{deck}" / f"{number}.jpg", seed=10 * deck + number)
    with Library.create(tmp_path / "library") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
        store = store_of(library)
        recipe = store.recipe
        for photo in queries.photos(library):
            whole = at(size=recipe.whole_dim).astype(np.float32)
            cells = np.zeros((1, 1, recipe.cell_dim), np.uint8)
            scale = np.ones(recipe.cell_dim, np.float32)
            store.put(photo.sha, PhotoVectors(whole, cells, scale, scale, recipe.sha))
    return tmp_path / "library"


def copy_vectors(library, source, *targets):
    """Make photos near-duplicates of one by their vectors."""
    store = store_of(library)
    for target in targets:
        store.put(queries.find_photo(library, target).sha, store.get(queries.find_photo(library, source).sha))


@pytest.fixture
def asked(monkeypatch):
    """Run `label ask` and return its questions as (deck/name, tag, asked_by), without the screen."""
    taken = []
    monkeypatch.setattr(
        "triage.terminal.ask.ask_these", lambda library, by, asked, *_: taken.extend(asked) or 0
    )

    def ask(path, *words):
        taken.clear()
        done = CliRunner().invoke(command, ["ask", "-L", str(path), "--by", "ann", *words])
        assert done.exit_code == 0, done.output
        return [(one.photo.path_name, one.tag, one.asked_by) for one in taken]

    return ask


def test_the_cold_start_goes_from_deck_to_deck(made, asked):
    found = asked(made, "--order", "learning", "--tag", TAG)
    decks = [name.split("/")[0] for name, _, _ in found]
    assert len(found) == 16
    for start in range(0, 16, 4):
        assert sorted(decks[start : start + 4]) == ["D-0", "D-1", "D-2", "D-3"]
    assert {by for _, _, by in found} == {"learning"}


def test_near_duplicates_spend_one_label_each(made, asked):
    with Library.open(made) as library:
        copy_vectors(library, "D-1/0.jpg", "D-1/1.jpg", "D-2/3.jpg")
        copy_vectors(library, "D-3/0.jpg", "D-3/2.jpg")
        give_labels(library, [(queries.find_photo(library, "D-3/2.jpg"), {TAG: "absent"})], by="ben")
    names = [name for name, _, _ in asked(made, "--order", "learning", "--tag", TAG)]
    assert len({"D-1/0.jpg", "D-1/1.jpg", "D-2/3.jpg"} & set(names)) == 1
    assert {"D-3/0.jpg", "D-3/2.jpg"}.isdisjoint(names)
    assert len(names) == len(set(names)) == 12


def test_danger_and_doubt_lead_once_there_are_suggestions(made, asked):
    with Library.open(made) as library:
        library.say("trained", {"model": "m" * 64, "tags": {}}, by="ann")
        chances = {photo.sha: 0.01 for photo in queries.photos(library)}
        for name in ("D-0/2.jpg", "D-2/1.jpg", "D-3/3.jpg"):
            chances[queries.find_photo(library, name).sha] = 0.6
        keep_suggestions(
            library,
            [Suggestion(sha, TAG, "m" * 64, 0.0, chance, "unsure", ()) for sha, chance in chances.items()],
        )
    names = [name for name, _, _ in asked(made, "--order", "learning", "--tag", TAG)]
    assert set(names[:3]) == {"D-0/2.jpg", "D-2/1.jpg", "D-3/3.jpg"}


def test_several_tags_take_turns_on_the_same_photos(made, asked):
    found = asked(made, "--order", "learning", "--tag", TAG, "--tag", "rusted-connector")
    assert [tag for _, tag, _ in found[:4]] == [TAG, "rusted-connector"] * 2
    assert [name for name, tag, _ in found if tag == TAG] == [name for name, tag, _ in found if tag != TAG]


def test_like_asks_about_the_photo_then_the_nearest_one_of_a_kind(made, asked):
    with Library.open(made) as library:
        store = store_of(library)
        start = store.get(queries.find_photo(library, "D-0/0.jpg").sha)
        near = start.whole + 0.3 * store.get(queries.find_photo(library, "D-2/2.jpg").sha).whole
        for name in ("D-2/2.jpg", "D-3/1.jpg"):
            sha = queries.find_photo(library, name).sha
            store.put(
                sha, PhotoVectors(near, start.cells, start.cell_scale, start.cell_offset, start.recipe_sha)
            )
    found = asked(made, "--like", "D-0/0.jpg", "--tag", TAG)
    assert [name for name, _, _ in found][0] == "D-0/0.jpg"
    assert len({"D-2/2.jpg", "D-3/1.jpg"} & {name for name, _, _ in found[1:2]}) == 1
    assert len(found) == 15
    assert {by for _, _, by in found} == {"like"}


def test_a_first_run_gives_vectors_to_some_photos_of_every_deck(made, asked, monkeypatch):
    monkeypatch.setattr(learning, "AT_ONCE", 4)
    with Library.open(made) as library:
        for photo in queries.photos(library):
            store_of(library).drop(photo.sha)
    names = [name for name, _, _ in asked(made, "--order", "learning", "--tag", TAG)]
    assert sorted(name.split("/")[0] for name in names) == ["D-0", "D-1", "D-2", "D-3"]
    assert len(asked(made, "--order", "learning", "--tag", TAG)) == 8
