"""The commands that carry words between tools and libraries."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from exchange_helpers import TAG, put_label, put_photo

from triage.cli import run
from triage.library import Library, queries


@pytest.fixture
def library(tmp_path: Path):
    with Library.create(tmp_path / "library") as made:
        for deck in "123":
            put_label(made, put_photo(made, f"D-{deck}", "a.jpg"), "present", "ann")
        yield made


def said(capsys) -> dict:
    return json.loads(capsys.readouterr().out)


def test_export_splits_with_a_seed(library: Library, tmp_path: Path, capsys) -> None:
    words = ["export", str(tmp_path / "out"), "--as", "csv", "--split", "0.5,0.5", "--seed", "1", "--json"]
    assert run([*words, "-L", str(library.path)]) == 0
    files = said(capsys)["files"]
    assert {Path(file).name for file in files} >= {"labels.csv", "photos.csv", "datasheet.md"}
    assert all(Path(file).is_file() for file in files)
    assert (
        run(["export", str(tmp_path / "out"), "--as", "csv", "--split", "half", "-L", str(library.path)]) == 2
    )
    assert (
        run(["export", str(tmp_path / "out"), "--as", "csv", "--split", "0.5,0.1", "-L", str(library.path)])
        == 1
    )
    assert "add up to 0.6" in capsys.readouterr().err


def test_export_sets_aside_what_is_no_picture(library: Library, tmp_path: Path, capsys) -> None:
    """These originals are no photos at all; the words still leave."""
    assert run(["export", str(tmp_path / "out"), "--as", "coco", "-L", str(library.path), "--json"]) == 3
    found = said(capsys)
    assert len(found["set_aside"]) == 3
    assert (tmp_path / "out" / "coco.json").is_file()


def test_ingest_from_a_library_and_back(library: Library, tmp_path: Path, capsys) -> None:
    with Library.create(tmp_path / "other") as other:
        put_label(other, put_photo(other, "D-9", "b.jpg"), "absent", "ben")
        words = ["ingest", "--from-library", "--json", "--by", "cy"]
        assert run([*words, str(library.path), "-L", str(other.path)]) == 0
        found = said(capsys)
        assert {key: found[key] for key in ("added", "known", "set_aside")} == {
            "added": 3,
            "known": 0,
            "set_aside": [],
        }
        assert found["decks"] == {"D-1": 1, "D-2": 1, "D-3": 1}
        assert run([*words, str(library.path), "-L", str(other.path)]) == 0
        assert said(capsys)["added"] == 0
        assert run([*words, str(other.path), "-L", str(library.path)]) == 0
        assert said(capsys)["added"] == 1
        assert queries.words(other).keys() == queries.words(library).keys()


def test_label_read_takes_coco_with_a_mapping(library: Library, tmp_path: Path, capsys) -> None:
    data = {
        "images": [{"id": 1, "file_name": "D-1/a.jpg"}, {"id": 2, "file_name": "../../etc/passwd"}],
        "categories": [{"id": 1, "name": "no hanger"}],
        "annotations": [{"image_id": 1, "category_id": 1}, {"image_id": 2, "category_id": 1}],
    }
    (tmp_path / "coco.json").write_text(json.dumps(data))
    (tmp_path / "map.toml").write_text('[categories]\n"no hanger" = "missing-hanger"\n')
    words = ["label", "read", str(tmp_path / "coco.json"), "--map", str(tmp_path / "map.toml"), "--by", "dee"]
    assert run([*words, "-L", str(library.path), "--json"]) == 3
    found = said(capsys)
    assert (found["new"], len(found["set_aside"])) == (1, 1)
    assert "file_name" in found["set_aside"][0]["reason"]
    assert run([*words, "-L", str(library.path), "--json"]) == 3
    assert said(capsys)["known"] == 1
    assert {(label.tag, label.by) for label in queries.labels(library, tag="missing-hanger")} == {
        ("missing-hanger", "dee")
    }
    assert queries.words(library)[queries.find_photo(library, "D-1/a.jpg").sha, TAG].value == "present"
