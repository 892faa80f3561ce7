"""Names of people and what was painted black stay in, in every export, unless names are asked for."""

import io
import zipfile
from pathlib import Path

import cv2
import numpy as np
import pytest
import warm
from PIL import Image

from triage.cli import run
from triage.exchange import export_library
from triage.imaging.blackout import blackouts, paint_over
from triage.label.rows import give_labels, settle
from triage.library import queries
from triage.report import black_out

KINDS = ("csv", "parquet", "coco", "croissant", "xmp")
NAMES = ("Planted Labeler", "Planted Second", "Planted Told", "Planted Client", "Planted Settler")
BOX = (0.25, 0.25, 0.5, 0.5)


@pytest.fixture
def named(library):
    first, second = queries.photos(library, "D-17")[:2]
    give_labels(library, [(first, {"missing-hanger": "present"})], by=NAMES[0], note="as Planted Told said")
    give_labels(library, [(first, {"missing-hanger": "absent"})], by=NAMES[1])
    give_labels(library, [(second, {"missing-hanger": "present"})], by=NAMES[0], place="joist 3")
    settle(library, first, "missing-hanger", "present", by=NAMES[4], why="looked again")
    library.say("deck-set", {"deck": "D-17", "field": "client"}, by="ann", private={"text": NAMES[3]})
    library.say(
        "warned",
        {"deck": "D-17", "told_at": "2026-05-04"},
        by="ann",
        private={"told": NAMES[2], "how": "by phone, 555 0100 99"},
    )
    return library


def names_in(folder: Path) -> list[tuple[str, str]]:
    """Return which of the names stand in which file, also packed ones."""
    found = []
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        data = path.read_bytes()
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                data += b"".join(archive.read(name) for name in archive.namelist())
        if path.suffix == ".parquet":
            import pyarrow.parquet

            data += repr(pyarrow.parquet.read_table(path).to_pylist()).encode()
        found += [(path.name, name) for name in (*NAMES, "555 0100 99") if name.encode() in data]
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_no_export_tells_who_spoke(named, tmp_path, kind):
    words = ["export", str(tmp_path / "out"), "--as", kind, "-L", str(named.path)]
    done = warm.call(*words)
    assert done.returncode == 0, done.stderr
    assert names_in(tmp_path / "out") == []


def test_nothing_else_that_leaves_tells_who_spoke(named, tmp_path, capsys):
    """Labels, register, facts, crew's sheet, audit's sheet, and the report with everything bound in."""
    out = tmp_path / "out"
    lines = [
        ("label", "write", str(out / "labels.csv")),
        ("audit", "register", "--out", str(out / "register.csv")),
        ("audit", "register", "--out", str(out / "register.html")),
        ("repairs", "write", str(out / "repairs.csv")),
        ("report", "--out", str(out / "report"), "--full", "--per-deck"),
    ]
    out.mkdir()
    for line in lines:
        assert run([*line, "-L", str(named.path)]) in (0, 3), capsys.readouterr().err
    assert len(list(out.rglob("*.*"))) > 6
    assert names_in(out) == []
    texts = [path for path in out.rglob("*.csv") if b"joist 3" in path.read_bytes()]
    assert {path.name for path in texts} <= {"concerns.csv", "repairs.csv", "labels-of-report.csv"}
    assert run(["audit", "register", "--show-names", "--out", str(out / "r.csv"), "-L", str(named.path)]) == 0
    assert (out / "r.csv").read_text().count(NAMES[4]) == 1
    assert "looked again" in (out / "r.csv").read_text()


def test_names_are_written_where_they_are_asked_for(named, tmp_path):
    words = ["export", str(tmp_path / "out"), "--as", "csv", "--show-names", "-L", str(named.path)]
    assert warm.call(*words).returncode == 0
    assert {NAMES[0], NAMES[1]} <= {name for _, name in names_in(tmp_path / "out")}


@pytest.mark.parametrize("kind", ["coco", "croissant", "xmp"])
@pytest.mark.parametrize("pictures", ["renditions", "full"])
def test_what_was_painted_black_is_black_in_every_export(named, tmp_path, kind, pictures):
    photo = queries.photos(named, "D-17")[0]
    black_out(named, photo.sha, [BOX], by="ann")
    done = export_library(named, tmp_path / "out", kind, pictures=pictures)
    assert done.set_aside == []
    painted = list((tmp_path / "out").rglob("IMG_0410.jpg"))
    darkest = min(inside_of(path.read_bytes()) for path in painted)
    assert darkest < 25
    others = [path for path in (tmp_path / "out").rglob("*.jpg") if path not in painted]
    assert min(inside_of(path.read_bytes()) for path in others) > 30


def inside_of(jpeg: bytes) -> float:
    """Return how bright the brightest part of the box is, from 0 (black) to 255."""
    with Image.open(io.BytesIO(jpeg)) as image:
        pixels = np.asarray(image.convert("L"), float)
    height, width = pixels.shape
    inside = pixels[int(0.25 * height) : int(0.75 * height), int(0.25 * width) : int(0.75 * width)]
    return float(inside.max())


def test_every_pixel_that_a_box_touches_is_painted_and_no_other_far_from_it():
    picture = np.full((60, 80, 3), 200, np.uint8)
    jpeg = cv2.imencode(".jpg", picture)[1].tobytes()
    with Image.open(io.BytesIO(paint_over(jpeg, [(0.5, 0.5, 0.25, 0.25)]))) as image:
        painted = np.asarray(image.convert("L"))
    assert painted[30:45, 40:60].max() < 30
    assert painted[:16].min() > 150
    assert paint_over(jpeg, []) == jpeg


def test_an_empty_list_takes_a_blackout_back(named):
    photo = queries.photos(named, "D-17")[0]
    black_out(named, photo.sha, [BOX], by="ann")
    assert list(blackouts(named)) == [photo.sha]
    black_out(named, photo.sha, [], by="ann")
    assert blackouts(named) == {}
