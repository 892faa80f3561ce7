"""Exports, each read back by a library that is not ours: pandas, pycocotools, mlcroissant, exiftool."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import subprocess
import warnings
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from exchange_helpers import TAG, put_label
from PIL import Image

from triage.errors import BadInput, Cancelled
from triage.exchange import export_library, read_labels_file
from triage.exchange.splits import split_decks
from triage.exchange.tables import TABLES
from triage.exchange.xmp import sidecar
from triage.ingest import ingest
from triage.label.files import read_csv_rows
from triage.label.rows import give_labels, store_rows
from triage.library import EventDraft, Library, queries
from triage.library.records import Photo

SERIAL = "SERIAL-4711"
BOX = (0.25, 0.5, 0.125, 0.25)


def picture(path: Path, seed: int, orientation: int = 1) -> None:
    """A JPEG with a position, a serial number and an owner in its EXIF."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = np.random.default_rng(seed).integers(0, 255, (6, 8, 3), np.uint8)
    image = Image.fromarray(cv2.resize(rows, (80, 60), interpolation=cv2.INTER_CUBIC))
    exif = Image.Exif()
    exif[0x0112], exif[0x013B], exif[0x0110] = orientation, "Owner Name", "Phone 1"
    inside = exif.get_ifd(0x8769)
    inside[0xA431], inside[0x9003] = SERIAL, f"2026:05:0{1 + seed % 5} 10:00:00"
    gps = exif.get_ifd(0x8825)
    gps.update({1: "N", 2: (46.0, 54.0, 1.8), 3: "W", 4: (7.0, 30.0, 0.0)})
    image.save(path, exif=exif, quality=92)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Library]:
    root = tmp_path_factory.mktemp("export")
    for deck in range(6):
        for one in range(2):
            picture(root / "card" / f"D {deck}" / "a" / f"{one}.jpg", 10 * deck + one, 6 if one else 1)
    with Library.create(root / "library") as made:
        ingest(made, [root / "card"], by="ann", engine="here")
        photos = queries.photos(made)
        give_labels(
            made,
            [(photos[0], {TAG: "present"})],
            by="=Ann Owner",
            boxes=[BOX, (0.5, 0.5, 0.0, 0.0)],
            place="joist 4",
            count=3,
            note="told by Mr X",
            saw_machine=True,
        )
        give_labels(made, [(photos[1], {TAG: "present"})], by="ben", boxes=[(0.0, 0.0, 1.0, 1.0)])
        for photo in photos[2:]:
            put_label(made, photo.sha, "absent", "ben")
        put_label(made, photos[0].sha, "present", "ben", "shows-hanger")
        put_label(made, photos[0].sha, "absent", "ben")
        yield made


def everything(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


@pytest.mark.parametrize("kind", ["csv", "parquet", "coco", "croissant", "xmp"])
def test_nothing_private_leaves_unless_asked(library: Library, tmp_path: Path, kind: str) -> None:
    done = export_library(library, tmp_path / "out", kind, pictures="full", pseudonyms=True)
    assert done.set_aside == []
    assert all(file.is_file() for file in done.files)
    found = everything(tmp_path / "out")
    for secret in (SERIAL, "Owner Name", "Ann Owner", "told by Mr X", "46.9", "46,54"):
        assert secret.encode() not in found, secret
    assert (tmp_path / "out" / "datasheet.md").is_file()
    for file in (tmp_path / "out").rglob("*.jpg"):
        with Image.open(file) as image:
            assert not image.getexif()


def test_csv_tables_are_read_by_pandas_with_their_dictionary(library: Library, tmp_path: Path) -> None:
    export_library(library, tmp_path, "csv", split=(0.5, 0.5), seed="1", show_position=True)
    tables = {name: pd.read_csv(tmp_path / f"{name}.csv") for name in TABLES}
    dictionary = tables.pop("dictionary")
    for name, table in tables.items():
        assert list(table.columns) == list(dictionary[dictionary.table == name].column)
    photos = tables["photos"].set_index("photo")
    assert photos.latitude.iloc[0] == pytest.approx(46.9005)
    assert photos.longitude.iloc[0] == pytest.approx(-7.5)
    assert len(tables["labels"]) == len(queries.labels(library)) == 14
    counts = tables["words"].groupby(["tag", "value"]).size()
    assert counts[TAG, "present"] == 2
    assert counts[TAG, "absent"] == 10
    assert tables["words"].disputed.sum() == 1
    assert photos.groupby("deck").split.nunique().max() == 1
    assert set(photos.split) == {"train", "test"}


def test_csv_labels_are_read_back_by_label_read(library: Library, tmp_path: Path) -> None:
    export_library(library, tmp_path, "csv", pseudonyms=False)
    rows, aside = read_csv_rows(tmp_path / "labels.csv")
    assert aside == []
    first = next(row for row in rows if row.count == 3)
    assert (first.by, first.note, first.saw_machine) == ("=Ann Owner", "told by Mr X", True)
    assert first.boxes == (BOX, (0.5, 0.5, 0.0, 0.0))
    done = store_rows(library, rows, aside, by=None, dry_run=True)
    assert (done.new, done.known) == (0, 14)  # what was said here says nothing new
    with Library.create(tmp_path / "other") as other:
        merged = [EventDraft("photo-added", one.payload, "ann") for one in library.events("photo-added")]
        merged += [EventDraft("placed", one.payload, "ann") for one in library.events("placed")]
        other.say_many(merged)
        assert store_rows(other, rows, aside, by=None, dry_run=True).new == 14


def test_parquet_is_read_by_pandas_with_types(library: Library, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    export_library(library, tmp_path, "parquet")
    labels = pd.read_parquet(tmp_path / "labels.parquet")
    assert len(labels) == 14
    assert labels.saw_machine.dtype == "boolean"
    assert labels["count"].max() == 3
    assert set(labels.value) == {"present", "absent"}
    photos = pd.read_parquet(tmp_path / "photos.parquet")
    assert photos.width.dtype == "Int64"
    assert photos.taken_at_local.dt.year.eq(2026).all()
    assert photos.taken_at.isna().all()  # the camera named no zone, and none is guessed
    assert photos.latitude.isna().all()


def test_coco_is_read_by_pycocotools(library: Library, tmp_path: Path) -> None:
    coco = pytest.importorskip("pycocotools.coco")
    export_library(library, tmp_path, "coco", pictures="full")
    with contextlib.redirect_stdout(io.StringIO()):
        data = coco.COCO(str(tmp_path / "coco.json"))
    category = next(one["id"] for one in data.loadCats(data.getCatIds()) if one["name"] == TAG)
    images = data.loadImgs(data.getImgIds(catIds=[category]))
    assert len(images) == 2
    photo = queries.photos(library)[0]
    (image,) = [one for one in images if one["sha256"] == photo.sha]
    file = tmp_path / "photos" / image["file_name"]
    with Image.open(file) as opened:
        assert opened.size == (image["width"], image["height"]) == (photo.width, photo.height)
    boxes = [one["bbox"] for one in data.loadAnns(data.getAnnIds(imgIds=[image["id"]]))]
    assert boxes[0] == pytest.approx(
        [BOX[0] * photo.width, BOX[1] * photo.height, BOX[2] * photo.width, BOX[3] * photo.height]
    )
    assert all(one["area"] == one["bbox"][2] * one["bbox"][3] for one in data.anns.values())


@pytest.mark.parametrize("pictures", ["renditions", "full", "none"])
def test_coco_comes_back_as_the_same_words(library: Library, tmp_path: Path, pictures: str) -> None:
    export_library(library, tmp_path, "coco", pictures=pictures, pseudonyms=False)
    rows, aside = read_labels_file(library, tmp_path / "coco.json")
    assert aside == []
    given = {(one.photo, one.tag, one.value, one.by): one.boxes for one in queries.labels(library)}
    back = {(one.photo, one.tag, one.value, one.by): one.boxes for one in rows}
    assert back.keys() == given.keys()
    for key, boxes in given.items():
        assert np.allclose(back[key], boxes)


def test_coco_splits_stand_in_files_of_their_own(library: Library, tmp_path: Path) -> None:
    done = export_library(library, tmp_path, "coco", split=(0.6, 0.2, 0.2), seed="3", pictures="none")
    decks = []
    for part in ("train", "validation", "test"):
        data = json.loads((tmp_path / f"coco-{part}.json").read_text())
        decks.append({one["deck"] for one in data["images"]})
        known = {one["id"] for one in data["images"]}
        assert {one["image_id"] for one in data["annotations"] + data["image_labels"]} <= known
    assert sum(map(len, decks)) == len(set.union(*decks)) == 6
    assert done.seed == "3"


def test_croissant_is_validated_and_read_by_mlcroissant(library: Library, tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        croissant = pytest.importorskip("mlcroissant")
        export_library(library, tmp_path, "croissant")
        dataset = croissant.Dataset(str(tmp_path / "croissant.json"))
        labels = list(dataset.records("labels"))
        photos = {row["photos/file"]: row for row in dataset.records("photos")}
        pictures = {row["pictures/file"]: row["pictures/image"] for row in dataset.records("pictures")}
    issues = dataset.metadata.ctx.issues
    assert not issues.errors
    assert not issues.warnings
    assert len(labels) == 14
    assert sum(row["labels/saw_machine"] for row in labels) == 1
    assert {row["labels/tag"].decode() for row in labels} == {TAG, "shows-hanger"}
    assert pictures.keys() == photos.keys()
    for name, picture in pictures.items():
        assert picture.size == (photos[name]["photos/width"], photos[name]["photos/height"])


def test_croissant_describes_no_pictures_where_there_are_none(library: Library, tmp_path: Path) -> None:
    export_library(library, tmp_path, "croissant", pictures="none")
    said = json.loads((tmp_path / "croissant.json").read_text())
    assert {one["@type"] for one in said["distribution"]} == {"cr:FileObject"}
    assert "pictures" not in {one["@id"] for one in said["recordSet"]}


@pytest.mark.skipif(
    shutil.which("exiftool") is None, reason="exiftool (libimage-exiftool-perl) is not installed"
)
def test_sidecars_are_read_by_exiftool(library: Library, tmp_path: Path) -> None:
    export_library(library, tmp_path, "xmp", pictures="none", show_position=True)
    files = sorted(tmp_path.rglob("*.xmp"))
    assert len(files) == 12
    out = subprocess.run(
        ["exiftool", "-j", "-struct", "-n", *map(str, files)], capture_output=True, text=True, check=True
    )
    by_sha = {one["Identifier"]: one for one in json.loads(out.stdout)}
    said = by_sha[queries.photos(library)[0].sha]
    assert said["Subject"] == [TAG, "shows-hanger"]
    assert said["GPSLatitude"] == pytest.approx(46.9005, abs=1e-6)
    assert said["GPSLongitude"] == pytest.approx(-7.5, abs=1e-6)
    rectangle, point = (one["RegionBoundary"] for one in said["ImageRegion"])
    assert [rectangle[key] for key in ("RbX", "RbY", "RbW", "RbH")] == list(BOX)
    assert (rectangle["RbShape"], rectangle["RbUnit"]) == ("rectangle", "relative")
    assert point["RbVertices"] == [{"RbX": 0.5, "RbY": 0.5}]
    assert said["ImageRegion"][0]["Name"] == TAG
    assert "Subject" not in by_sha[queries.photos(library)[2].sha]
    assert "Warning" not in out.stdout


def test_a_hostile_text_stays_a_text_in_a_sidecar() -> None:
    from defusedxml.ElementTree import fromstring

    photo = Photo("ab" * 32, "d", None, "n", 1, 1, 1, 1, None, None)
    hostile = '</rdf:li><x a="1">&\x00'
    text = sidecar(photo, [(hostile, ((0.1, 0.1, 0.1, 0.1),))])
    tree = fromstring(text.split("?>", 1)[1].rsplit("<?xpacket", 1)[0])
    assert hostile[:-1] in [one.text for one in tree.iter() if one.tag.endswith("}li")]


def test_the_datasheet_says_what_is_known_and_what_is_not(library: Library, tmp_path: Path) -> None:
    export_library(library, tmp_path, "csv", split=(0.5, 0.5), seed="77")
    text = (tmp_path / "datasheet.md").read_text()
    assert "12 photos of 6 decks" in text
    assert "The library does not know" in text
    assert "seed `77`" in text
    assert "Positions were left out" in text
    assert "observed" in text
    assert next(iter(library.head().values()))["hash"] in text


def test_a_photo_that_cannot_be_written_is_set_aside(library: Library, tmp_path: Path) -> None:
    photo = queries.photos(library)[3]
    original = library.original(photo.sha)
    original.rename(tmp_path / "kept")
    try:
        done = export_library(library, tmp_path / "out", "coco", pictures="full")
    finally:
        (tmp_path / "kept").rename(original)
    assert [name for name, _ in done.set_aside] == [photo.path_name]
    assert len(list((tmp_path / "out").rglob("*.jpg"))) == 11


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"kind": "xlsx"}, "not an export format"),
        ({"split": (0.5, 0.6)}, "add up to 1.1"),
        ({"split": (0.25,) * 4}, "one to three"),
        ({"split": (1.5, -0.5)}, "one to three"),
        ({"pictures": "raw"}, "not a way"),
    ],
)
def test_what_cannot_be_exported_is_a_sentence(library: Library, tmp_path: Path, more, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        export_library(library, tmp_path, **({"kind": "csv"} | more))
    with pytest.raises(Cancelled):
        export_library(library, tmp_path, "coco", cancel=lambda: True)


def test_an_empty_library_is_a_sentence(tmp_path: Path) -> None:
    with Library.create(tmp_path / "empty") as empty, pytest.raises(BadInput, match="no photos"):
        export_library(empty, tmp_path / "out", "csv")


def test_splits_hold_their_shares_and_depend_on_seed_and_decks_alone() -> None:
    sizes = {f"D-{one}": 3 + one % 5 for one in range(60)}
    splits = split_decks(sizes, (0.7, 0.15, 0.15), "5")
    for name, share in zip(splits.names, splits.shares, strict=True):
        held = sum(size for deck, size in sizes.items() if splits.of[deck] == name)
        assert held / sum(sizes.values()) == pytest.approx(share, abs=0.03)
    assert split_decks(dict(reversed(sizes.items())), (0.7, 0.15, 0.15), "5").of == splits.of
    assert split_decks(sizes, (0.7, 0.15, 0.15), "6").of != splits.of
    few = split_decks({"a": 100, "b": 1, "c": 1}, (0.7, 0.15, 0.15), "5")
    assert set(few.of.values()) == {"train", "validation", "test"}
    with pytest.raises(BadInput, match="2 decks cannot be split into 3"):
        split_decks({"a": 1, "b": 1}, (0.7, 0.15, 0.15))


def test_decks_that_share_look_alikes_stand_on_one_side_of_a_split(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from triage.library.look_alikes import DeckGroups

    decks = sorted({one.deck for one in queries.photos(library)})
    one = DeckGroups({decks[0]: decks[0], decks[-1]: decks[0]}, frozenset())
    monkeypatch.setattr("triage.exchange.export.deck_groups", lambda _library: one)
    for seed in "1234":
        export_library(library, tmp_path / seed, "csv", split=(0.5, 0.5), seed=seed)
        sides = pd.read_csv(tmp_path / seed / "photos.csv").groupby("deck")["split"].unique()
        assert all(len(side) == 1 for side in sides)
        assert sides[decks[0]][0] == sides[decks[-1]][0]
