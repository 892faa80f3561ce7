"""The site sheet's definition, and the forms on paper that are made from it."""

from __future__ import annotations

import csv
import io
import re
from importlib.util import find_spec

import pytest

from triage.errors import BadInput
from triage.structure.blank_sheets import deck_pages, season_table, template_csv
from triage.structure.facts import FACT_KEYS, parse_fact
from triage.structure.site_sheet import as_written, more_lines, short_lines, short_sheet

WALK = ["height", "house", "guard", "stairs", "posts", "joists", "ledger", "beam", "use"]


def test_the_short_sheet_follows_the_walk_and_the_rest_stands_behind_more():
    assert [section.name for section in short_sheet()] == WALK
    keys = [line.key.key for line in (*short_lines(), *more_lines())]
    assert sorted(keys) == sorted(FACT_KEYS)
    assert len(short_lines()) <= 30


@pytest.mark.parametrize("line", [*short_lines(), *more_lines()], ids=lambda line: line.key.key)
def test_every_example_of_the_sheet_is_an_answer(line):
    examples = [line.example] if line.key.type in ("list", "text") else line.example.split(", ")
    for example in examples:
        if not example.startswith("a number"):
            assert parse_fact(line.key.key, example) is not None


@pytest.mark.parametrize("section", short_sheet(), ids=lambda section: section.name)
def test_every_stop_has_a_drawing_that_fits_a_terminal(section):
    drawing = section.lines[0].drawing
    assert drawing
    assert max(len(line) for line in drawing.splitlines()) <= 90
    assert drawing.isascii()


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("height", "9ft", 9.0),
        ("height", "9' 6\"", 9.5),
        ("height", "9'6", 9.5),
        ("height", "9-6", 9.5),
        ("height", "9 \u00bd ft", 9.5),
        ("joist spacing", '16" O.C.', 16.0),
        ("joist_spacing", "16 on center", 16.0),
        ("joist_size", "2 x 10", "2x10"),
        ("joist_size", "2 by 8", "2x8"),
        ("beam", "double 2x10", "2-2x10"),
        ("beam", "(3) 2x12", "3-2x12"),
        ("beam", "2 ply 2x8", "2-2x8"),
        ("species", "SYP", "southern-pine"),
        ("species", "Doug fir", "douglas-fir-larch"),
        ("ledger_fastener", "lags", "half-inch-lag"),
        ("ledger_fastener", "screws", "unmarked-screw"),
        ("has_guard", "y", True),
    ],
)
def test_answers_as_people_write_them(key, text, value):
    assert parse_fact(key, text) == value


def test_a_screw_that_nobody_named_is_never_a_structural_one():
    assert parse_fact("ledger_fastener", "screw") == "unmarked-screw"


@pytest.mark.parametrize("text", ["22x10", "9x9x9", "9 ft 14 in ft"])
def test_what_could_mean_two_things_is_refused(text):
    with pytest.raises(BadInput):
        parse_fact("beam_size" if "x" in text else "height", text)


@pytest.mark.parametrize(
    ("key", "value"), [("joist_span_ft", 11.5), ("joist_size", "2x8"), ("has_guard", False)]
)
def test_a_value_as_written_reads_back(key, value):
    assert parse_fact(key, as_written(FACT_KEYS[key], value)) == value


def test_the_season_table_has_every_deck_and_every_question_once():
    page = season_table({"D-1": {"height_above_grade_ft": 9.5}, "<b>D-2": {}})
    assert "9 ft 6 in" in page
    assert "<b>D-2" not in page
    for line in short_lines():
        assert len(re.findall(rf"<th>{line.label}(?: \(\w+\))?</th>", page)) == 1


def test_one_page_a_deck_on_paper():
    if find_spec("weasyprint") is None:
        pytest.skip("the pdf extra is not installed")
    from pypdf import PdfReader

    from triage.report.pdf import to_pdf

    known = {"D-1": {"height_above_grade_ft": 9.0}, "D-2": {}, "D-3": {"has_guard": True}}
    assert len(PdfReader(io.BytesIO(to_pdf(deck_pages(known).encode()))).pages) == 3


def test_the_template_holds_the_short_sheet_for_every_deck():
    rows = list(csv.DictReader(io.StringIO(template_csv({"D-1": {}, "D-2": {"has_guard": True}}))))
    assert len(rows) == 2 * len(short_lines())
    assert [row["value"] for row in rows if row["value"]] == ["true"]
