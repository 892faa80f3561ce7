"""What scripts rely on: JSON keys, exit codes, one clear sentence, nothing else on stdout."""

import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from triage.cli import run

COMMAND = [str(Path(sys.executable).parent / "deck-triage")]


def deck_triage(*words, cwd=None, env=None, **options):
    """Run the real command in a process of its own."""
    settings = {**os.environ, **(env or {})}
    return subprocess.run(
        [*COMMAND, *map(str, words)], cwd=cwd, env=settings, capture_output=True, text=True, **options
    )  # noqa: E501


@pytest.fixture
def call(tmp_path, monkeypatch, capsys):
    """Run a command in this process; returns (exit code, JSON or text, stderr)."""

    def run_it(*words, library=tmp_path / "library"):
        monkeypatch.setenv("DECK_TRIAGE_LIBRARY", str(library))
        code = run([str(word) for word in words])
        captured = capsys.readouterr()
        out = json.loads(captured.out) if "--json" in words and captured.out else captured.out
        return code, out, captured.err

    return run_it


@pytest.fixture
def made(library):
    """The folder of a library with six photos at D-17 and D-18."""
    folder = library.path
    library.close()
    return folder


def test_new_ingest_and_photos_keep_their_keys(call, tmp_path, card):
    code, made, _ = call("new", tmp_path / "fresh", "--json")
    assert (code, made) == (0, {"library": str(tmp_path / "fresh")})
    code, out, _ = call("ingest", card, "--json", library=tmp_path / "fresh")
    assert code == 0
    assert (out["added"], out["known"], out["set_aside"]) == (6, 0, [])
    assert out["decks"] == {"D-17": 3, "D-18": 3}
    assert set(out["photos"][0]) == {"photo", "deck", "name"}
    code, photos, _ = call("photos", "--json", library=tmp_path / "fresh")
    assert set(photos[0]) == {"photo", "name", "deck", "visit", "taken_at", "width", "height", "labels"}
    code, decks, _ = call("decks", "--json", library=tmp_path / "fresh")
    promised = {"deck", "visit", "photos", "labelled", "tier", "tier_if_true", "gaps"}
    assert set(decks[0]) == promised | {"tier_computed", "tier_by_person"}
    assert decks[0]["tier"] is None
    code, status, _ = call("status", "--json", library=tmp_path / "fresh")
    assert {"decks", "photos", "labels", "unreviewed", "next"} <= set(status)
    assert status["unreviewed"] == 6 * 5


def test_label_set_keeps_its_keys_and_undo_takes_it_back(call, made):
    code, rows, _ = call(
        "label",
        "set",
        "D-17/IMG_0410.jpg",
        "missing-hanger=present",
        "shows-hanger=present",
        "--by",
        "ann",
        "--json",
    )  # noqa: E501
    assert code == 0
    assert [set(row) for row in rows] == [{"photo", "tag", "value", "by", "at"}] * 2
    code, undone, _ = call("undo", "--by", "ann", "--json")
    assert len(undone) == 2
    assert call("photos", "--json")[1][0]["labels"] == {}


def test_assess_keeps_its_keys_and_says_what_was_not_seen(call, made):
    call("label", "set", "D-17/IMG_0410.jpg", "missing-hanger=present", "--by", "ann")
    code, out, _ = call("assess", "--json")
    assert code == 0
    worst = out["decks"][0]
    assert worst["deck"] == "D-17"
    assert {
        "deck",
        "visit",
        "tier",
        "tier_if_true",
        "tier_by_person",
        "gaps",
        "concerns",
        "coverage",
        "go_back_for",
        "unreviewed",
    } <= set(worst)  # noqa: E501
    assert worst["gaps"] == "serious"
    assert {
        "rule",
        "tag",
        "kind",
        "standing",
        "status",
        "tier",
        "photos",
        "place",
        "count",
        "why",
        "repair",
        "verify_on_site",
        "call",
        "source",
    } <= set(worst["concerns"][0])  # noqa: E501
    assert {"element", "seen", "photos", "count", "of", "why"} <= set(worst["coverage"][0])
    assert out["decks"][1]["tier"] is None


def test_train_with_too_few_labels_ends_with_3_and_null_keys(call, made):
    call("label", "set", "D-17/IMG_0410.jpg", "missing-hanger=present", "--by", "ann")
    code, out, _ = call("train", "--json")
    assert code == 3
    row = out["tags"]["missing-hanger"]
    assert (row["present"], row["absent"], row["average_precision"]) == (1, 0, None)
    keys = {"miss_rate", "holds", "threshold", "eligible_positive_decks", "missing", "why_not"}
    assert keys <= set(row["promise"])
    assert row["promise"]["holds"] is False


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["train"], 1, "no labels"),
        (["presort"], 1, "No model was trained"),
        (["ingest", "EMPTY"], 1, "There are no photos"),
        (["ingest", "NOWHERE"], 1, "There is no file or folder"),
        (["label", "set", "D-17/IMG_0410.jpg", "no-such-tag=present", "--by", "ann"], 2, "no-such-tag"),
        (["label", "set", "D-17/IMG_0410.jpg", "missing-hanger=maybe", "--by", "ann"], 2, "maybe"),
        (["label", "set", "D-17/IMG_0410.jpg", "missing-hanger=present"], 2, "Nobody is named"),
        (["label", "set", "IMG_0410.jpg", "missing-hanger=present", "--by", "ann"], 1, "names 2 photos"),
        (["label", "set", "nothing.jpg", "missing-hanger=present", "--by", "ann"], 1, "There is no photo"),
        (["facts", "set", "D-99", "joist_size=2x8", "--by", "ann"], 1, "There is no deck"),
        (["facts", "set", "D-17", "joist_span_ft=90", "--by", "ann"], 1, "joist_span_ft"),
        (["tier", "set", "D-17", "awful", "--why", "x", "--by", "ann"], 2, "is not a tier"),
        (["assess", "D-99"], 1, "D-99"),
        (["ingset", "x"], 2, "Did you mean ingest"),
        (["ingest"], 2, "Missing argument"),
        (["undo", "--by", "nobody"], 1, "nothing by nobody to undo"),
        (["photos", "--tag", "no-such-tag"], 1, "no-such-tag"),
    ],
)
def test_bad_input_ends_with_one_sentence_and_the_right_code(call, made, tmp_path, words, code, said):
    (tmp_path / "EMPTY").mkdir()
    words = [str(tmp_path / word) if word in ("EMPTY", "NOWHERE") else word for word in words]
    got, out, err = call(*words)
    assert (got, out) == (code, "")
    assert said in err
    assert "Traceback" not in err


def test_a_bad_photo_and_an_unknown_row_end_with_3(call, made, tmp_path):
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "text.jpg").write_text("no photo")
    code, out, err = call("ingest", tmp_path / "bad", "--json")
    assert code == 3
    assert "text.jpg" in out["set_aside"][0]["file"]
    assert "text.jpg" in err
    (tmp_path / "rows.csv").write_text("photo,deck,tag,value\nnowhere.jpg,D-17,missing-hanger,present\n")
    code, out, _ = call("label", "read", tmp_path / "rows.csv", "--by", "ann", "--json")
    assert (code, out["rows"], out["new"]) == (3, 1, 0)
    assert out["set_aside"][0]["row"] == 2


def test_no_library_says_how_to_make_one(tmp_path):
    done = deck_triage("status", cwd=tmp_path)
    assert done.returncode == 1
    assert "deck-triage new" in done.stderr
    assert done.stdout == ""
    named = deck_triage("-L", tmp_path, "status")
    assert named.returncode == 1
    assert "holds no library.toml" in named.stderr


def test_the_nearest_library_upward_is_used(made):
    deep = made / "originals"
    assert json.loads(deck_triage("status", "--json", cwd=deep).stdout)["photos"] == 6


def test_json_stays_alone_on_stdout_when_something_is_set_aside(made, tmp_path):
    (tmp_path / "text.jpg").write_text("no photo")
    done = deck_triage("ingest", tmp_path / "text.jpg", "--json", "-L", made)
    assert done.returncode == 3
    json.loads(done.stdout)
    assert "Set aside" in done.stderr


def test_control_characters_in_names_do_not_reach_the_terminal(call, tmp_path, photo_maker):
    call("new", tmp_path / "library")
    photo_maker(tmp_path / "c" / "D\x1b[31m-1" / "a\u202egnp.jpg", seed=5)
    code, out, err = call("ingest", tmp_path / "c")
    code, out, _ = call("photos")
    assert "\x1b" not in out + err
    assert "\u202e" not in out + err


def test_a_full_disk_is_one_sentence_and_the_next_run_goes_on(made, tmp_path, photo_maker):
    photo_maker(tmp_path / "more" / "D-20" / "big.jpg", seed=6, size=(1600, 1200))

    def small_files():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, 150_000))

    done = deck_triage("ingest", tmp_path / "more", "--engine", "here", "-L", made, preexec_fn=small_files)
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) <= 3
    again = deck_triage("ingest", tmp_path / "more", "-L", made, "--json")
    assert json.loads(again.stdout)["added"] == 1
    assert json.loads(deck_triage("verify", "-L", made, "--json").stdout) == {
        "photos": 7,
        "damaged": [],
        "missing": [],
        "mended": [],
        "strays": [],
    }  # noqa: E501


@pytest.mark.skipif(not Path("/proc").exists(), reason="looks for workers in /proc")
def test_ctrl_c_ends_with_130_and_keeps_what_was_finished(tmp_path, photo_maker):
    one = photo_maker(tmp_path / "one.jpg", seed=1, size=(1600, 1200)).read_bytes()
    for deck in range(60):
        path = tmp_path / "card" / f"D-{deck:02}" / "a.jpg"
        path.parent.mkdir(parents=True)
        path.write_bytes(one + bytes([deck]))  # another file, the same picture
    deck_triage("new", tmp_path / "lib", check=True)
    started = subprocess.Popen(
        [*COMMAND, "ingest", tmp_path / "card", "-L", tmp_path / "lib", "--engine", "here"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # a background job ignores it
    )
    database = tmp_path / "lib" / "originals"
    while started.poll() is None and len(list(database.glob("*/*.jpg"))) < 3:
        time.sleep(0.02)
    started.send_signal(signal.SIGINT)
    _, err = started.communicate(timeout=30)
    assert started.returncode == 130, err
    assert "Interrupted" in err
    before = json.loads(deck_triage("status", "-L", tmp_path / "lib", "--json").stdout)["photos"]
    assert 0 < before < 60
    again = json.loads(deck_triage("ingest", tmp_path / "card", "-L", tmp_path / "lib", "--json").stdout)
    assert (again["added"], again["known"]) == (60 - before, before)


def test_a_killed_ingest_loses_nothing_acknowledged(tmp_path, photo_maker):
    for deck in range(12):
        photo_maker(tmp_path / "card" / f"D-{deck:02}" / "a.jpg", seed=deck, size=(1200, 900))
    deck_triage("new", tmp_path / "lib", check=True)
    for wait in (0.8, 1.2, 1.7):
        started = subprocess.Popen(
            [*COMMAND, "ingest", tmp_path / "card", "-L", tmp_path / "lib"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(wait)
        started.kill()
        started.wait()
        checked = deck_triage("verify", "-L", tmp_path / "lib", "--json")
        assert checked.returncode == 0, checked.stderr
    done = json.loads(deck_triage("ingest", tmp_path / "card", "-L", tmp_path / "lib", "--json").stdout)
    assert done["added"] + done["known"] == 12


def test_help_starts_quickly_enough_to_import_nothing_heavy():
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "triage.cli.__main__", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    for heavy in ("sklearn", "cv2", "pandas", "onnxruntime", "sqlalchemy", "numpy", "PIL", "textual"):
        assert f" {heavy}\n" not in done.stderr, f"{heavy} is imported for --help"
