"""Other people on the machine cannot read a library, its backups or its reports."""

import os
import stat

import pytest
import warm
from common import draw_photo

pytestmark = pytest.mark.skipif(os.name != "posix", reason="modes are those of Unix")


def call(*words):
    done = warm.call(*words, umask=0)
    assert done.returncode in (0, 3), done.stderr


def everything(place):
    draw_photo(place / "card" / "D-1" / "a.jpg", seed=1)
    call("ingest", place / "card", "--by", "ann", "-L", place / "lib")
    call("label", "set", "a.jpg", "missing-hanger=present", "--by", "ann", "-L", place / "lib")
    call("assess", "-L", place / "lib")
    call("backup", place / "b.backup", "-L", place / "lib")
    call("restore", place / "b.backup", place / "again")
    call("report", "--out", place / "report", "-L", place / "lib")
    call("export", place / "export", "--as", "coco", "-L", place / "lib")
    for name in ("lib", "again", "report", "export"):
        yield from [place / name, *(place / name).rglob("*")]
    yield place / "b.backup"


def test_all_that_is_written_is_its_owners_alone(tmp_path):
    call("new", tmp_path / "lib")
    written = list(everything(tmp_path))
    assert len(written) > 25
    open_ones = [(path, oct(path.stat().st_mode)) for path in written if path.stat().st_mode & 0o077]
    assert open_ones == []


def test_a_shared_library_is_open_to_its_group_and_to_nobody_else(tmp_path):
    call("new", tmp_path / "lib", "--shared")
    written = list(everything(tmp_path))
    assert [path for path in written if path.stat().st_mode & 0o007] == []
    database = stat.S_IMODE((tmp_path / "lib" / "library.sqlite").stat().st_mode)
    assert database & 0o060 == 0o060
    folder = (tmp_path / "lib" / "originals").stat().st_mode
    assert folder & 0o070 == 0o070
