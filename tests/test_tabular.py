"""One reader and one writer for CSV: no row is lost without a word, no cell is run as a formula."""

from __future__ import annotations

import csv
import io
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.errors import BadInput
from triage.tabular import csv_text, plain_cell, read_csv, read_text, safe_cell

TEXTS = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\x00"), max_size=12)
NO_TABLE = (
    ["--help"],
    ["export", "--help"],
    ["status"],
    ["decks"],
    ["photos"],
    ["tags"],
    ["label", "set", "D-17/IMG_0410.jpg", "nail-only-ledger=present", "--by", "ann"],
    ["assess"],
    ["facts", "show", "D-17"],
)


@settings(deadline=None)
@given(st.lists(st.tuples(TEXTS, TEXTS, TEXTS), max_size=8))
def test_what_is_written_comes_back(rows: list[tuple[str, str, str]]) -> None:
    text = csv_text(["a", "b", "c"], rows)
    read = read_csv("f.csv", text)
    back = [tuple(plain_cell(cell or "") for cell in row.cells.values()) for row in read.rows()]
    assert back == [row for row in rows if any(cell.strip() for cell in map(safe_cell, row))]


@settings(deadline=None)
@given(TEXTS)
def test_no_cell_is_a_formula(text: str) -> None:
    assert safe_cell(text)[:1] not in set("=+-@\t\r\uff1d\uff0b\uff0d\uff20")
    assert plain_cell(safe_cell(text)) == text


@settings(deadline=None)
@given(st.lists(st.lists(st.text("ab ", max_size=3), min_size=1, max_size=5), max_size=10))
def test_every_row_is_there_with_its_line_and_its_width(rows: list[list[str]]) -> None:
    lines = ["x,y,z", *(",".join(row) for row in rows)]
    read = list(read_csv("f.csv", "\n".join(lines) + "\n").rows())
    assert [(row.number, row.line, row.width) for row in read] == [
        (place, place, len(row))
        for place, row in enumerate(rows, start=2)
        if any(cell.strip() for cell in row)
    ]
    for row in read:
        given_cells = [*rows[row.line - 2], None, None, None][:3]
        assert list(row.cells.values()) == given_cells


def test_a_cell_over_several_lines_moves_the_line_and_not_the_number() -> None:
    read = list(read_csv("f.csv", 'a,b\n"x\ny",1\nz,2\n').rows())
    assert [(row.number, row.line) for row in read] == [(2, 3), (3, 4)]


def test_an_open_quotation_mark_hides_no_rows() -> None:
    with pytest.raises(BadInput, match="line 3: a quotation mark is opened and never closed"):
        read_csv("f.csv", 'a,b\n1,2\n"3,4\n5,6\n7,8\n')
    rows = list(read_csv("f.csv", 'a,b\n36" high,2\n"36"" high",4\n').rows())
    assert [row.cells["a"] for row in rows] == ['36" high', '36" high']


@pytest.mark.parametrize("text", ["", "\n\n", ",,\n1,2,3\n"])
def test_a_file_without_a_header_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="f.csv is empty or has no header"):
        read_csv("f.csv", text)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_text_of_three_encodings_is_read(tmp_path, encoding: str) -> None:
    (tmp_path / "f.csv").write_bytes("a;b\r\né;2\r\n".encode(encoding))
    (row,) = read_csv("f.csv", read_text(tmp_path / "f.csv")).rows()
    assert row.cells == {"a": "é", "b": "2"}
    (tmp_path / "f.csv").write_bytes(b"a;b\n\xe9;2\n")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_text(tmp_path / "f.csv")


def test_values_are_written_as_they_are() -> None:
    text = csv_text(["a", "b", "c", "d"], [[None, True, 1 / 3, "=1"], [0, False, 2, "x"]])
    assert list(csv.reader(io.StringIO(text))) == [
        ["a", "b", "c", "d"],
        ["", "true", repr(1 / 3), "'=1"],
        ["0", "false", "2", "x"],
    ]


@pytest.mark.parametrize("words", NO_TABLE, ids=" ".join)
def test_a_command_without_a_table_imports_no_heavy_library(library, words: list[str]) -> None:
    where = [] if "--help" in words else ["-L", str(library.path)]
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "triage.cli.__main__", *words, *where],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 3), done.stderr[-2000:]
    imported = {line.rsplit("|", 1)[-1].strip() for line in done.stderr.splitlines()}
    assert "triage.cli" in imported
    assert not {"pandas", "pyarrow", "scipy.stats", "sklearn", "cv2", "onnxruntime"} & imported
