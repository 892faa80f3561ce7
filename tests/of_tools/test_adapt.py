"""Adapting the network: made pictures and their truth, boxes as truth, the graph in torch, the table."""

from __future__ import annotations

import csv

import cv2
import numpy as np
import pytest

from tools.bench.adapted import interval, paired, second_view, table
from tools.build_backbone.adapt import sets, surfaces


def test_a_made_picture_follows_from_its_number_alone():
    rgb, masks = surfaces.made_picture(7)
    again = surfaces.made_picture(7)
    assert rgb.shape == (surfaces.SIDE_PX, surfaces.SIDE_PX, 3)
    assert np.array_equal(rgb, again[0])
    assert np.array_equal(masks, again[1])
    assert not np.array_equal(rgb, surfaces.made_picture(8)[0])


def test_made_truth_lies_where_the_thing_is_drawn():
    rng = np.random.default_rng(5)
    scene = surfaces.Scene(rng, np.full((surfaces.SIDE_PX, surfaces.SIDE_PX, 3), 200.0))
    scene.masks["concrete"] = np.ones((surfaces.SIDE_PX, surfaces.SIDE_PX), np.float32)
    surfaces.crack(scene)
    dark = (scene.rgb.mean(axis=2) < 150).astype(float)
    drawn = scene.masks["crack"] > 0.5
    assert drawn.any()
    assert dark[drawn].mean() > 0.9
    assert dark[scene.masks["crack"] == 0].mean() < 0.01


def test_what_lies_under_something_else_is_not_in_its_mask():
    scene = surfaces.Scene(np.random.default_rng(0), np.zeros((surfaces.SIDE_PX, surfaces.SIDE_PX, 3)))
    everywhere = np.ones((surfaces.SIDE_PX, surfaces.SIDE_PX), np.float32)
    scene.put("rot", everywhere, np.array((80.0, 60.0, 40.0)))
    half = everywhere.copy()
    half[:, : surfaces.SIDE_PX // 2] = 0
    scene.put("moss", half, np.array((90.0, 110.0, 50.0)))
    assert scene.masks["rot"][:, 0].min() == 1
    assert scene.masks["rot"][:, -1].max() == 0


def test_boxes_become_shares_of_places():
    mask = sets.box_mask([[0.25, 0.5, 0.25, 0.25]], 32, 64, 8, 16)
    assert mask.max() == 255
    assert np.array_equal(np.argwhere(mask == 255), [[2, 2], [2, 3]])
    assert (mask > 0).sum() == 2


@pytest.fixture
def boards(tmp_path):
    """Two photos of two decks, one with a boxed resin pocket and a live knot."""
    rng = np.random.default_rng(1)
    for name in ("a/1.jpg", "b/2.jpg"):
        path = tmp_path / "photos" / name
        path.parent.mkdir(parents=True)
        cv2.imwrite(str(path), rng.integers(0, 255, (64, 128, 3)).astype(np.uint8))
    rows = [
        ("a/1.jpg", "resin", "present", "0,0,0.25,0.5"),
        ("a/1.jpg", "live-knot", "present", "0.5,0.5,0.25,0.5"),
        ("b/2.jpg", "live-knot", "absent", ""),
        ("b/2.jpg", "resin", "unclear", ""),
    ]
    with (tmp_path / "labels.csv").open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows([("photo", "tag", "value", "box"), *rows])
    return tmp_path


def test_a_tag_left_out_teaches_nothing_not_even_where_its_boxes_are(boards):
    found = sets.labeled(boards, "boards", frozenset({"resin"}))
    assert found.tags == ["boards:live-knot"]
    assert found.ignored[0, :4, :4].all()
    assert found.ignored[0].sum() == 16
    assert not found.ignored[1].any()
    whole = sets.labeled(boards, "boards", frozenset())
    assert whole.tags == ["boards:live-knot", "boards:resin"]
    assert not whole.ignored.any()
    assert whole.known.tolist() == [[True, True], [True, False]]
    assert whole.labels.tolist() == [[1, 1], [0, sets.UNKNOWN]]


def test_photos_of_decks_left_out_are_not_read(boards):
    (boards / "photos" / "a" / "1.jpg").write_bytes(b"no picture at all")
    found = sets.labeled(boards, "boards", frozenset(), ("a",))
    assert found.keys == ["b/2.jpg"]
    assert found.labels.tolist() == [[0, sets.UNKNOWN]]
    with pytest.raises(SystemExit):
        sets.labeled(boards, "boards", frozenset(), ("b",))


def test_open_pictures_teach_no_tag():
    found = sets.opened()
    assert len(found.views) == len(found.keys) == 13 * sets.SQUARES_A_PICTURE
    assert (found.tags, len(found.dense)) == ([], 0)
    assert found.digest == sets.opened().digest


def test_a_part_is_scored_by_its_highest_cells_and_only_where_it_is_known():
    torch = pytest.importorskip("torch", reason="torch is for the machine with the GPU only")
    from tools.build_backbone.adapt.training import highest_loss

    scores = torch.full((2, 1, 4, 4), -4.0)
    targets, known = torch.zeros(2, 1, 4, 4), torch.ones(2, 1, 4, 4)
    targets[0, 0, 0, 0] = 1
    good = scores.clone()
    good[0, 0, 0] = 8.0
    assert highest_loss(good, targets, known) < highest_loss(scores, targets, known)
    assert highest_loss(-good, targets, known) > highest_loss(good, targets, known)
    part = known.clone()
    part[1, 0, 3, 3] = 0  # the thing may be there: the part does not count as one without it
    loud = good.clone()
    loud[1, 0] = 9.0
    assert torch.isclose(highest_loss(loud, targets, part), highest_loss(good, targets, part))
    assert highest_loss(loud, targets, known) > highest_loss(good, targets, known)


def test_vectors_in_torch_are_those_of_the_recipe():
    torch = pytest.importorskip("torch", reason="torch is for the machine with the GPU only")
    from tools.build_backbone.adapt.vectors import joined, whole_vectors
    from tools.build_backbone.joined import joined_cells
    from triage.features.pooling import whole_vector

    rng = np.random.default_rng(4)
    maps = [
        (rng.random((1280, n, n), np.float32), rng.random((672, 2 * n, 2 * n), np.float32)) for n in (2, 3, 4)
    ]
    pairs = [tuple(torch.from_numpy(one)[None] for one in pair) for pair in maps]
    assert (
        np.abs(whole_vectors(pairs[:2], pairs[2])[0].numpy() - whole_vector(maps[:2], maps[2])).max() < 1e-6
    )
    assert np.abs(joined(pairs[2])[0].numpy() - joined_cells(*maps[2])).max() < 1e-6


def test_a_second_view_is_the_photo_mirrored_and_mildly_relit():
    rgb = np.random.default_rng(3).integers(60, 200, (32, 64, 3)).astype(np.uint8)
    (small,), cells = second_view(([rgb], rgb), 5)
    assert np.array_equal(small, cells)
    away = np.abs(small.astype(float) - rgb[:, ::-1]).mean()
    assert 0 < away < 40 < np.abs(small.astype(float) - rgb).mean()
    assert np.array_equal(second_view(([rgb], rgb), 5)[1], cells)


def test_what_a_made_picture_hardly_shows_is_unknown():
    masks = np.zeros((3, len(surfaces.TAGS), 48, 48), np.uint8)
    crack = surfaces.TAGS.index("crack")
    masks[0, crack, 0, 0], masks[1, crack, 0, 0] = 200, 20
    assert sets.shown(masks)[:, crack].tolist() == [1, sets.UNKNOWN, 0]


def rows_of(network, figures):
    return [
        {"network": network, "set": "boards", "tag": "resin", "positives": 5}
        | {"recipe": "whole", "draw": draw, "ap": ap}
        for draw, ap in enumerate(figures)
    ]


def test_the_table_pairs_figures_by_draw():
    rows = rows_of("original", [0.5, 0.7, 0.9]) + rows_of("other", [0.6, 0.8])
    (pairs,) = paired(rows, "original")[("other", "boards", "whole")].values()
    assert pairs.tolist() == [[0.5, 0.6], [0.7, 0.8]]
    assert "+0.1000 (+0.1000 to +0.1000)" in table(rows)


def test_the_interval_covers_the_mean_of_means():
    rng = np.random.default_rng()
    differences = [rng.normal(0.3, 1, 10) for _ in range(4)]
    low, high = interval(differences)
    assert low < np.mean([one.mean() for one in differences]) < high


def test_torch_runs_the_graph_as_the_file_says_and_gives_the_same_bytes_back():
    pytest.importorskip("torch", reason="torch is for the machine with the GPU only")
    import onnx
    import onnxruntime
    import torch

    from tools.build_backbone.adapt.network import FoldedNetwork, exported
    from triage.features import models_dir

    path = models_dir() / "efficientnet-lite0.onnx"
    model = onnx.load(path)
    network = FoldedNetwork(model)
    picture = np.random.default_rng(2).normal(size=(1, 3, 64, 96)).astype(np.float32)
    with torch.no_grad():
        found = network(torch.from_numpy(picture))
    session = onnxruntime.InferenceSession(path.read_bytes(), providers=["CPUExecutionProvider"])
    for one, wanted in zip(
        found, session.run(["last_map", "earlier_map"], {"picture": picture}), strict=True
    ):
        assert np.abs(one.numpy() - wanted).max() < 1e-4
    assert exported(model, network.state_dict()) == path.read_bytes()
