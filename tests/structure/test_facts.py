"""Facts of decks: units, sane ranges, files with line and key, contradictions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from triage.errors import BadInput
from triage.structure.facts import FACT_KEYS, contradictions, parse_fact
from triage.structure.facts_files import read_facts_file


@pytest.mark.parametrize(
    ("key", "raw", "value"),
    [
        ("joist_span_ft", 12, 12.0),
        ("joist_span_ft", "12", 12.0),
        ("joist_span_ft", "120 in", 10.0),
        ("joist_span_ft", "10 ft", 10.0),
        ("joist_span_ft", "10' 6\"", 10.5),
        ("joist_span_ft", "10 ft 6 in", 10.5),
        ("joist_span_ft", "3 m", 3000 / 25.4 / 12),
        ("joist_spacing_in", "1 ft 4 in", 16.0),
        ("joist_spacing_in", "16", 16.0),
        ("ledger_sheathing_in", "1/2 in", 0.5),
        ("ledger_row_spacing_in", "1-5/8", 1.625),
        ("ledger_row_spacing_in", "1 5/8 in", 1.625),
        ("live_load_psf", "40 psf", 40.0),
        ("tributary_area_sqft", "60 sq ft", 60.0),
        ("hold_down_capacity_lb", "1500 lb", 1500.0),
        ("band_moisture_percent", "28 %", 28.0),
        ("joist_count", "14", 14),
        ("attached", "yes", True),
        ("handrail", False, False),
        ("species", "Southern Pine", "southern-pine"),
        ("joist_size", "2 x 8", "2x8"),
        ("beam_size", "(2) 2x10", "2-2x10"),
        ("beam_size", "2x10", "1-2x10"),
        ("post_size", "6X6", "6x6"),
        ("concealed", "ledger; flashing", ("ledger", "flashing")),
        ("concealed", ["ledger"], ("ledger",)),
    ],
)
def test_fact_is_read_in_the_unit_of_its_key(key: str, raw: object, value: Any) -> None:
    parsed = parse_fact(key, raw)
    assert parsed == pytest.approx(value) if isinstance(value, float) else parsed == value
    assert parse_fact(key, parsed) == parsed  # reading what was read changes nothing


@pytest.mark.parametrize(
    ("key", "raw", "said"),
    [
        ("joist_spam_ft", 10, "is not the name of a deck fact"),
        ("joist_span_ft", 90, "typing error"),
        ("joist_span_ft", "-3", "typing error"),
        ("joist_span_ft", "10 psf", "is not a number in ft"),
        ("joist_span_ft", "10 kg", "is not a number in ft"),
        ("live_load_psf", "40 ft", "is not a number in psf"),
        ("live_load_psf", "1,000", "is not a number in psf"),
        ("joist_span_ft", "nan", "is not a number"),
        ("joist_span_ft", float("inf"), "is not a number"),
        ("joist_span_ft", True, "is not a number"),
        ("joist_span_ft", "1/0", "is not a number"),
        ("joist_span_ft", "", "no value"),
        ("joist_count", 3.5, "not a whole number"),
        ("attached", "maybe", "neither true nor false"),
        ("species", "oak", "is not known"),
        ("joist_size", "8", "not a size of lumber"),
        ("beam_size", "two 2x10s", "not a beam"),
        ("concealed", ["roof"], "is not known"),
        ("concealed", 3, "is not a list"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_key(key: str, raw: object, said: str) -> None:
    with pytest.raises(BadInput, match=said) as refused:
        parse_fact(key, raw)
    assert key in str(refused.value)


def test_unknown_key_names_the_near_one() -> None:
    with pytest.raises(BadInput) as refused:
        parse_fact("joist_spam_ft", 10)
    assert "joist_span_ft" in refused.value.hint


def test_every_key_has_a_meaning_and_an_element() -> None:
    for key in FACT_KEYS.values():
        assert key.meaning
        assert key.element
        assert key.type != "number" or key.high < float("inf")
        assert key.type not in ("choice", "list") or key.choices
        assert key.to_json()["key"] == key.key


def _file(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_toml_gives_deck_and_visit(tmp_path: Path) -> None:
    path = _file(
        tmp_path,
        "facts.toml",
        '[decks."oak-7"]\njoist_span_ft = "144 in"\n\n'
        '[decks."oak-7".visits."2026-05-01"]\nguard_height_in = 35\n',
    )
    assert read_facts_file(path) == {
        ("oak-7", None): {"joist_span_ft": 12.0},
        ("oak-7", "2026-05-01"): {"guard_height_in": 35.0},
    }


def test_csv_gives_the_same(tmp_path: Path) -> None:
    text = "deck,visit,key,value\noak-7,,joist_span_ft,144 in\noak-7,2026-05-01,guard_height_in,35\n"
    for name, prefix in (("facts.csv", ""), ("excel.csv", "\ufeff")):
        assert read_facts_file(_file(tmp_path, name, prefix + text)) == {
            ("oak-7", None): {"joist_span_ft": 12.0},
            ("oak-7", "2026-05-01"): {"guard_height_in": 35.0},
        }


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("f.toml", '[decks."a"]\nattached = true\njoist_span_ft = 90\n', "f.toml, line 3: joist_span_ft"),
        ("f.toml", '[decks."a"]\njoist_spam_ft = 9\n', "f.toml, line 2: 'joist_spam_ft'"),
        ("f.toml", '[decks."a".visits."may"]\njoist_span_ft = 9\n', "line 1: visit 'may' is not a date"),
        ("f.toml", "joist_span_ft = 9\n", "'joist_span_ft' was found where"),
        ("f.toml", "decks = 3\n", "no \\[decks\\] table"),
        ("f.toml", '[decks."a"\n', "f.toml: "),
        (
            "f.toml",
            '[decks."a"]\njoist_span_ft = 12\ndeck_depth_ft = 8\n',
            "line 1: deck 'a': joist_span_ft 12",
        ),
        (
            "f.toml",
            '[decks.b]\nhas_beam = false\n[decks.b.visits."2026-01-02"]\nbeam_size = "2-2x8"\n',
            "line 3: deck 'b' at the visit of 2026-01-02: has_beam is false",
        ),
        (
            "f.csv",
            "deck,visit,key,value\na,,joist_span_ft,12\na,,joist_count,x\n",
            "f.csv, line 3: joist_count",
        ),
        (
            "f.csv",
            "deck,visit,key,value\na,,joist_span_ft,12\na,,joist_span_ft,13\n",
            "line 3: .* given twice",
        ),
        ("f.csv", "deck,key,worth\na,joist_span_ft,12\n", "line 1: no column 'value'"),
        ("f.csv", "deck,key,value,color\na,joist_span_ft,12,red\n", "line 1: 'color' is not a column"),
        ("f.csv", "deck|key|value\n", "line 1: no column 'deck'"),
        ("f.csv", "", "f.csv is empty"),
        ("f.csv", "deck,key,value\n,joist_span_ft,12\n", "line 2: no deck is named"),
        ("f.csv", "deck,key,value\na,joist_span_ft,1,200\n", "line 2: more fields"),
        ("f.csv", "deck,visit,key,value\na,1 May,joist_span_ft,12\n", "line 2: visit '1 May' is not a date"),
        ("f.csv", "deck,key,value\na,joist_span_ft\n", "line 2: joist_span_ft: no value"),
        ("f.txt", "", "neither .toml nor .csv"),
    ],
)
def test_a_bad_file_is_refused_whole_with_its_place(tmp_path: Path, name: str, text: str, said: str) -> None:
    with pytest.raises(BadInput, match=said) as refused:
        read_facts_file(_file(tmp_path, name, text))
    assert "\n" not in str(refused.value).split("(at ")[0]
    assert refused.value.exit_code == 1


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    path.write_bytes(b"deck,key,value\n\xff\xfe,a,b\n")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_facts_file(path)
    with pytest.raises(BadInput, match="cannot be read"):
        read_facts_file(tmp_path / "none.toml")


@pytest.mark.parametrize(
    "facts",
    [
        {"has_beam": False, "beam_size": "2-2x8"},
        {"has_stairs": False, "stair_rise_in": 7.0},
        {"has_guard": False, "guard_height_in": 36.0},
        {"attached": False, "ledger_fastener": "nail"},
        {"attached": False, "house_side_support": "ledger"},
        {"joist_span_ft": 14.0, "deck_depth_ft": 12.0},
        {"joist_span_ft": 11.0, "joist_overhang_ft": 3.0, "deck_depth_ft": 12.0},
        {"ledger_length_ft": 30.0, "deck_width_ft": 20.0},
        {"beam_span_ft": 30.0, "deck_width_ft": 20.0},
        {"post_height_ft": 9.0, "height_above_grade_ft": 4.0},
        {"ledger_fastener": "half-inch-bolt", "ledger_nail": "16d-common"},
        {"post_count": 0, "post_size": "6x6"},
        {"stair_rise_in": 7.0, "stair_rise_spread_in": 8.0},
        {"hold_down_count": 0, "hold_down_capacity_lb": 1500.0},
    ],
)
def test_contradiction_is_told_in_one_sentence(facts: dict[str, Any]) -> None:
    said = contradictions(facts)
    assert len(said) == 1
    for key in list(facts)[:1]:
        assert key in said[0]


@pytest.mark.parametrize(
    "facts",
    [
        {},
        {"has_beam": True, "beam_size": "2-2x8"},
        {"attached": False, "ledger_fastener": "unknown"},
        {"joist_span_ft": 12.0, "deck_depth_ft": 12.0},
        {"joist_span_ft": 10.0, "joist_overhang_ft": 2.0, "deck_depth_ft": 12.0},
        {"ledger_fastener": "nail", "ledger_nail": "16d-common"},
    ],
)
def test_what_can_be_true_at_once_is_no_contradiction(facts: dict[str, Any]) -> None:
    assert contradictions(facts) == []
