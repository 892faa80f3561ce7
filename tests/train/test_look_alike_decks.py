"""A deck sent twice is one deck: folds, promise and figures take it so, and a broken variant is caught."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.train.synthetic import World, make_world
from triage.library.look_alikes import DeckGroups
from triage.train import TagModel, train_tags
from triage.train.grouping import MOST_LOOK_ALIKE

TAG = "rusted-connector"


def sent_twice(world: World, decks: list[str]) -> tuple[World, DeckGroups]:
    """The world with some decks once more under another name, and what the hashes would say of it."""
    photos, labels, vectors = list(world.photos), list(world.labels), dict(world.vectors)
    groups, alike = {}, set()
    for sha, deck in world.photos:
        if deck not in decks:
            continue
        copy = "e" + sha[1:]
        photos.append((copy, f"{deck} again"))
        vectors[copy] = world.vectors[sha]
        labels += [replace(one, photo=copy) for one in world.labels if one.photo == sha]
        groups.update({deck: deck, f"{deck} again": deck})
        alike |= {sha, copy}
    return World(photos, labels, vectors), DeckGroups(groups, frozenset(alike))


def trained(world: World, groups: DeckGroups | None = None) -> TagModel:
    more = {} if groups is None else {"groups": groups}
    model = train_tags(world.photos, world.labels, world.vectors_of, tags=[TAG], promise_rate=0.1, **more)[
        TAG
    ]
    assert isinstance(model, TagModel)
    return model


@pytest.fixture(scope="module")
def world() -> World:
    return make_world(decks=24, photos=4, strength=0.35, boxes=False, seed=8)


def test_copies_share_a_fold_and_count_as_one_deck(world: World) -> None:
    some = sorted({deck for _, deck in world.photos})[:1]
    double, groups = sent_twice(world, some)
    once, model = trained(world), trained(double, groups)
    assert (model.decks, model.positive_decks) == (once.decks, once.positive_decks)
    assert model.promise.eligible_positive_decks == once.promise.eligible_positive_decks
    assert model.folds[some[0]] == model.folds[f"{some[0]} again"]
    assert model.facts["look_alike_decks"] == [[some[0], f"{some[0]} again"]]
    assert model.promise.holds


def test_figures_do_not_rise_by_sending_everything_twice(world: World) -> None:
    double, groups = sent_twice(world, sorted({deck for _, deck in world.photos}))
    once, grouped, broken = trained(world), trained(double, groups), trained(double)
    assert once.figures.whole_average_precision is not None
    assert abs(grouped.figures.whole_average_precision - once.figures.whole_average_precision) < 0.05
    assert broken.figures.whole_average_precision > once.figures.whole_average_precision + 0.1


def test_many_look_alikes_withhold_the_promise_with_the_reason(world: World) -> None:
    decks = sorted({deck for _, deck in world.photos})
    double, groups = sent_twice(world, decks[:6])
    model = trained(double, groups)
    assert model.facts["look_alike_share"] > MOST_LOOK_ALIKE
    assert (model.promise.holds, model.promise.threshold) == (False, None)
    assert "look like a photo of another deck" in model.promise.why_not


def test_a_copy_of_a_deck_among_the_training_decks_breaks_the_promise_unless_they_are_one() -> None:
    """Half of the decks come twice: the threshold of the broken variant misses more on decks never seen."""
    from triage.train.scoring import score

    missed = {"grouped": [], "broken": []}
    for seed in range(4):
        world = make_world(decks=36, photos=4, strength=0.35, boxes=False, seed=30 + seed)
        names = sorted({deck for _, deck in world.photos})
        seen, new = set(names[:18]), set(names[18:])
        half = World([one for one in world.photos if one[1] in seen], [], world.vectors)
        here = {sha for sha, _ in half.photos}
        half.labels.extend(one for one in world.labels if one.photo in here)
        double, groups = sent_twice(half, sorted(seen))
        groups = DeckGroups(groups.of, frozenset())  # the bar is tested above
        for name, model in (("grouped", trained(double, groups)), ("broken", trained(double))):
            if not model.promise.holds:
                missed[name].append(0.0)
                continue
            lost = []
            for deck in sorted(new):
                shas = [sha for sha, one in world.photos if one == deck]
                shown = {one.photo for one in world.labels if one.tag == TAG and one.value == "present"}
                positive = [sha for sha in shas if sha in shown]
                found = [score(model, world.vectors[sha]).leave_one_out for sha in positive]
                if found:
                    lost.append(np.mean([one is not None and one < model.promise.threshold for one in found]))
            missed[name].append(float(np.mean(lost)))
    assert np.mean(missed["grouped"]) <= 0.10 + 0.05
    assert np.mean(missed["broken"]) > 0.20
