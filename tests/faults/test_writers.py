"""Several at once, a lock that stays, a clock that jumps, a full disk, a place that cannot be written.

Each time: nothing that was acknowledged is lost, nothing half is read as whole, a clear sentence.
"""

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
import warm
from common import draw_photo

from triage.errors import TriageError
from triage.library import Library, database, log, queries
from triage.library.backup import backup, restore
from triage.library.verify import verify

COMMAND = str(Path(sys.executable).parent / "deck-triage")
SHA = "a" * 64


def call(*words):
    return warm.call(*words)


def plain(done):
    """What a person reads when something could not be done: a sentence and a hint, never a traceback."""
    assert done.returncode == 1, done
    assert done.stderr.startswith("Error: "), done.stderr
    assert "Traceback" not in done.stderr
    return done.stderr


def say(library, number, by="ann"):
    said = {"photo": SHA, "tag": f"t{number % 9}", "value": ("present", "absent")[number % 2]}
    return library.say("label", said, by=by).hash


WRITER = """
import sys
from pathlib import Path
from triage.library import Library
name, many = sys.argv[2], int(sys.argv[3])
with Library.open(Path(sys.argv[1])) as library:
    for number in range(many):
        said = {"photo": "a" * 64, "tag": f"t{number % 9}", "value": ("present", "absent")[number % 2]}
        print(library.say("label", said, by=name).hash, flush=True)
"""


def writer(path, name, many):
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), name, str(many)], stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def empty(tmp_path):
    Library.create(tmp_path / "lib").close()
    return tmp_path / "lib"


def test_five_writers_at_once_lose_nothing(empty):
    running = [writer(empty, f"p{number}", 60) for number in range(5)]
    told = [line for one in running for line in one.communicate(timeout=240)[0].split()]
    assert [one.returncode for one in running] == [0] * 5
    assert len(told) == 5 * 60
    with Library.open(empty) as library:
        assert queries.log_faults(library) == []
        assert {event.hash for event in library.events("label")} == set(told)
        assert verify(library).damaged == []  # the folds too are those of the whole log


def test_five_commands_at_once_lose_nothing(library):
    names = [photo.path_name for photo in queries.photos(library)][:5]
    running = [
        subprocess.Popen(
            [
                COMMAND,
                "label",
                "set",
                name,
                "missing-hanger=present",
                "--by",
                f"p{number}",
                "-L",
                str(library.path),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number, name in enumerate(names)
    ]
    assert [(one.communicate()[1], one.returncode)[1] for one in running] == [0] * 5
    assert len(queries.labels(library, tag="missing-hanger")) == 5
    assert queries.log_faults(library) == []


def test_a_lock_that_stays_is_said_and_reading_goes_on(empty, monkeypatch):
    monkeypatch.setattr(database, "_BUSY_MS", 300)
    with Library.open(empty) as library:
        say(library, 0)
        other = sqlite3.connect(empty / "library.sqlite", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(TriageError, match="Another program has been writing") as caught:
            say(library, 1)
        assert "Wait until it has finished" in caught.value.hint
        assert queries.event_count(library) == 1
        assert len(list(library.events("label"))) == 1
        other.execute("ROLLBACK")
        other.close()
        say(library, 1)
        assert queries.event_count(library) == 2


def test_a_writer_that_waits_gets_its_turn(empty):
    with Library.open(empty) as library:
        other = sqlite3.connect(empty / "library.sqlite", isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        timer = threading.Timer(0.5, lambda: other.execute("ROLLBACK"))
        timer.start()
        say(library, 1)
        timer.join()
        other.close()
        assert queries.event_count(library) == 1


def test_a_clock_that_jumps_back_changes_no_order(empty, monkeypatch):
    times = iter(
        [
            "2026-05-04T10:00:00.000000+00:00",
            "2026-05-04T11:00:00.000000+00:00",
            "1999-01-01T00:00:00.000000+00:00",
            "1999-01-01T00:00:01.000000+00:00",
        ]
    )
    monkeypatch.setattr(log, "now", lambda: next(times))
    with Library.open(empty) as library:
        library.say("fact", {"deck": "D", "key": "joist_size", "value": "2x6"}, by="ann")
        for size in ("2x8", "2x10"):  # the second one is said after the clock has jumped
            library.say("fact", {"deck": "D", "key": "joist_size", "value": size}, by="ann")
        assert queries.facts(library, "D")["joist_size"].value == "2x10"
        library.undo("ann")
        assert queries.facts(library, "D")["joist_size"].value == "2x8"
        assert [event.seq for event in library.events()] == [1, 2, 3, 4]
        assert verify(library).damaged == []


def test_two_programs_that_take_in_one_folder_take_each_photo_once(empty, tmp_path):
    for number in range(30):
        draw_photo(tmp_path / "card" / f"D-{number % 3}" / f"{number:02}.jpg", seed=number, size=(400, 300))
    running = [
        subprocess.Popen(
            [COMMAND, "ingest", str(tmp_path / "card"), "--by", name, "-L", str(empty), "--json"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for name in ("ann", "ben")
    ]
    told = [one.communicate(timeout=240) for one in running]
    assert [one.returncode for one in running] == [0, 0], told
    found = [json.loads(out) for out, _ in told]
    assert sum(one["added"] for one in found) == 30
    assert sum(one["known"] for one in found) == 30
    with Library.open(empty) as library:
        assert len(queries.photos(library)) == 30
        assert sum(1 for _ in library.events("placed")) == 30
        found = verify(library)
        assert (found.damaged, found.missing) == ([], [])


def test_two_programs_with_other_photos_of_one_name_keep_both_apart(empty, tmp_path):
    """The second one is told, and its photos wait at no deck with the question: nothing is overwritten."""
    for side in ("one", "two"):
        for number in range(12):
            seed = 100 * ord(side[0]) + number
            draw_photo(tmp_path / side / "D-1" / f"{number:02}.jpg", seed=seed, size=(400, 300))
    running = [
        subprocess.Popen(
            [COMMAND, "ingest", str(tmp_path / side), "--deck", "D-1", "--by", side, "--json", "-L", empty],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for side in ("one", "two")
    ]
    told = [json.loads(one.communicate(timeout=240)[0]) for one in running]
    with Library.open(empty) as library:
        names = [(photo.visit, photo.name) for photo in queries.photos(library, "D-1")]
        assert len(names) == len(set(names)) == 12
    assert sum(one["added"] for one in told) == 24
    assert sum(one["waiting"] for one in told) == 12  # in the library, at no deck, with a question
    reasons = [row["reason"] for one in told for row in one["set_aside"]]
    assert len(reasons) == 12
    assert all("named" in reason or "is this the deck" in reason for reason in reasons)


@contextmanager
def small_disk(folder, size):
    folder.mkdir(exist_ok=True)
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if done.returncode != 0:
        pytest.skip("this machine does not allow mounting a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def remount(folder, options):
    subprocess.run(["mount", "-o", f"remount,{options}", str(folder)], check=True)


def test_a_disk_that_fills_up_while_photos_are_taken_in(tmp_path):
    for number in range(12):
        draw_photo(tmp_path / "card" / f"D-{number % 3}" / f"{number:02}.jpg", seed=number, size=(1200, 900))
    with small_disk(tmp_path / "disk", "3m") as disk:
        assert call("new", disk / "lib").returncode == 0
        told = call("ingest", tmp_path / "card", "--by", "ann", "-L", disk / "lib")
        assert told.returncode in (1, 3), told
        assert "full" in told.stderr + told.stdout or "No space" in told.stderr + told.stdout
        assert "Traceback" not in told.stderr
        remount(disk, "size=60m")
        again = call("ingest", tmp_path / "card", "--by", "ann", "-L", disk / "lib", "--json")
        assert again.returncode == 0, again
        found = json.loads(again.stdout)
        assert found["added"] + found["known"] == 12
        checked = json.loads(call("verify", "-L", disk / "lib", "--json").stdout)
        assert (checked["photos"], checked["damaged"], checked["missing"]) == (12, [], [])


def test_a_disk_that_is_full_refuses_words_and_keeps_those_before(tmp_path):
    with small_disk(tmp_path / "disk", "4m") as disk, Library.create(disk / "lib") as library:
        kept = []
        fill(disk)
        with pytest.raises(TriageError, match="disk is full|full and not damaged") as caught:
            kept.extend(say(library, number) for number in range(5000))
        assert caught.value.hint
        (disk / "filler").unlink()
        there = [event.hash for event in library.events("label")]
        assert there == kept
        there.append(say(library, 1))
        assert [event.hash for event in library.events("label")] == there
        assert verify(library).damaged == []


def fill(disk):
    with (disk / "filler").open("wb") as file:
        while True:
            try:
                os.write(file.fileno(), b"x" * 4096)
            except OSError:
                return


def test_a_backup_onto_a_full_disk_leaves_nothing_behind(library, tmp_path):
    with small_disk(tmp_path / "disk", "100k") as disk:
        told = plain(call("backup", disk / "b.backup", "-L", library.path))
        assert "full" in told
        assert list(disk.iterdir()) == []


def test_a_migration_on_a_full_disk_leaves_the_old_library(tmp_path):
    old = Path(__file__).parent.parent / "library" / "format-1.backup"
    with small_disk(tmp_path / "disk", "2m") as disk:
        restore(old, disk / "old")
        before = hashlib.sha256((disk / "old" / "library.sqlite").read_bytes()).hexdigest()
        fill(disk)
        told = plain(call("status", "-L", disk / "old"))
        assert "format 1" in told or "full" in told
        (disk / "filler").unlink()
        assert hashlib.sha256((disk / "old" / "library.sqlite").read_bytes()).hexdigest() == before
        assert not [path for path in (disk / "old").rglob("*.tmp")]
        done = call("status", "-L", disk / "old")
        assert done.returncode == 0
        assert "from format 1 to" in done.stderr


def test_a_library_that_cannot_be_written_can_be_read(library, tmp_path):
    backup(library, tmp_path / "b.backup")
    with small_disk(tmp_path / "disk", "60m") as disk:
        restore(tmp_path / "b.backup", disk / "lib")
        name = queries.photos(library)[0].path_name
        assert (
            call("label", "set", name, "missing-hanger=present", "--by", "ann", "-L", disk / "lib").returncode
            == 0
        )
        remount(disk, "ro")
        for words in (
            ["status"],
            ["photos"],
            ["assess"],
            ["verify"],
            ["backup", tmp_path / "c.backup"],
            ["report", "--out", tmp_path / "out"],
        ):
            done = call(*words, "-L", disk / "lib")
            assert done.returncode == 0, (words, done)
        assert "missing-hanger" in call("label", "log", "-L", disk / "lib").stdout
        told = plain(call("label", "set", name, "missing-hanger=absent", "--by", "ann", "-L", disk / "lib"))
        assert "cannot be written to" in told
        plain(call("ingest", tmp_path / "card", "--by", "ann", "-L", disk / "lib"))


def test_an_old_library_that_cannot_be_written_is_refused_with_what_to_do(tmp_path):
    old = Path(__file__).parent.parent / "library" / "format-1.backup"
    with small_disk(tmp_path / "disk", "4m") as disk:
        restore(old, disk / "old")
        remount(disk, "ro")
        told = plain(call("status", "-L", disk / "old"))
        assert "format 1" in told
        assert "copy the folder" in told


def test_missing_originals_are_named_and_the_rest_is_done(library, tmp_path):
    gone = queries.photos(library)[0]
    library.original(gone.sha).unlink()
    library.renditions.remove(gone.sha)
    library.close()
    checked = call("verify", "-L", library.path, "--json")
    assert json.loads(checked.stdout)["missing"] == [f"the original of photo {gone.sha[:12]}"]
    for words in (["assess"], ["report", "--out", tmp_path / "out"], ["embed"]):
        done = call(*words, "-L", library.path)
        assert done.returncode in (0, 3), (words, done)
        assert "Traceback" not in done.stderr
    again = call("ingest", tmp_path / "card", "--by", "ann", "-L", library.path, "--json")
    assert again.returncode == 0
    if json.loads(call("verify", "-L", library.path, "--json").stdout)["missing"]:
        pytest.fail("taking the same folder in again does not bring the original back")


def test_backups_while_others_write_are_whole_and_restore_byte_for_byte(library, tmp_path):
    running = [writer(library.path, name, 100_000) for name in ("eve", "fay")]
    try:
        for one in running:
            one.stdout.readline()
        told = {}
        for number in range(3):
            before = library.head()
            backup(library, tmp_path / f"{number}.backup")
            told[number] = before
            time.sleep(0.2)
    finally:
        for one in running:
            one.kill()
            one.wait()
            one.stdout.close()
    events = {(event.log_id, event.seq): event for event in library.events()}
    for number, before in told.items():
        restore(tmp_path / f"{number}.backup", tmp_path / f"again-{number}")
        with Library.open(tmp_path / f"again-{number}") as again:
            assert verify(again).damaged == []
            for log_id, head in again.head().items():
                assert head["seq"] >= before[log_id]["seq"]  # all that was acknowledged before it began
            assert all(events[event.log_id, event.seq] == event for event in again.events())
            assert [again.original(photo.sha).read_bytes() for photo in queries.photos(again)] == [
                library.original(photo.sha).read_bytes() for photo in queries.photos(library)
            ]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill is told by a signal")
def test_a_killed_writer_leaves_exactly_what_it_acknowledged_or_one_more(empty):
    one = writer(empty, "eve", 100_000)
    told = [one.stdout.readline().strip() for _ in range(50)]
    one.kill()
    told += [line for line in one.communicate()[0].split("\n") if len(line) == 64]
    with Library.open(empty) as library:
        there = [event.hash for event in library.events("label")]
        assert there[: len(told)] == told
        assert len(there) <= len(told) + 1
        assert verify(library).damaged == []
