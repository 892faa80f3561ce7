"""The cache: whole or not at all, damage is noticed, and it can be deleted at any time."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from triage.errors import BadInput, TriageError
from triage.features import PhotoVectors, VectorStore, default_recipe

SHA = "ab" * 32


def made_up(seed: int = 0) -> PhotoVectors:
    recipe = default_recipe()
    rng = np.random.default_rng(seed)
    return PhotoVectors(
        whole=rng.normal(size=recipe.whole_dim).astype(np.float16).astype(np.float32),
        cells=rng.integers(0, 255, (3, 4, recipe.cell_dim), dtype=np.uint8),
        cell_scale=rng.random(recipe.cell_dim, np.float32),
        cell_offset=rng.random(recipe.cell_dim, np.float32),
        recipe_sha=recipe.sha,
    )


@pytest.fixture
def store(tmp_path: Path) -> VectorStore:
    return VectorStore(tmp_path / "vectors")


def test_what_is_put_comes_back(store: VectorStore) -> None:
    vectors = made_up()
    assert store.get(SHA) is None
    assert not store.has(SHA)
    store.put(SHA, vectors)
    found = store.get(SHA)
    assert found is not None
    for name in ("whole", "cells", "cell_scale", "cell_offset"):
        np.testing.assert_array_equal(getattr(found, name), getattr(vectors, name))
    assert found.recipe_sha == vectors.recipe_sha
    assert store.has(SHA)


def test_missing_keeps_the_order(store: VectorStore) -> None:
    others = ["01" * 32, "02" * 32]
    assert store.missing([others[1], SHA, others[0]]) == [others[1], SHA, others[0]]
    store.put(SHA, made_up())
    assert store.missing([others[1], SHA, others[0]]) == [others[1], others[0]]


@pytest.mark.parametrize("place", [0, 10, 40, 73, 85, 95, 300, 5000, -1, -700])
def test_one_flipped_bit_anywhere_is_noticed(store: VectorStore, place: int) -> None:
    store.put(SHA, made_up())
    data = bytearray(store.path(SHA).read_bytes())
    data[place] ^= 4
    store.path(SHA).write_bytes(data)
    assert store.get(SHA) is None


@pytest.mark.parametrize("keep", [0, 5, 90, 4000, -1])
def test_half_a_file_counts_as_absent(store: VectorStore, keep: int) -> None:
    store.put(SHA, made_up())
    store.path(SHA).write_bytes(store.path(SHA).read_bytes()[:keep])
    assert store.get(SHA) is None
    if 0 <= keep < 4001:
        assert store.whole(SHA) is None


def test_a_file_under_another_photos_name_is_not_taken(store: VectorStore) -> None:
    store.put(SHA, made_up())
    other = "ab" + "cd" * 31
    shutil.copy(store.path(SHA), store.path(other))
    assert store.get(other) is None


def test_vectors_of_another_recipe_are_never_mixed(tmp_path: Path) -> None:
    recipe = default_recipe()
    second = replace(recipe, sha="0" * 64)
    first_store, second_store = VectorStore(tmp_path), VectorStore(tmp_path, second)
    first_store.put(SHA, made_up())
    assert second_store.get(SHA) is None
    with pytest.raises(BadInput, match="another recipe"):
        second_store.put(SHA, made_up())
    second_store.folder.mkdir()
    second_store.path(SHA).parent.mkdir()
    shutil.copy(first_store.path(SHA), second_store.path(SHA))
    assert second_store.get(SHA) is None


def test_whole_matrix(store: VectorStore) -> None:
    shas = [f"{number:064x}" for number in range(5)]
    for number, sha in enumerate(shas):
        store.put(sha, made_up(number))
    matrix = store.whole_matrix(shas[::-1])
    assert matrix.dtype == np.float32
    np.testing.assert_array_equal(matrix[0], made_up(4).whole)
    assert store.whole_matrix([]).shape == (0, default_recipe().whole_dim)
    with pytest.raises(BadInput, match="no vectors"):
        store.whole_matrix([SHA])


@pytest.mark.parametrize("name", ["", "short", "../" * 20 + "x" * 4, "AB" * 32, "ab" * 31 + "/x"])
def test_only_hashes_name_files(store: VectorStore, name: str) -> None:
    with pytest.raises(BadInput, match="not a photo hash"):
        store.path(name)


def test_a_crash_while_writing_leaves_no_half_file(
    store: VectorStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crash(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", crash)
    with pytest.raises(TriageError, match="No space left"):
        store.put(SHA, made_up())
    assert store.get(SHA) is None
    assert [path for path in store.folder.rglob("*") if path.is_file()] == []


def test_left_over_temporary_files_are_no_vectors(store: VectorStore) -> None:
    store.path(SHA).parent.mkdir(parents=True)
    (store.path(SHA).parent / ".abc.part").write_bytes(b"half")
    assert store.missing([SHA]) == [SHA]


def test_the_folder_may_be_deleted(store: VectorStore) -> None:
    store.put(SHA, made_up())
    shutil.rmtree(store.folder)
    assert store.get(SHA) is None
    store.put(SHA, made_up())
    assert store.get(SHA) is not None
    store.drop(SHA)
    store.drop(SHA)
    assert store.get(SHA) is None
