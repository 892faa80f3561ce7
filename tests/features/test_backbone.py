"""The frozen network is the one its card describes, sees what photos show, and is the same in OpenCV."""

from __future__ import annotations

import shutil
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np
import onnxruntime
import pytest
import skimage.data

from triage.errors import Damaged
from triage.features import default_recipe, models_dir
from triage.features.backbone import (
    Backbone,
    cell_view_px,
    multiplies_bytes_exactly,
    round_to_stride,
    square_view_px,
)
from triage.features.models import read_card, read_checked
from triage.imaging.decode import resample

NAME = "efficientnet-lite0.onnx"


def central_square(rgb: np.ndarray, side: int) -> np.ndarray:
    short = min(rgb.shape[:2])
    top, left = (rgb.shape[0] - short) // 2, (rgb.shape[1] - short) // 2
    square = rgb[top : top + short, left : left + short]
    return cv2.resize(square, (side, side), interpolation=cv2.INTER_AREA)


def test_hash_and_size_are_those_of_the_card() -> None:
    data = (models_dir() / NAME).read_bytes()
    card = read_card(NAME)
    assert sha256(data).hexdigest() == card["sha256"]
    assert 13_000_000 < len(data) == card["bytes"] < 20_000_000
    for key in ("source", "licence", "licence_as_found", "input", "outputs", "check"):
        assert card[key]


@pytest.mark.parametrize("damage", ["flip", "cut", "grow", "gone", "card"])
def test_a_tampered_network_is_refused(tmp_path: Path, damage: str) -> None:
    for name in (NAME, "efficientnet-lite0.toml"):
        shutil.copy(models_dir() / name, tmp_path / name)
    path = tmp_path / NAME
    data = bytearray(path.read_bytes())
    if damage == "flip":
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    elif damage == "cut":
        path.write_bytes(data[:-1])
    elif damage == "grow":
        path.write_bytes(data + b"\0")
    elif damage == "gone":
        path.unlink()
    else:
        (tmp_path / "efficientnet-lite0.toml").write_text("sha256 = 5 5")
    with pytest.raises(Damaged):
        read_checked(NAME, tmp_path)


# Class numbers of ImageNet-1k (ILSVRC 2012): 967 espresso; 281, 282, 285 tabby, tiger, Egyptian cat
@pytest.mark.parametrize(("photo", "expected"), [("coffee", {967}), ("chelsea", {281, 282, 285})])
def test_espresso_and_cat_are_recognized(photo: str, expected: set[int]) -> None:
    session = onnxruntime.InferenceSession(str(models_dir() / NAME), providers=["CPUExecutionProvider"])
    rgb = central_square(np.asarray(getattr(skimage.data, photo)()), 224)
    picture = ((rgb.astype(np.float32) - 127) / 128).transpose(2, 0, 1)[None]
    assert int(session.run(["classes"], {"picture": picture})[0].argmax()) in expected


@pytest.mark.parametrize("size", [(224, 224), (96, 160)])
def test_opencv_agrees(size: tuple[int, int]) -> None:
    height, width = size
    rgb = resample(np.asarray(skimage.data.coffee()), width, height)
    ours = Backbone(NAME).maps(rgb)
    network = cv2.dnn.readNetFromONNX(str(models_dir() / NAME))
    network.setInput(cv2.dnn.blobFromImage(rgb, 1 / 128, mean=(127, 127, 127)))
    theirs = dict(
        zip(
            ("last", "earlier", "classes"),
            network.forward(["last_map", "earlier_map", "classes"]),
            strict=True,
        )
    )
    assert ours[0].shape == (1280, height // 32, width // 32)
    assert ours[1].shape == (672, height // 16, width // 16)
    np.testing.assert_allclose(ours[0], theirs["last"][0], atol=1e-4)
    np.testing.assert_allclose(ours[1], theirs["earlier"][0], atol=1e-4)


def test_maps_are_relu6() -> None:
    last, earlier = Backbone(NAME).maps(central_square(np.asarray(skimage.data.astronaut()), 64))
    for found in (last, earlier):
        assert found.min() >= 0
        assert found.max() <= 6
        assert found.max() > 0


def test_the_8_bit_network_is_the_same_on_processors_without_vnni() -> None:
    """The exact way that such processors take (unsigned by unsigned bytes) gives the same numbers."""
    rgb = resample(np.asarray(skimage.data.astronaut()), 224, 224)
    name = default_recipe().backbone
    fast, exact = Backbone(name, exact=False).maps(rgb), Backbone(name, exact=True).maps(rgb)
    if not multiplies_bytes_exactly():
        pytest.skip("this processor has only the exact way")
    for one, other in zip(fast, exact, strict=True):
        np.testing.assert_array_equal(one, other)


def test_the_adapted_network_stays_near_the_one_that_it_comes_from() -> None:
    """Of a photo of everyday things: adapting moves the features, and 8 bits a little more, but not far."""
    rgb = resample(np.asarray(skimage.data.coffee()), 224, 224)
    name = default_recipe().backbone
    small, full = (Backbone(one).maps(rgb) for one in (name, NAME))
    for one, other in zip(small, full, strict=True):
        assert 0.8 < (one * other).sum() / np.linalg.norm(one) / np.linalg.norm(other) < 0.999


def test_the_card_of_the_adapted_network_says_what_it_was_adapted_on() -> None:
    card = read_card(default_recipe().backbone)
    assert card["source_sha256"] == read_card(NAME)["sha256"] != card["adapted_sha256"]
    assert card["bytes"] < 4_000_000
    assert card["left_out_sets"] == card["left_out_tags"] == card["left_out_decks"] == []
    assert card["settings"]["steps"] > 0
    assert set(card["pictures"]) >= {"boards", "demo", "made"}
    for source in card["pictures"].values():
        assert source["count"] > 0
        assert source["licence"]
        assert len(source["sha256"]) == 64


def test_whole_views_are_never_enlarged() -> None:
    assert square_view_px(448, 4000, 3000) == 448
    assert square_view_px(448, 512, 384) == 448
    assert square_view_px(448, 224, 200) == 224
    assert square_view_px(224, 5, 3) == 32


def test_cell_view_is_at_most_twice_the_native_size() -> None:
    assert cell_view_px(1344, 4000, 3000) == (1344, 1024)
    assert cell_view_px(1344, 400, 300) == (800, 608)
    assert cell_view_px(1344, 3000, 4000) == (1024, 1344)
    assert cell_view_px(1344, 10_000, 10) == (1344, 32)
    assert round_to_stride(1) == 32
