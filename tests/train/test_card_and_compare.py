"""The model card and the comparison with the model before, on a small library of demo decks."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.train.synthetic import make_world
from triage.errors import BadInput
from triage.library import Library, queries
from triage.presort.of_library import load_models
from triage.train import train_tags
from triage.train.card import _not_for, card_of, markdown, reliability_svg, write_card
from triage.train.compare import compare_models
from triage.train.known import order_words
from triage.train.measures import figures
from triage.train.of_library import train_library
from triage.train.report import interval_words
from triage.train.store import load_model
from triage.train.types import TagModel

TAG = "rusted-connector"
TAGS = ["shows-flashing", "shows-hanger"]


@pytest.fixture(scope="module")
def trained(embedded_library, tmp_path_factory):
    folder = tmp_path_factory.mktemp("trained") / "library"
    shutil.copytree(embedded_library, folder)
    with Library.open(folder) as library:
        train_library(library, by="ann", tags=TAGS)
        yield library


def test_the_card_says_who_labeled_what_and_where_it_must_not_be_used(trained):
    card = card_of(trained)
    json.dumps(card, allow_nan=False)
    assert list(card["labels"]["labellers"].values()) == [card["labels"]["count"]]
    assert all(name.startswith("person-") for name in card["labels"]["labellers"])
    named = card_of(trained, show_names=True)["labels"]["labellers"]
    assert not any(name.startswith("person-") for name in named)
    assert "One person gave all labels" in " ".join(card["labels"]["warnings"])
    text = markdown(card)
    assert "must not be used on real decks" in text
    assert "| shows-flashing |" in text
    assert "on average over decks" in text
    assert "Labeled by" in text
    assert {"deck-triage", "numpy", "scipy"} <= set(card["versions"])
    assert len(card["data"]) == 64
    row = card["tags"]["shows-flashing"]
    model = load_model(trained.model_dir)["shows-flashing"]
    assert sum(bin_["photos"] for bin_ in row["reliability_diagram"]) == len(model.held_out)
    assert set(row["labellers"]) <= set(card["labels"]["labellers"])
    assert f"Expected calibration error {row['calibration_error']:.3f}" in text
    assert f"+ uncertainty {row['uncertainty']:.4f}" in text


def test_the_diagram_and_the_error_are_of_the_same_left_out_probabilities(trained):
    """Mean distance of the diagram's bins, by their photos, is the calibration error of the figures."""
    for row in card_of(trained)["tags"].values():
        bins = row["reliability_diagram"]
        photos = sum(bin_["photos"] for bin_ in bins)
        error = sum(bin_["photos"] * abs(bin_["said"] - bin_["was"]) for bin_ in bins) / photos
        assert error == pytest.approx(row["calibration_error"])


def test_below_five_decks_there_is_no_interval_and_the_card_says_so():
    few = make_world(decks=6, seed=1)
    model = train_tags(few.photos, few.labels, few.vectors_of, tags=[TAG])[TAG]
    assert model.positive_decks == 4
    said = {name: value for name, value in vars(model.figures).items() if name.endswith(("_low", "_high"))}
    assert set(said.values()) == {None}
    assert "no interval" in " ".join(_not_for(model, [], {}))
    assert "bands" in " ".join(_not_for(model, [], {}))


@settings(max_examples=10, deadline=None)
@given(st.integers(5, 30), st.integers(1, 4), st.floats(0.001, 1.0))
def test_decks_without_a_mistake_give_no_interval(decks, photos, gap):
    """Drawn again they are as perfect as before, and that says nothing of the next deck."""
    labels = np.tile([1.0, 0.0], decks * photos)
    names = np.repeat([f"D-{one}" for one in range(decks)], 2 * photos)
    found = figures(labels * gap, np.clip(labels, 0.1, 0.9), labels, names.tolist())
    assert found.average_precision == found.roc_auc == 1.0
    assert (found.average_precision_low, found.roc_auc_high) == (None, None)
    assert interval_words(1.0, None, None) == "(no mistake seen, so no interval)"


def test_one_mistake_gives_an_interval_and_words_for_it():
    labels = np.tile([1.0, 0.0], 10)
    scores = labels.copy()
    scores[1] = 2.0
    found = figures(scores, np.clip(labels, 0.1, 0.9), labels, [f"D-{one // 2}" for one in range(20)])
    assert 0 < found.average_precision_low < found.average_precision < found.average_precision_high <= 1
    assert interval_words(0.5, 0.25, 0.75) == "(0.25 to 0.75)"
    assert interval_words(0.5, None, None) == interval_words(None, None, None) == ""


def test_the_words_of_the_order_name_a_mistake_free_rank_as_one(trained):
    """Also those of a model that was kept with ends that are all alike."""
    model = next(iter(load_models(trained).values()))
    for low, high in ((None, None), (1.0, 1.0)):
        perfect = replace(
            model,
            positive_decks=21,
            figures=replace(model.figures, roc_auc=1.0, roc_auc_low=low, roc_auc_high=high),
        )
        assert "without a mistake on 21 decks that show it: so no interval" in order_words(perfect)
    few = replace(model, positive_decks=4)
    assert "only 4 decks show it, so no interval is given (below 5)" in order_words(few)


def test_a_card_of_an_unknown_tag_is_refused(trained):
    with pytest.raises(BadInput, match="knows no tag"):
        card_of(trained, "no-such-tag")


def test_a_library_without_a_model_has_no_card(library):
    with pytest.raises(BadInput, match="No model was trained"):
        card_of(library)


def test_written_cards_hold_figures_and_parse(trained, tmp_path):
    from defusedxml import ElementTree

    files = {path.name: path for path in write_card(trained, tmp_path / "card")}
    assert {"card.md", "card.json", "reliability-shows-flashing.svg"} <= set(files)
    assert ElementTree.parse(files["reliability-shows-flashing.svg"]).getroot().tag.endswith("svg")


def test_a_reliability_dot_on_the_diagonal_means_what_it_says():
    text = reliability_svg([{"said": 0.5, "was": 0.5, "photos": 10}], side=240)
    assert '<circle cx="130.0" cy="110.0"' in text


def test_training_again_on_the_same_labels_changes_nothing(trained):
    before = queries.event_count(trained)
    again = train_library(trained, by="ann", tags=TAGS)
    assert again.kept == "unchanged"
    assert queries.event_count(trained) == before
    assert again.tags["shows-flashing"]["present"] > 0


def test_a_model_is_the_same_as_itself_and_worse_than_it_when_its_scores_are_turned(trained):
    from triage.features.keep import vectors_of

    model = load_model(trained.model_dir)["shows-flashing"]
    assert isinstance(model, TagModel)
    decks = {photo.sha: photo.deck for photo in queries.photos(trained)}
    same = compare_models(model, model, decks, vectors_of(trained))
    assert (same.verdict, same.old) == ("same", pytest.approx(same.new))
    turned = replace(
        model, held_out={sha: (-raw, label, fold) for sha, (raw, label, fold) in model.held_out.items()}
    )
    worse = compare_models(model, turned, decks, vectors_of(trained))
    assert worse.verdict == "worse"
    assert worse.high < 0
    other = replace(model, recipe_sha="0" * 64)
    assert compare_models(other, model, decks, vectors_of(trained)) is None
    assert np.isfinite(worse.old)


def test_keep_old_keeps_the_model_in_use(trained):
    before = queries.model_in_use(trained)
    photo = queries.photos(trained)[0]
    from triage.label.rows import give_labels

    give_labels(trained, [(photo, {"shows-flashing": "unclear"})], by="ben")
    kept = train_library(trained, by="ann", tags=TAGS, keep="old")
    assert (kept.kept, queries.model_in_use(trained)) == ("old", before)


def test_a_model_of_other_features_cannot_stay_and_training_says_so(trained, monkeypatch, capsys):
    from triage.cli.train import _show
    from triage.train import of_library

    made = {
        tag: replace(one, recipe_sha="0" * 64) if isinstance(one, TagModel) else one
        for tag, one in load_model(trained.model_dir).items()
    }
    monkeypatch.setattr(of_library, "_previous", lambda library: made)
    found = train_library(trained, by="ann", tags=TAGS, keep="old")
    assert found.kept == "new"
    assert found.compared == {}
    assert found.other_features == [tag for tag in TAGS if isinstance(made.get(tag), TagModel)] != []
    assert found.to_json()["other_features"] == found.other_features
    assert load_model(trained.model_dir)["shows-flashing"].recipe_sha != "0" * 64
    _show(found)
    said = capsys.readouterr().out
    assert "shows-flashing: the earlier model was made on other features" in " ".join(said.split())
