"""No name of a file or folder stops a batch: what cannot be taken is a row with its reason, exit code 3."""

import json
import os
import shutil
import zipfile
from pathlib import Path

import pytest
import warm
from common import draw_photo

from triage.ingest import ingest
from triage.library import Library


def call(*words):
    done = warm.call(*words, "--by", "ann")
    assert "Traceback" not in done.stderr, done.stderr
    return done


@pytest.fixture
def place(tmp_path):
    Library.create(tmp_path / "lib").close()
    draw_photo(tmp_path / "card" / "D-1" / "a.jpg", seed=1)
    return tmp_path


def needs_bytes(place: Path, name: bytes) -> bytes:
    """Return a path of the card with a name in bytes; skips where the file system takes none."""
    path = os.fsencode(place / "card") + b"/" + name
    try:
        os.makedirs(os.path.dirname(path), exist_ok=True)  # noqa: PTH103, PTH120 - bytes
    except OSError:
        pytest.skip("this file system takes names in UTF-8 only")
    return path


@pytest.mark.parametrize("name", [b"Caf\xe9/b.jpg", b"D-2/b\xe9.jpg", b"D-2/\xff\xfe/b.jpg", b"\xe9.jpg"])
def test_a_badly_encoded_name_is_set_aside_and_the_rest_is_taken(place, name):
    shutil.copy(draw_photo(place / "other.jpg", seed=2), needs_bytes(place, name))
    done = call("ingest", place / "card", "-L", place / "lib", "--json")
    assert done.returncode == 3, done.stderr
    found = json.loads(done.stdout)
    assert found["added"] == 1
    (aside,) = found["set_aside"]
    assert "\\xe9" in aside["file"] or "\\xff" in aside["file"]
    assert "not valid UTF-8" in aside["reason"]
    again = call("ingest", place / "card", "-L", place / "lib", "--json")
    assert json.loads(again.stdout)["known"] == 1


def test_a_badly_encoded_folder_is_taken_under_a_deck_that_is_named(place):
    path = needs_bytes(place, b"Caf\xe9/b.jpg")
    shutil.copy(draw_photo(place / "other.jpg", seed=2), path)
    folder = os.fsencode(place / "card") + b"/Caf\xe9"
    assert call("ingest", folder, "-L", place / "lib").returncode == 3
    done = call("ingest", folder, "--deck", "D-9", "-L", place / "lib")
    assert done.returncode == 0, done.stderr


def test_a_folder_that_cannot_be_read_is_named(place, monkeypatch):
    draw_photo(place / "card" / "D-2" / "b.jpg", seed=2)
    scandir = os.scandir

    def refused(path="."):
        if str(path).endswith("D-2"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refused)
    with Library.open(place / "lib") as library:
        found = ingest(library, [place / "card"], by="ann", engine="here")
    assert len(found.added) == 1
    (aside,) = found.set_aside
    assert aside.file.endswith("card/D-2")
    assert "cannot be read: Permission denied" in aside.reason


@pytest.mark.parametrize("length", [251, 255])
def test_a_name_of_every_length_is_taken_and_exported(place, length):
    draw_photo(place / "card" / "D-1" / ("n" * (length - 4) + ".jpg"), seed=2)
    draw_photo(place / "card" / "D-1" / ("n" * (length - 5) + "m.jpg"), seed=3)
    assert call("ingest", place / "card", "-L", place / "lib").returncode == 0
    for kind in ("coco", "xmp"):
        done = call_export(place, kind)
        assert done.returncode == 0, done.stderr
        assert len(list((place / kind).rglob("*.jpg"))) == 3


def call_export(place, kind):
    words = ["export", place / kind, "--as", kind, "-L", place / "lib"]
    return warm.call(*words)


def test_a_zip_with_a_name_that_no_file_may_have_is_taken_but_for_it(place):
    with zipfile.ZipFile(place / "card.zip", "w") as archive:
        archive.write(place / "card" / "D-1" / "a.jpg", "D-1/a.jpg")
        archive.write(place / "card" / "D-1" / "a.jpg", f"D-1/{'n' * 300}.jpg")
    done = call("ingest", place / "card.zip", "-L", place / "lib", "--json")
    assert done.returncode == 3, done.stderr
    found = json.loads(done.stdout)
    assert found["added"] == 1
    assert "cannot be unpacked" in found["set_aside"][0]["reason"]
