"""CSV label files: what is taken, what is set aside with which reason, and that all texts come back."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from triage.errors import BadInput
from triage.label.files import COLUMNS, parse_boxes, read_csv_rows, write_csv
from triage.library.records import Label, Photo

SAMPLE = Path(__file__).parents[2] / "sample_photos" / "labels.csv"


def _file(folder: Path, text: str | bytes) -> Path:
    path = folder / "labels.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _photo(sha: str, deck: str, name: str, visit: str | None = None) -> Photo:
    return Photo(sha, deck, visit, name, 100, 80, 1, 10, None, None)


def test_the_first_four_columns_are_enough(tmp_path: Path) -> None:
    rows, aside = read_csv_rows(_file(tmp_path, "photo,deck,tag,value\na.jpg,d1,rust,Present\n"))
    assert aside == []
    (row,) = rows
    assert (row.row, row.photo, row.deck, row.tag, row.value) == (2, "a.jpg", "d1", "rust", "present")
    assert (row.by, row.at, row.boxes, row.asked_by, row.saw_machine) == (None, None, (), "taken", False)


def test_demo_labels_are_read_without_a_loss() -> None:
    rows, aside = read_csv_rows(SAMPLE)
    with SAMPLE.open(newline="") as handle:
        assert len(rows) == sum(1 for _ in csv.DictReader(handle))
    assert aside == []
    assert {row.by for row in rows} == {"scene-truth"}


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_what_spreadsheets_save_is_read(tmp_path: Path, delimiter: str, encoding: str) -> None:
    text = 'Photo,Deck,Tag,Value,box\r\né.jpg,d1,rust,present,"0,0,1,1;.5,.5,0,0"\r\n'
    if delimiter != ",":
        text = f"photo{delimiter}deck{delimiter}tag{delimiter}value{delimiter}box\r\n" + delimiter.join(
            ["é.jpg", "d1", "rust", "present", '"0,0,1,1;.5,.5,0,0"\r\n']
        )
    rows, aside = read_csv_rows(_file(tmp_path, text.encode(encoding)))
    assert aside == []
    assert rows[0].photo == "é.jpg"
    assert rows[0].boxes == ((0.0, 0.0, 1.0, 1.0), (0.5, 0.5, 0.0, 0.0))


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("a,d,rust,maybe,,,,,", "value 'maybe'"),
        (",d,rust,present,,,,,", "photo is empty"),
        ("a,d,,present,,,,,", "tag is empty"),
        ("a,d,rust,present,yesterday,,,,", "not an ISO 8601"),
        ('a,d,rust,present,,"0,0,1",,,', "x,y,width,height"),
        ('a,d,rust,present,,"0,0,2,1",,,', "outside the photo"),
        ('a,d,rust,present,,"0,0,nan,1",,,', "not finite"),
        ('a,d,rust,present,,"0,0,-.1,1",,,', "negative side"),
        ('a,d,rust,present,,"0,0,x,1",,,', "not a number"),
        ("a,d,rust,present,,,2.5,,", "count '2.5'"),
        ("a,d,rust,present,,,1e99,,", "count '1e99'"),
        ("a,d,rust,present,,,nan,,", "count 'nan'"),
        ("a,d,rust,present,,,,guess,", "asked_by 'guess'"),
        ("a,d,rust,present,,,,,perhaps", "saw_machine 'perhaps'"),
        ("a\x00,d,rust,present,,,,,", "control character"),
        ("a,d,rust,present,,,,,,,,", "the row has 12 cells"),
    ],
)
def test_a_bad_row_is_set_aside_and_the_next_one_read(tmp_path: Path, cells: str, reason: str) -> None:
    header = "photo,deck,tag,value,at,box,count,asked_by,saw_machine"
    rows, aside = read_csv_rows(_file(tmp_path, f"{header}\n{cells}\nb,d,rust,absent,,,,,\n"))
    assert [row.photo for row in rows] == ["b"]
    assert [one.row for one in aside] == [2]
    assert reason in aside[0].reason


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "empty"),
        ("photo,deck,tag\na,b,c\n", "no column value"),
        ("photo,photo,tag,value\na,b,c,present\n", "twice"),
        ("photo,deck,tag,value\n\n", "no rows"),
        (b"photo,deck,tag,value\n\xe9,d,t,present\n", "not UTF-8"),
    ],
)
def test_a_file_that_is_none_is_refused(tmp_path: Path, text: str | bytes, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        read_csv_rows(_file(tmp_path, text))


def test_a_missing_file_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        read_csv_rows(tmp_path / "none.csv")


def test_a_misspelt_column_is_told(tmp_path: Path) -> None:
    rows, aside = read_csv_rows(_file(tmp_path, "photo,deck,tag,value,asked by\na,d,rust,present,deck\n"))
    assert len(rows) == 1
    assert "'asked_by' meant" in aside[0].reason


def test_every_text_comes_back_and_no_cell_is_a_formula(tmp_path: Path) -> None:
    texts = ["=1+1", "'=x", "@sum", "+49", "-5 of 8", 'a;b,"c"\nd', "'plain", "ü"]
    photos = {"a" * 64: _photo("a" * 64, "d 1", "p/one.jpg"), "b" * 64: _photo("b" * 64, "=d", "=two.jpg")}
    box = (0.1, 1 / 3, 0.2, 0.0)
    labels = [
        Label(
            "ab"[i % 2] * 64,
            "rust",
            "present",
            text,
            "2026-11-01T10:00:00",
            (box, box),
            text,
            i,
            "deck",
            bool(i % 2),
            text,
        )
        for i, text in enumerate(texts)
    ]
    path = tmp_path / "out.csv"
    assert write_csv(path, labels, photos) == len(texts)
    assert path.read_text(encoding="utf-8").split("\n", 1)[0] == ",".join(COLUMNS)
    with path.open(newline="", encoding="utf-8") as handle:
        assert not [cell for line in csv.reader(handle) for cell in line if cell[:1] in set("=+-@")]
    rows, aside = read_csv_rows(path)
    assert aside == []
    assert [row.note for row in rows] == [row.by for row in rows] == [row.place for row in rows] == texts
    assert rows[0].photo == "d 1/p/one.jpg"
    assert (rows[1].photo, rows[1].deck) == ("=d/=two.jpg", "=d")
    assert rows[3].boxes == (box, box)
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


def test_photos_of_one_name_are_written_by_hash(tmp_path: Path) -> None:
    photos = {s * 64: _photo(s * 64, "d", "one.jpg", visit) for s, visit in [("a", "2025"), ("b", "2026")]}
    write_csv(tmp_path / "o.csv", [Label("b" * 64, "rust", "absent", "ann", "2026-01-01")], photos)
    rows, _ = read_csv_rows(tmp_path / "o.csv")
    assert rows[0].photo == "b" * 64


def test_the_same_words_have_the_same_hash(tmp_path: Path) -> None:
    text = "photo,deck,tag,value,note\na,d,rust,present,x\na,d,rust,present,x\na,d,rust,present,y\n"
    rows, _ = read_csv_rows(_file(tmp_path, text))
    assert rows[0].row_hash == rows[1].row_hash != rows[2].row_hash


def test_a_box_rounded_over_the_edge_is_cut() -> None:
    ((x, _, width, _),) = parse_boxes("0.9999999,0,0.0000005,1")
    assert x + width <= 1.0
    with pytest.raises(BadInput, match="outside"):
        parse_boxes("0.9,0,0.2,1")


def test_writing_into_no_folder_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        write_csv(tmp_path / "no" / "o.csv", [], {})
