"""The commands `audit ...`: JSON keys as promised, exit codes, sentences."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_libraries import add_labels, add_piles

from triage.audit import of_library
from triage.audit.missed_tag import Promised
from triage.cli import run
from triage.library import Library, queries
from triage.presort import of_library as presorting

TAG = "rusted-connector"


@pytest.fixture
def call(library: Library, capsys):
    """Run a command on the library; returns (exit code, JSON or text, stderr)."""

    def command(*words: str, as_json: bool = True):
        more = ["--json"] if as_json else []
        code = run([*words, "-L", str(library.path), *more])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        assert "nan" not in said.out.lower().split()
        return code, json.loads(said.out) if as_json and said.out else said.out, said.err

    return command


def test_agree(library: Library, with_photos, call) -> None:
    shas = with_photos(6, 4)
    for name, period in (("ann", 3), ("ben", 4)):
        add_labels(
            library, [(s, TAG, "present" if n % period else "absent", name) for n, s in enumerate(shas)]
        )
    code, said, _ = call("audit", "agree")
    assert code == 0
    assert set(said) == {TAG, "overall"}
    assert {"observed", "kappa", "alpha", "low", "high", "disputed"} <= set(said[TAG])
    code, text, _ = call("audit", "agree", as_json=False)
    assert "disputed: d000/000.jpg" not in text
    assert "disputed: d000/003.jpg" in text
    add_labels(library, [(shas[0], "missing-hanger", "absent", "ann")])
    code, said, _ = call("audit", "agree")
    assert code == 3
    assert said["missing-hanger"]["alpha"] is None


def test_agree_without_two_people(library: Library, with_photos, call) -> None:
    add_labels(library, [(with_photos(1, 1)[0], TAG, "absent", "ann")])
    code, said, err = call("audit", "agree")
    assert (code, said) == (1, "")
    assert "Only ann has labeled" in err
    assert "--second-look" in err


def test_sample(library: Library, with_photos, call) -> None:
    with_photos(5, 20)
    code, said, _ = call("audit", "sample", "--confidence", "0.95", "--margin", "0.05", "--seed", "7")
    assert code == 0
    assert (said["n"], said["population"], len(said["items"]), said["seed"]) == (80, 100, 80, "7")
    assert call("audit", "sample", "--seed", "7")[1] == said
    code, said, _ = call("audit", "sample", "--by", "deck", "--seed", "7")
    assert said["n"] == len(said["items"]) == 5
    code, text, err = call("audit", "sample", as_json=False)
    assert "seed" in text
    assert "5551" in err
    assert "17973" in err
    assert "Local law decides" in err
    assert call("audit", "sample", "--margin", "5")[0] == 1
    assert call("audit", "sample", "--by", "house")[0] == 2


def test_doubts_without_vectors(library: Library, with_photos, call) -> None:
    add_labels(library, [(sha, TAG, "absent", "ann") for sha in with_photos(2, 2)])
    code, _, err = call("audit", "doubts")
    assert code == 1
    assert "embed" in err


def test_missed_is_asked_labeled_recorded_and_withdrawn(
    library: Library, with_photos, call, monkeypatch
) -> None:
    monkeypatch.setattr(of_library, "_promises", lambda _: {TAG: Promised(0.05, True)})
    monkeypatch.setattr(presorting, "load_models", lambda _: {})
    shas = with_photos(6, 10)
    add_piles(
        library, "m1", TAG, [(sha, "unlikely" if place < 40 else "likely") for place, sha in enumerate(shas)]
    )
    add_labels(library, [(sha, TAG, "present", "ann") for sha in shas[40:]])
    code, said, _ = call("audit", "missed", "--n", "20", "--seed", "3", "--by", "ann")
    assert code == 3
    assert {"rate", "low", "high", "missed_share"} <= set(said[TAG])
    assert said[TAG]["rate"] is None
    assert len(said[TAG]["asked"]) == 20
    add_labels(library, [(sha, TAG, "present", "cid") for sha in said[TAG]["asked"]], asked_by="audit")
    assert call("audit", "missed", "--n", "20", "--seed", "3")[0] == 2
    code, said, _ = call("audit", "missed", "--n", "20", "--seed", "3", "--by", "ann")
    assert code == 0
    assert said[TAG]["contradicts"] is True
    assert presorting.promise_standing(library)[TAG].standing == "withdrawn"
    assert call("audit", "lift", TAG, "--why", "checked on site", "--by", "ann")[:2] == (
        0,
        {"tag": TAG, "lifted": True},
    )
    assert presorting.promise_standing(library) == {}
    assert not [one for one in queries.suggestions(library).values() if one.pile == "unlikely"]
    code, _, err = call("audit", "missed", "--n", "20", "--seed", "4", "--by", "ann", as_json=False)
    assert code == 3
    assert "empty" in err


def test_missed_by_a_sheet(library: Library, with_photos, call, monkeypatch, tmp_path: Path) -> None:
    """The drawn photos leave as a sheet, come back with answers, and the audit is complete."""
    monkeypatch.setattr(of_library, "_promises", lambda _: {})
    shas = with_photos(4, 10)
    for tag in (TAG, "missing-hanger"):
        add_piles(library, "m1", tag, [(sha, "unlikely") for sha in shas])
    words = ("audit", "missed", "--n", "10", "--seed", "3", "--by", "ann", "--sheet", str(tmp_path / "s.csv"))
    code, said, _ = call(*words)
    assert code == 3
    assert said[TAG]["asked"] == said["missing-hanger"]["asked"]
    rows = (tmp_path / "s.csv").read_text().splitlines()
    assert len(rows) == 21
    filled = [row.replace(",,", ",absent,", 1) for row in rows[1:-1]] + [rows[-1]]
    (tmp_path / "s.csv").write_text("\n".join([rows[0], *filled]) + "\n")
    code, read, _ = call("label", "read", str(tmp_path / "s.csv"), "--by", "ann")
    assert (code, read["new"], read["set_aside"][0]["reason"]) == (3, 19, "value is empty")
    assert {label.asked_by for label in queries.labels(library)} == {"audit"}
    code, said, _ = call(*words)
    assert sum(one["rate"] == 0.0 for one in said.values()) == 1
    assert sum(len(one["asked"]) for one in said.values()) == 1
    assert len(list(library.events("audited"))) == 1


def test_missed_without_a_model(library: Library, call) -> None:
    code, _, err = call("audit", "missed", "--by", "ann")
    assert code == 1
    assert "No model has been trained" in err
    assert call("audit", "missed", "--confidence", "95")[0] == 2
