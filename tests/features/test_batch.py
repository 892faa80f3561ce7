"""Many photos: nothing is computed twice, one bad photo costs only itself, stopping keeps what was done."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

from triage.batch import Failed, Ok
from triage.errors import Cancelled, TriageError
from triage.features import Embedder, VectorStore, embed_many, make_recipe

Item = tuple[str, Path]


@pytest.fixture
def items(tmp_path: Path, photos: dict[str, bytes]) -> list[Item]:
    found = []
    for name, data in photos.items():
        path = tmp_path / f"{name}.jpg"
        path.write_bytes(data)
        found.append((sha256(data).hexdigest(), path))
    return found


@pytest.fixture
def store(tmp_path: Path) -> VectorStore:
    return VectorStore(tmp_path / "cache")


def count_embeds(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    seen: list[object] = []
    original = Embedder.embed

    def counted(self: Embedder, source: object) -> object:
        seen.append(source)
        return original(self, source)  # type: ignore[arg-type]

    monkeypatch.setattr(Embedder, "embed", counted)
    return seen


def test_in_order_and_only_once(
    items: list[Item], store: VectorStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = count_embeds(monkeypatch)
    first = list(embed_many(items, store))
    assert [done.item for done in first] == items
    assert len(seen) == 3
    second = list(embed_many(items, store))
    assert len(seen) == 3
    for one, two in zip(first, second, strict=True):
        assert isinstance(one, Ok)
        assert isinstance(two, Ok)
        np.testing.assert_array_equal(one.value.whole, two.value.whole)
        np.testing.assert_array_equal(one.value.cells, two.value.cells)


@pytest.mark.parametrize("workers", [1, 3])
def test_the_number_of_workers_changes_nothing(
    items: list[Item], store: VectorStore, embedder: Embedder, workers: int
) -> None:
    for done in embed_many(items, store, workers=workers):
        assert isinstance(done, Ok)
        np.testing.assert_array_equal(done.value.cells, embedder.embed(done.item[1]).cells)


def test_a_damaged_cache_file_is_computed_again(items: list[Item], store: VectorStore) -> None:
    before = list(embed_many(items, store))
    path = store.path(items[1][0])
    path.write_bytes(path.read_bytes()[:-5])
    after = list(embed_many(items, store))
    assert isinstance(before[1], Ok)
    assert isinstance(after[1], Ok)
    np.testing.assert_array_equal(before[1].value.cells, after[1].value.cells)
    assert store.get(items[1][0]) is not None


def test_a_bad_photo_is_a_reason_not_an_end(items: list[Item], store: VectorStore, tmp_path: Path) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"this is a text")
    gone = tmp_path / "gone.jpg"
    mixed = [items[0], ("0" * 64, bad), ("1" * 64, gone), items[1]]
    done = list(embed_many(mixed, store))
    assert [type(each) for each in done] == [Ok, Failed, Failed, Ok]
    assert isinstance(done[1], Failed)
    assert "text file" in done[1].reason
    assert not store.has("0" * 64)


def test_stopping_keeps_what_was_done(items: list[Item], store: VectorStore) -> None:
    stopped = []

    def run() -> None:
        for done in embed_many(items, store, workers=1, cancel=lambda: bool(stopped)):
            stopped.append(done)

    with pytest.raises(Cancelled):
        run()
    assert len(stopped) == 1
    assert store.has(items[0][0])


def test_a_new_recipe_computes_each_photo_once_more_and_is_taken_up_where_it_was_stopped(
    items: list[Item], tmp_path: Path
) -> None:
    old, new = VectorStore(tmp_path, make_recipe(views=(224,))), VectorStore(tmp_path)
    list(embed_many(items, old))
    shas = [sha for sha, _path in items]
    assert new.missing(shas) == shas
    first = embed_many(items, new, workers=1)
    next(first)
    first.close()
    left = new.missing(shas)
    assert len(left) < len(shas)
    kept = new.path(shas[0]).stat().st_mtime_ns
    list(embed_many(items, new))
    assert new.missing(shas) == old.missing(shas) == []
    assert new.path(shas[0]).stat().st_mtime_ns == kept


def test_progress(items: list[Item], store: VectorStore) -> None:
    said: list[tuple[str, int, int | None]] = []
    list(embed_many(items, store, total=3, progress=lambda *words: said.append(words)))
    assert said == [("embed", 1, 3), ("embed", 2, 3), ("embed", 3, 3)]


def test_items_are_read_as_they_are_needed(items: list[Item], store: VectorStore) -> None:
    taken = []

    def endless() -> Iterator[Item]:
        while True:
            taken.append(1)
            yield items[len(taken) % 3]

    stream = embed_many(endless(), store, workers=2)
    for _ in range(20):
        next(stream)
    stream.close()
    assert len(taken) < 30


def test_nothing_to_do_loads_no_network(store: VectorStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("triage.features.batch.Embedder", None)
    assert list(embed_many([], store)) == []


def test_vectors_that_cannot_be_kept_end_the_batch(
    items: list[Item], store: VectorStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise TriageError("The disk is full.")

    monkeypatch.setattr(VectorStore, "put", full)
    with pytest.raises(TriageError, match="disk is full"):
        list(embed_many(items, store))
