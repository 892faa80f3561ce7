"""Meshes and layout: closed, outward, where the parameters say."""

import numpy as np
import pytest
from deckscene import decks
from deckscene.build import build
from deckscene.layout import layout
from deckscene.meshes import Part, Scene, chamfer_box, disc, lumber, prism
from deckscene.params import DeckParams, check
from deckscene.units import FT, IN


def volume(part: Part) -> float:
    """Signed volume by the divergence theorem: positive when every face looks outwards."""
    total = 0.0
    for group in part.faces:
        fan = part.vertices[group]
        for k in range(1, group.shape[1] - 1):
            total += np.einsum("ij,ij->i", fan[:, 0], np.cross(fan[:, k], fan[:, k + 1])).sum() / 6
    return float(total)


def test_a_chamfered_box_is_closed_and_nearly_full() -> None:
    corners, faces = chamfer_box(np.array([0.2, 0.1, 0.04]), 0.003)
    part = Part("x", "x", "x", corners, faces, corners)
    assert volume(part) == pytest.approx(0.2 * 0.1 * 0.04, rel=0.02)
    edges = np.concatenate([np.stack([g, np.roll(g, -1, 1)], -1).reshape(-1, 2) for g in faces])
    assert {tuple(e) for e in edges} == {tuple(e[::-1]) for e in edges}


@pytest.mark.parametrize("depth", [0.04, -0.04])
def test_a_prism_looks_outwards_whichever_way_it_is_pushed(depth: float) -> None:
    outline = [(0.0, 0.0), (0.3, 0.0), (0.3, 0.1), (0.0, 0.2)]
    part = prism(Scene(1), "p", "p", "wood", outline, depth, [0, 0, 0], (0, 1.0, 0), (0, 0, 1.0))
    assert volume(part) == pytest.approx(0.045 * 0.04)


def test_lumber_stays_between_its_corners() -> None:
    part = lumber(Scene(1), "joist-1", "joist", [0, 0, 0], [0.038, 3.0, 0.184])
    assert np.allclose(part.vertices.min(0), [0, 0, 0])
    assert np.allclose(part.vertices.max(0), [0.038, 3.0, 0.184])


def test_a_head_stands_on_its_surface() -> None:
    part = disc(
        Scene(1), "b", "bolt", "galvanized", np.array([1.0, 2, 3]), np.array([0, 1.0, 0]), 0.02, 0.003
    )
    assert part.vertices[:, 1].min() == pytest.approx(2.0)
    assert part.vertices[:, 1].max() == pytest.approx(2.003)


def test_positions_follow_the_sizes() -> None:
    deck = check(DeckParams("deck-99", 3))
    plan = layout(deck)
    assert plan.deck_top == pytest.approx(4.5 * FT)
    assert plan.joist_high == pytest.approx(7.25 * IN)
    assert np.diff(plan.joist_x) == pytest.approx(16 * IN, rel=0.03)
    assert plan.beam_bottom < plan.beam_top == plan.joist_bottom


def test_the_same_parameters_give_the_same_arrays_and_another_seed_does_not() -> None:
    deck = decks.deck(0)
    one, two = build(deck, with_yard=False)[0], build(deck, with_yard=False)[0]
    assert all(np.array_equal(a.vertices, b.vertices) for a, b in zip(one.parts, two.parts, strict=True))
    other = build(deck.changed(seed=deck.seed + 1), with_yard=False)[0]
    assert not np.array_equal(one.parts[5].local, other.parts[5].local)


def test_a_good_twin_differs_by_the_fault_alone() -> None:
    bad = check(DeckParams("deck-99", 3, missing_hangers=(4,)))
    good = bad.changed(missing_hangers=())
    with_fault, without = (build(d, with_yard=False)[0] for d in (bad, good))
    assert not [p for p in with_fault.parts if p.component == "hanger-4"]
    assert [p for p in without.parts if p.component == "hanger-4"]
    fault = {"hanger-4", "toe-nails-4", "joist-4"}
    rest = [[p for p in s.parts if p.component not in fault] for s in (with_fault, without)]
    assert all(np.array_equal(a.vertices, b.vertices) for a, b in zip(*rest, strict=True))


def test_every_deck_of_the_library_can_be_built() -> None:
    for i in range(0, 48, 5):
        scene, plan = build(decks.deck(i), with_yard=False)
        assert len(scene.parts) > 300
        kinds = {f.kind for f in scene.features}
        assert ("missing-hanger" in kinds) == bool(decks.deck(i).missing_hangers)
        assert all(np.isfinite(p.vertices).all() for p in scene.parts)
        assert plan.foundation_top > 0
