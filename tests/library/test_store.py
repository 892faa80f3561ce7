"""Originals and whole files; opening, finding, verifying, backing up."""

import os
import shutil
import zipfile
from pathlib import Path

import pytest

from triage.errors import BadInput, Damaged, NoLibrary
from triage.imaging.kept import rendition_of
from triage.library import Library, queries
from triage.library.backup import backup, restore
from triage.library.store import Originals, sha256_of, write_whole
from triage.library.verify import verify


def test_an_original_is_read_only_and_its_bytes_are_those_of_the_source(tmp_path):
    source = tmp_path / "a.jpg"
    source.write_bytes(b"photo")
    sha = sha256_of(source)
    kept = Originals(tmp_path / "originals").add(source, sha, ".jpg")
    assert kept.read_bytes() == b"photo"
    assert not kept.stat().st_mode & 0o222


def test_a_file_that_changed_while_it_was_read_is_not_kept(tmp_path):
    source = tmp_path / "a.jpg"
    source.write_bytes(b"photo")
    originals = Originals(tmp_path / "originals")
    with pytest.raises(OSError, match="changed while it was read"):
        originals.add(source, "0" * 64, ".jpg")
    assert list(originals.all()) == []
    assert not list((tmp_path / "originals").rglob("*.tmp"))


def test_a_failed_write_leaves_the_old_file_and_nothing_half(tmp_path, monkeypatch):
    target = tmp_path / "x.toml"
    write_whole(target, b"old")

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["x.toml"]


def test_a_folder_that_is_no_library_is_refused_with_the_mend(tmp_path):
    with pytest.raises(NoLibrary, match="holds no library.toml") as caught:
        Library.open(tmp_path)
    assert "deck-triage new" in caught.value.hint


def test_a_library_of_a_newer_format_is_refused(tmp_path):
    Library.create(tmp_path / "lib").close()
    toml = tmp_path / "lib" / "library.toml"
    toml.write_text(toml.read_text().replace("format = ", "format = 9"))
    with pytest.raises(Damaged, match="newer deck-triage"):
        Library.open(tmp_path / "lib")


def test_a_folder_with_something_in_it_is_no_place_for_a_new_library(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(BadInput, match="is not empty"):
        Library.create(tmp_path)


def test_the_nearest_library_upward_is_found(tmp_path):
    Library.create(tmp_path / "lib").close()
    deep = tmp_path / "lib" / "a" / "b"
    deep.mkdir(parents=True)
    assert Library.find_upward(deep) == tmp_path / "lib"


@pytest.mark.skipif(os.getuid() != 0, reason="only root can give a file to another user")
def test_a_library_of_another_user_is_not_found_upward(tmp_path):
    Library.create(tmp_path / "lib").close()
    os.chown(tmp_path / "lib" / "library.toml", 12345, 12345)
    assert Library.find_upward(tmp_path / "lib") is None


def test_photos_are_named_by_hash_prefix_by_deck_and_name_and_by_a_unique_name(library):
    one = queries.photos(library, "D-17")[0]
    assert queries.find_photo(library, one.sha[:8]).sha == one.sha
    assert queries.find_photo(library, "D-17/IMG_0410.jpg").sha == one.sha
    with pytest.raises(BadInput, match="names 2 photos: D-17/IMG_0410.jpg, D-18/IMG_0410.jpg"):
        queries.find_photo(library, "IMG_0410.jpg")
    with pytest.raises(BadInput) as caught:
        queries.find_photo(library, "D-17/IMG_0419.jpg")
    assert "Did you mean D-17/IMG_041" in caught.value.hint


def test_verify_finds_a_flipped_bit_and_a_missing_original(library):
    assert verify(library).damaged == []
    first, second = (library.original(photo.sha) for photo in queries.photos(library)[:2])
    first.chmod(0o644)
    data = bytearray(first.read_bytes())
    data[100] ^= 1
    first.write_bytes(data)
    second.unlink()
    found = verify(library)
    assert len(found.damaged) == 1
    assert "bytes were changed" in found.damaged[0]
    assert len(found.missing) == 1


def test_mend_rebuilds_folds_and_caches(library):
    from sqlalchemy import text

    before = queries.photos(library)
    with library.engine.connect() as connection:
        connection.execute(text("DELETE FROM placing"))
    assert any("event log do not match" in one for one in verify(library).damaged)
    assert verify(library, mend=True).mended
    assert queries.photos(library) == before
    assert verify(library).damaged == []
    assert rendition_of(library, before[0].sha).exists()


def test_a_restored_library_has_the_same_events_and_originals(library, tmp_path):
    count = backup(library, tmp_path / "b.zip")
    assert count >= 8
    restore(tmp_path / "b.zip", tmp_path / "again")
    with Library.open(tmp_path / "again") as again:
        assert list(again.events()) == list(library.events())
        assert [again.original(p.sha).read_bytes() for p in queries.photos(again)] == [
            library.original(p.sha).read_bytes() for p in queries.photos(library)
        ]


def test_a_backup_with_a_changed_byte_is_refused_and_nothing_is_left(library, tmp_path):
    backup(library, tmp_path / "b.zip")
    data = bytearray((tmp_path / "b.zip").read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / "b.zip").write_bytes(data)
    with pytest.raises(Damaged):
        restore(tmp_path / "b.zip", tmp_path / "again")
    assert not (tmp_path / "again").exists()
    assert not list(tmp_path.glob(".again*"))


@pytest.mark.parametrize("name", ["../evil", "/etc/evil", "originals/../../evil", "elsewhere/x"])
def test_a_backup_cannot_write_outside_its_folder(library, tmp_path, name):
    import json

    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as archive:
        archive.writestr(name, b"x")
        archive.writestr("manifest.json", json.dumps({"sha256": {name: "0" * 64}}))
    with pytest.raises(Damaged, match="does not belong in a library"):
        restore(tmp_path / "evil.zip", tmp_path / "again")
    assert not (tmp_path / "evil").exists()
    assert not Path("/etc/evil").exists()


def test_a_library_may_move(library, tmp_path):
    shas = [photo.sha for photo in queries.photos(library)]
    library.close()
    shutil.move(tmp_path / "library", tmp_path / "moved")
    with Library.open(tmp_path / "moved") as moved:
        assert [photo.sha for photo in queries.photos(moved)] == shas
        assert verify(moved).damaged == []
