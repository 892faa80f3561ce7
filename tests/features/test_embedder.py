"""Vectors: their shapes, units and places, the same every time, and never from an enlarged photo."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pytest
import skimage.data
from embed_photos import jpeg
from PIL import Image

from triage.errors import BadPhoto
from triage.features import Embedder, PhotoVectors, default_recipe, make_recipe
from triage.features.pooling import whole_vector
from triage.features.projection import Projection


@pytest.fixture(scope="module")
def vectors(embedder: Embedder, photos: dict[str, bytes]) -> PhotoVectors:
    return embedder.embed(photos["coffee"])


def test_shapes(embedder: Embedder, vectors: PhotoVectors) -> None:
    recipe = embedder.recipe
    assert vectors.whole.shape == (recipe.whole_dim,)
    assert vectors.whole.dtype == np.float32
    # 160 x 107 pixels: cells at twice the native size, 320 x 224 of stride 32
    assert vectors.grid == (7, 10)
    assert vectors.cells.shape == (7, 10, recipe.cell_dim)
    assert vectors.cells.dtype == np.uint8
    assert vectors.cells_float().shape == (70, recipe.cell_dim)
    assert vectors.recipe_sha == recipe.sha


def test_blocks_have_unit_length(embedder: Embedder, vectors: PhotoVectors) -> None:
    blocks = np.split(vectors.whole, np.cumsum(embedder.recipe.whole_blocks)[:-1])
    for block in blocks:
        assert np.linalg.norm(block) == pytest.approx(1, abs=2e-3)


def test_cells_tile_the_photo(vectors: PhotoVectors) -> None:
    boxes = vectors.cell_boxes()
    centers = boxes[:, :2] + boxes[:, 2:] / 2
    assert boxes[:, 2:].prod(axis=1).sum() == pytest.approx(1, abs=1e-5)
    assert boxes[0, :2].tolist() == [0, 0]
    np.testing.assert_allclose(boxes[-1, :2] + boxes[-1, 2:], 1, atol=1e-6)
    np.testing.assert_allclose(centers[1] - centers[0], [0.1, 0], atol=1e-6)


def test_the_same_bytes_give_the_same_vectors(
    embedder: Embedder, photos: dict[str, bytes], vectors: PhotoVectors
) -> None:
    again = Embedder(embedder.recipe).embed(photos["coffee"])
    np.testing.assert_array_equal(again.whole, vectors.whole)
    np.testing.assert_array_equal(again.cells, vectors.cells)


def test_other_photos_are_farther_than_the_same_one_saved_worse(
    embedder: Embedder, photos: dict[str, bytes], vectors: PhotoVectors
) -> None:
    small = np.asarray(Image.open(io.BytesIO(photos["coffee"])))
    worse = embedder.embed(jpeg(small, 150)).whole
    other = embedder.embed(photos["chelsea"]).whole
    assert worse @ vectors.whole > other @ vectors.whole + 0.3


def test_a_cell_shows_what_lies_there(embedder: Embedder) -> None:
    """Pasting one photo into a corner of another changes the cells there most."""
    base = np.asarray(skimage.data.coffee())[:384, :576].copy()
    changed = base.copy()
    changed[:128, :128] = np.asarray(skimage.data.chelsea())[:128, :128]
    first, second = (embedder.embed(jpeg(picture)) for picture in (base, changed))
    difference = np.linalg.norm(first.cells_float() - second.cells_float(), axis=1)
    boxes = first.cell_boxes()
    inside = (boxes[:, :2] + boxes[:, 2:] / 2 < [128 / 576, 128 / 384]).all(axis=1)
    assert difference[inside].mean() > 4 * difference[~inside].mean()


def test_orientation_is_obeyed(embedder: Embedder) -> None:
    upright = np.asarray(skimage.data.chelsea())[:, :400]
    exif = Image.Exif()
    exif[0x0112] = 6
    turned = jpeg(np.ascontiguousarray(np.rot90(upright)), exif=exif)
    straight = embedder.embed(jpeg(upright))
    assert embedder.embed(turned).grid == straight.grid
    assert embedder.embed(turned).whole @ straight.whole > 0.97 * straight.whole @ straight.whole


def test_whole_vector_by_its_definition() -> None:
    rng = np.random.default_rng(8)

    def maps(rows: int) -> tuple[np.ndarray, np.ndarray]:
        return rng.random((5, rows, 3), np.float32), rng.random((4, 2 * rows, 6), np.float32)

    small, large, cells = maps(2), maps(3), maps(4)
    unit = lambda v: v / np.linalg.norm(v)  # noqa: E731
    mean = lambda m: unit(m.mean(axis=(1, 2)))  # noqa: E731
    top = lambda m: m.max(axis=(1, 2))  # noqa: E731
    expected = [
        mean(small[0]) + mean(large[0]) + mean(cells[0]),
        np.maximum(top(small[0]), top(large[0])),
        top(cells[0]),
        mean(large[1]) + mean(cells[1]),
        np.maximum(top(large[1]), top(cells[1])),
    ]
    whole = whole_vector([small, large], cells)
    np.testing.assert_allclose(whole, np.concatenate([unit(block) for block in expected]), rtol=1e-5)


def test_the_reference_recipe_is_near_and_never_mixed(photos: dict[str, bytes]) -> None:
    exact = make_recipe("efficientnet-lite0.onnx", "cell-projection.npz")
    small = default_recipe()
    assert exact.sha != small.sha
    first, second = Embedder(exact).embed(photos["astronaut"]), Embedder(small).embed(photos["astronaut"])
    cosine = first.whole @ second.whole / np.linalg.norm(first.whole) / np.linalg.norm(second.whole)
    assert 0.8 < cosine < 0.999
    assert first.recipe_sha != second.recipe_sha


@pytest.mark.parametrize("size", [(1, 1), (3, 200), (33, 31)])
def test_tiny_photos(embedder: Embedder, size: tuple[int, int]) -> None:
    found = embedder.embed(jpeg(np.full((*size, 3), 128, np.uint8)))
    assert np.isfinite(found.whole).all()
    assert found.cells.size >= embedder.recipe.cell_dim


def test_bad_photo(embedder: Embedder, photos: dict[str, bytes]) -> None:
    with pytest.raises(BadPhoto):
        embedder.embed(photos["coffee"][:500])


def test_recipe_hash_covers_every_part() -> None:
    recipe = default_recipe()
    assert recipe == make_recipe()
    others = [make_recipe(views=(224,)), make_recipe(cell_long_side_px=1024)]
    assert len({recipe.sha, *(other.sha for other in others)}) == 3
    with pytest.raises(dataclasses.FrozenInstanceError):
        recipe.sha = "x"  # type: ignore[misc]


def test_bytes_of_a_photo_stay_below_256_kb() -> None:
    # the largest grid is a square photo's: cells C, whole float16, scales
    recipe = default_recipe()
    side = recipe.cell_long_side_px // 32
    assert side * side * recipe.cell_dim + 2 * recipe.whole_dim + 8 * recipe.cell_dim + 200 <= 256_000


def projection_of(
    matrix: np.ndarray, scale: list[float], offset: list[float], shift: list[float]
) -> Projection:
    numbers = [np.array(values, np.float32) for values in (shift, scale, offset)]
    return Projection(np.ascontiguousarray(matrix.T, np.float32), *numbers, sha="")


def test_quantizing_by_hand() -> None:
    projection = projection_of(np.eye(2), [0.5, 0.01], [-2.0, 0.0], [1.0, 0.0])
    # (3 - 1 + 2) / 0.5 = 8; 0.034 / 0.01 = 3.4 -> 3; clipped at 0 and 255
    cells = np.array([[3.0, 0.034], [-99.0, 99.0]], np.float32)
    assert projection.quantize(cells.T).tolist() == [[8, 3], [0, 255]]


def test_cells_are_the_joined_cells_projected() -> None:
    rng = np.random.default_rng(5)
    last = rng.random((6, 2, 3), np.float32)
    earlier = rng.random((4, 4, 6), np.float32)
    matrix = rng.normal(size=(10, 3)).astype(np.float32)
    projection = projection_of(matrix, [0.01] * 3, [-1.0] * 3, [0.2, 0.1, 0.0])
    # by the definition: unit-length parts side by side, 2 x 2 maximum, then the matrix
    pooled = earlier.reshape(4, 2, 2, 3, 2).max(axis=(2, 4)).reshape(4, -1).T
    flat = last.reshape(6, -1).T
    parts = [part / np.linalg.norm(part, axis=1, keepdims=True) for part in (flat, pooled)]
    joined = np.concatenate(parts, axis=1)
    expected = ((joined @ matrix - [0.2, 0.1, 0.0] + 1.0) / 0.01).round().clip(0, 255)
    assert np.abs(projection.cells(last, earlier).reshape(-1, 3) - expected).max() <= 1
