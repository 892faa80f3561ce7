"""Whatever is odd or damaged ends in one sentence and the right exit code, never in a traceback."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import warm
from common import draw_photo
from test_writers import fill, small_disk

from triage.cli import THREAD_LIMITS, run
from triage.errors import is_short_of_memory
from triage.ingest import ingest
from triage.label.rows import give_labels
from triage.library import Library, queries


@pytest.fixture
def call(capsys):
    """Run a command in this process, by the same entry, and return its exit code and what it printed."""

    def run_it(*words, code=1):
        words = [os.fsdecode(one) if isinstance(one, bytes) else str(one) for one in words]
        given = run(words)
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        assert "not foreseen" not in told.err, told.err
        assert code is None or given == code, told
        return given, told.out, told.err

    return run_it


def call_apart(*words, code=1):
    done = warm.call(*words)
    assert "Traceback" not in done.stderr, done.stderr
    assert "not foreseen" not in done.stderr, done.stderr
    assert done.returncode == code, done
    return done


@pytest.mark.parametrize(
    "line",
    [
        "format = []",
        'format = "3x"',
        "format = 0",
        "format = -1",
        "format = inf",
        "format = nan",
        "format = 99",
        "format = ",
        "x = " + "[" * 5000,
        "\udcff",
    ],
)
def test_an_odd_library_toml_is_one_sentence(library, line, call):
    library.close()
    (library.path / "library.toml").write_bytes(line.encode("utf-8", "surrogateescape"))
    assert call("status", "-L", library.path)[2].startswith("Error: ")
    call("verify", "-L", library.path, code=3)


@pytest.mark.parametrize("how", ["zeros", "text", "cut", "folder"])
def test_a_damaged_database_is_named_and_the_originals_are_checked_all_the_same(library, how, call):
    library.close()
    first = library.original(queries.photos(library)[0].sha)
    library.close()
    database = library.path / "library.sqlite"
    data = database.read_bytes()
    database.unlink()
    for name in ("library.sqlite-wal", "library.sqlite-shm"):
        (library.path / name).unlink(missing_ok=True)
    if how == "folder":
        database.mkdir()
    else:
        ways = {"zeros": bytes(len(data)), "text": b"no database at all", "cut": data[: len(data) // 3]}
        database.write_bytes(ways[how])
    first.chmod(0o600)
    first.write_bytes(b"changed")
    call("status", "-L", library.path, code=None if how == "cut" else 1)
    found = json.loads(call("verify", "--json", "-L", library.path, code=3)[1])
    assert any("bytes were changed" in line for line in found["damaged"])
    assert len(found["damaged"]) >= 2


@pytest.mark.parametrize(
    "words",
    [
        [b"label", b"set", b"\xff", b"missing-hanger=present"],
        [b"label", b"set", b"D-17/IMG_0410.jpg", b"missing-hanger=present", b"--place", b"\xff\xfe"],
        [b"finding", b"add", b"D-17", b"--tier", b"watch", b"--text", b"\xed\xa0\x80"],
        [b"facts", b"set", b"D-17", b"\xff=1"],
        [b"tier", b"set", b"D-\xff", b"watch", b"--why", b"x"],
        [b"assess", b"\xff"],
        [b"deck", b"set", b"D-17", b"--address", b"\xff"],
    ],
)
def test_arguments_that_are_no_utf8_are_one_sentence(library, words, call):
    library.close()
    by = [] if words[0] == b"assess" else [b"--by", b"ann"]
    assert call(*words, *by, b"-L", library.path, code=None)[0] in (1, 2, 3)


def test_a_new_library_on_a_full_disk_leaves_nothing_and_works_later(tmp_path):
    with small_disk(tmp_path / "disk", "1m") as disk:
        fill(disk)
        told = call_apart("new", disk / "lib").stderr
        assert "full" in told or "No space" in told
        (disk / "filler").unlink()
        call_apart("new", disk / "lib", code=0)


def test_on_a_full_disk_everything_can_be_read(tmp_path):
    draw_photo(tmp_path / "card" / "D-1" / "a.jpg", seed=1)
    with small_disk(tmp_path / "disk", "8m") as disk:
        with Library.create(disk / "lib") as library:
            ingest(library, [tmp_path / "card"], by="ann", engine="here")
        fill(disk)
        for words in (
            ["status"],
            ["assess"],
            ["verify"],
            ["report", "--out", tmp_path / "report"],
            ["backup", tmp_path / "b.backup"],
        ):
            call_apart(*words, "-L", disk / "lib", code=0)
        told = call_apart(
            "label", "set", "a.jpg", "missing-hanger=present", "--by", "ann", "-L", disk / "lib"
        )
        assert "full" in told.stderr or "cannot be written to" in told.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["label", "read"],
        ["facts", "read"],
        ["tags", "add"],
        ["repairs", "read"],
        ["restore"],
        ["ingest"],
        ["check", "--facts"],
        ["verify", "--report"],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("kind", ["fifo", "endless"])
def test_a_pipe_or_an_endless_device_ends_with_a_sentence(library, tmp_path, words, kind, call):
    library.close()
    file = Path("/dev/zero")
    if kind == "fifo":
        file = tmp_path / "pipe.csv"
        os.mkfifo(file)
    more = [tmp_path / "again"] if words == ["restore"] else ["-L", library.path]
    by = ["--by", "ann"] if words[0] in ("label", "facts", "repairs", "ingest") else []
    given, _, told = call(*words, file, *more, *by, code=None)
    assert given == (3 if words == ["ingest"] else 1)
    assert "not an ordinary file" in told if words == ["ingest"] else "pipe or a device" in told


def test_a_nested_model_file_is_one_sentence(library, call):
    library.close()
    folder = library.path / "models" / ("a" * 16)
    folder.mkdir(parents=True)
    (folder / "model.json").write_text("[" * 100_000)
    (folder / "arrays.npz").write_bytes(b"")
    library.say("trained", {"model": "a" * 64, "tags": [], "card": {}}, by="ann")
    library.close()
    for words in (["card"], ["presort"]):
        assert call(*words, "-L", library.path, code=None)[0] in (1, 3)
    shutil.rmtree(folder)


@pytest.fixture
def answered(library):
    """A library in which one tag can be trained."""
    for number, photo in enumerate(queries.photos(library)):
        answer = "present" if number % 2 else "absent"
        give_labels(library, [(photo, {"missing-hanger": answer})], by="ann")
    library.close()
    return library.path


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is limited by what Linux says")
@pytest.mark.parametrize(("command", "room_mb"), [("embed", 24), ("train", 64)])
def test_too_little_memory_is_one_sentence(answered, command, room_mb):
    """With still less Python itself cannot start a thread, and waits for it for ever."""
    done = warm.start(command, "-L", answered, room_mb=room_mb).wait(300)
    assert "Traceback" not in done.stderr
    assert "not foreseen" not in done.stderr, done.stderr
    assert done.returncode == 1, done
    assert "Error: There is not enough memory for this" in done.stderr, done.stderr
    assert warm.call("status", "-L", answered).returncode == 0


def test_the_libraries_that_run_out_of_memory_are_understood():
    """OpenCV and ONNX Runtime have errors of their own for it."""
    cv2 = pytest.importorskip("cv2")
    with pytest.raises(cv2.error) as caught:
        cv2.resize(np.zeros((1, 1), np.uint8), (2**30, 2**20))
    assert caught.value.code == cv2.Error.StsNoMem
    assert is_short_of_memory(caught.value)
    assert is_short_of_memory(MemoryError())
    assert is_short_of_memory(OSError(12, "Cannot allocate memory"))
    assert not is_short_of_memory(OSError(28, "No space left on device"))


def test_no_library_of_a_command_starts_threads_that_end_it_where_memory_is_short():
    """OpenCV's threads, one for each processor, end the process where they find no memory to start with."""
    asked = (
        "import sys, triage.cli as c; sys.argv[1:] = ['--version']\ntry: c.main()\nexcept SystemExit: pass\n"
    )
    asked += "import cv2; print(cv2.getNumThreads())"
    own = {name: value for name, value in os.environ.items() if name not in THREAD_LIMITS}
    told = subprocess.run([sys.executable, "-c", asked], env=own, capture_output=True, text=True, check=True)
    assert told.stdout.split()[-1] == "1"
