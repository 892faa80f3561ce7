"""What was removed for good is gone: killed at every step, in every byte of the library's folder."""

import json
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from common import draw_photo
from killing import killed_at_every_step

from triage.errors import BadInput, NotWritten
from triage.imaging.kept import rendition_of
from triage.ingest import ingest
from triage.ingest.moving import forget
from triage.label.rows import give_labels
from triage.library import Library, queries, removal
from triage.library.backup import backup, copies_that_hold, purge_copies, restore
from triage.library.verify import verify

COMMAND = [str(Path(sys.executable).parent / "deck-triage")]
TEXTS = (b"PLANTED-NOTE", b"PLANTED-PLACE", b"PLANTED-SERIAL", b"46.9005")
SHARED_PLACE = "joist 3, SHARED-PLACE"


@pytest.fixture
def planted(tmp_path):
    """A library of three photos; the first one carries planted texts, and everything is cached of it."""
    exif = {"gps": (46.9005, 7.4111), "serial": "PLANTED-SERIAL", "taken_at": "2026:05:04 10:00:00"}
    for number in range(3):
        block = {"gps": exif["gps"], 0xA431: exif["serial"]} if number == 0 else {}
        path = tmp_path / "card" / "D-1" / f"IMG_{number}.jpg"
        draw_photo(path, seed=70 + number, exif={**block, "taken_at": exif["taken_at"]})
    with Library.create(tmp_path / "library") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
        first, second, _ = queries.photos(library)
        label(library, first, "PLANTED-PLACE at the house", "PLANTED-NOTE of the owner")
        label(library, first, SHARED_PLACE, None)
        label(library, second, SHARED_PLACE, None)
        rendition_of(library, first.sha)
        for cache in ("thumbs", "vectors/0123456789abcdef"):
            file = library.caches / cache / first.sha[:2] / f"{first.sha}.bin"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(b"PLANTED-NOTE in a cache")
        yield library


def label(library, photo, place, note):
    tags = {"missing-hanger": "present"}
    give_labels(library, [(photo, tags)], by="ann", place=place, note=note)


def planted_in(folder: Path, needles) -> dict[str, list[bytes]]:
    """Return where in a folder any of the planted bytes are, in names too."""
    found: dict[str, list[bytes]] = {}
    for path in sorted(folder.rglob("*")):
        data = path.read_bytes() if path.is_file() else b""
        there = [needle for needle in needles if needle in data]
        if there:
            found[str(path.relative_to(folder))] = there
    return found


def pieces(path: Path) -> list[bytes]:
    """Return stretches of a picture's own data that no other file has."""
    data = path.read_bytes()
    return [data[at : at + 48] for at in range(len(data) // 2, len(data) - 48, len(data) // 8)]


def needles_of(library, sha):
    return [*TEXTS, *pieces(library.original(sha)), *pieces(library.renditions.path(sha))]


def test_killed_at_every_step_nothing_of_a_removed_photo_stays(planted, tmp_path):
    first = queries.photos(planted)[0]
    needles = needles_of(planted, first.sha)
    assert set(TEXTS) <= {one for found in planted_in(planted.path, needles).values() for one in found}
    planted.close()
    copies = killed_at_every_step("forget", planted.path, tmp_path / "copies", first.sha)
    assert len(copies) > 25  # every deletion, renaming, flush and statement was a step
    removed = 0
    for copy in copies:
        with Library.open(copy) as library:
            if queries.photo_count(library) == 3:  # killed before it was recorded: the person is told nothing
                forget(library, [queries.find_photo(library, first.sha)], by="ann")
            else:
                removed += 1
            assert library.not_removed is None
            assert planted_in(copy, needles) == {}, copy
            assert removal.pending(library.engine) == {}
            assert [one.place for one in queries.labels(library, photo=queries.photos(library)[0].sha)] == [
                SHARED_PLACE
            ]
            if removed % 5 == 1:
                checked = verify(library)
                assert (checked.damaged, checked.missing, checked.strays) == ([], [], [])
        shutil.rmtree(copy)
    assert removed > 15


def test_a_removed_photo_is_not_put_back_by_the_same_folder(planted, tmp_path):
    first = queries.photos(planted)[0]
    needles = needles_of(planted, first.sha)
    forget(planted, [first], by="ann")
    again = ingest(planted, [tmp_path / "card"], by="ann", engine="here")
    assert "removed from the library for good" in again.set_aside[0].reason
    assert planted_in(planted.path, needles) == {}
    with pytest.raises(BadInput, match="was removed from this library for good"):
        queries.find_photo(planted, first.path_name)


def test_a_photo_that_is_removed_while_it_is_taken_in_again_is_deleted(planted, tmp_path, monkeypatch):
    """The reader put the original before the removal was known; the mark is set again."""
    from triage.ingest import ingest as room

    first = queries.photos(planted)[0]
    forget(planted, [first], by="ann")
    monkeypatch.setattr(room, "frozenset", lambda _: frozenset(), raising=False)
    ingest(planted, [tmp_path / "card"], by="ann", engine="here")
    assert removal.files_of(planted.originals.folder, first.sha) == []
    assert not planted.renditions.path(first.sha).exists()


def test_where_something_cannot_be_deleted_it_is_said_and_done_later(planted, monkeypatch):
    first = queries.photos(planted)[0]
    needles = needles_of(planted, first.sha)
    original = planted.original(first.sha)
    unlink = Path.unlink

    def refused(path, missing_ok=False):
        if path == original:
            raise PermissionError(13, "Permission denied", str(path))
        unlink(path, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", refused)
    with pytest.raises(NotWritten, match="marked as removed, but not everything could be deleted") as caught:
        forget(planted, [first], by="ann")
    assert "Permission denied" in str(caught.value)
    with Library.open(planted.path) as again:
        assert "Permission denied" in again.not_removed
        assert len(queries.photos(again)) == 2  # reading goes on
    monkeypatch.undo()
    label(planted, queries.photos(planted)[0], None, None)  # the next write deletes it
    assert planted_in(planted.path, needles) == {}


def test_copies_and_backups_that_hold_it_are_named_and_purged(planted, tmp_path):
    first, second, _ = queries.photos(planted)
    needles = needles_of(planted, first.sha)
    copies = planted.path / "copies"
    copies.mkdir()
    source = sqlite3.connect(planted.path / "library.sqlite")
    target = sqlite3.connect(copies / "format-2-old.sqlite")
    with closing(source), closing(target):
        source.backup(target)
    backup(planted, tmp_path / "season.backup")
    words = ["forget", first.path_name, "--by", "ann", "-L", planted.path, "--json"]
    done = subprocess.run([*COMMAND, *map(str, words)], capture_output=True, text=True, check=False)
    assert done.returncode == 3, done.stderr
    held = [str(copies / "format-2-old.sqlite"), str(tmp_path / "season.backup")]
    assert json.loads(done.stdout)["copies"] == held
    assert all(name in done.stderr for name in held)
    words = ["forget", "--copies", "-L", planted.path]
    done = subprocess.run([*COMMAND, *map(str, words)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert copies_that_hold(planted, {first.sha}) == []
    assert planted_in(planted.path, needles) == {}
    assert not any(needle in (tmp_path / "season.backup").read_bytes() for needle in needles)
    restore(tmp_path / "season.backup", tmp_path / "again")
    with Library.open(tmp_path / "again") as again:
        assert verify(again).missing == []
        assert [one.sha for one in queries.photos(again)][0] == second.sha


def test_a_backup_leaves_out_what_no_photo_owns(planted, tmp_path):
    stray = planted.originals.folder / "ab" / f"{'ab' * 32}.jpg"
    stray.parent.mkdir(exist_ok=True)
    stray.write_bytes(b"left by a killed ingest")
    assert verify(planted).strays == [stray.relative_to(planted.path).as_posix()]
    backup(planted, tmp_path / "b.backup")
    with zipfile.ZipFile(tmp_path / "b.backup") as archive:
        assert sum(name.startswith("originals/") for name in archive.namelist()) == 3


def test_a_merge_brings_no_text_of_a_removed_photo_back(planted, tmp_path):
    from triage.exchange.merge import merge_libraries

    first = queries.photos(planted)[0]
    needles = needles_of(planted, first.sha)
    backup(planted, tmp_path / "b.backup")
    restore(tmp_path / "b.backup", tmp_path / "other")
    with Library.open(tmp_path / "other") as other:
        label(other, queries.photos(other)[0], "PLANTED-PLACE said later", "PLANTED-NOTE said later")
    forget(planted, [first], by="ann")
    merge_libraries(planted, [tmp_path / "other"])
    assert planted_in(planted.path, needles) == {}
    assert len(queries.photos(planted)) == 2


def test_a_purge_writes_a_backup_that_holds_all_the_rest(planted, tmp_path):
    backup(planted, tmp_path / "b.backup")
    first = queries.photos(planted)[0]
    forget(planted, [first], by="ann")
    purge_copies(planted, copies_that_hold(planted, {first.sha}))
    restore(tmp_path / "b.backup", tmp_path / "again")
    with Library.open(tmp_path / "again") as again:
        assert list(again.events()) == list(planted.events())
