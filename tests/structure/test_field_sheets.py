"""Sheets that come back from phones: who, when and which sheet; two merge; nothing is overwritten unasked."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.errors import BadInput, WrongUsage
from triage.library import Library, queries
from triage.structure.field_sheets import is_field_sheet, read_sheet
from triage.structure.telling import repairs, set_facts

HEAD = "deck,visit,key,value,by,at,sheet,was\n"


def row(key, value, by="ben", at="2026-11-20T09:30:00-05:00", was="", deck="D-1", visit="2026-11-20"):
    return f"{deck},{visit},{key},{value},{by},{at},abc123,{was}\n"


@pytest.fixture
def library(tmp_path):
    with Library.create(tmp_path / "lib") as one:
        yield one


def sheet(folder: Path, *rows: str, name: str = "phone.csv") -> Path:
    path = folder / name
    path.write_text(HEAD + "".join(rows))
    return path


def values(library: Library) -> dict[str, object]:
    return {key: fact.value for key, fact in queries.facts(library, "D-1").items()}


def test_who_when_and_which_sheet_are_kept(library, tmp_path):
    path = sheet(tmp_path, row("height_above_grade_ft", "9ft"))
    assert is_field_sheet(path)
    read = read_sheet(library, path, by=None)
    fact = queries.facts(library, "D-1")["height_above_grade_ft"]
    assert (fact.value, fact.by, fact.visit) == (9.0, "ben", "2026-11-20")
    assert fact.at.startswith("2026-11-20")
    assert read.told == {"D-1": {"height_above_grade_ft": 9.0}}
    assert [event.payload["sheet"] for event in library.events() if event.kind == "fact"] == ["abc123"]


def test_reading_twice_adds_nothing(library, tmp_path):
    path = sheet(tmp_path, row("height_above_grade_ft", "9ft"), row("concealed", '"ledger, flashing"'))
    read_sheet(library, path, by=None)
    again = read_sheet(library, path, by=None)
    assert (dict(again.told), again.known, again.set_aside) == ({}, 2, [])


def test_two_phones_that_differ_are_both_named_and_the_first_stands(library, tmp_path):
    read_sheet(library, sheet(tmp_path, row("joist_size", "2x8", by="ann")), by=None)
    second = read_sheet(library, sheet(tmp_path, row("joist_size", "2x10", by="ben")), by=None)
    assert values(library) == {"joist_size": "2x8"}
    assert "2x10" in second.set_aside[0]["reason"]
    assert "2x8 by ann" in second.set_aside[0]["reason"]


def test_a_later_visit_is_news_and_no_quarrel(library, tmp_path):
    set_facts(library, "D-1", {"ledger_fastener": "nail"}, by="ann", visit="2026-05-04")
    read = read_sheet(library, sheet(tmp_path, row("ledger_fastener", "bolts", was="nail")), by=None)
    assert read.set_aside == []
    assert values(library) == {"ledger_fastener": "half-inch-bolt"}


def test_what_the_sheet_knew_may_be_corrected_by_it(library, tmp_path):
    set_facts(library, "D-1", {"joist_size": "2x8"}, by="ann", visit="2026-11-20")
    read = read_sheet(library, sheet(tmp_path, row("joist_size", "2x10", was="2x8")), by=None)
    assert read.set_aside == []
    assert values(library) == {"joist_size": "2x10"}


def test_a_bad_row_is_set_aside_and_the_others_are_taken(library, tmp_path):
    path = sheet(
        tmp_path,
        row("height_above_grade_ft", "900 ft"),
        row("joist_size", "2x8"),
        row("nonsense", "1"),
        row("deck_depth_ft", "10"),
        row("joist_span_ft", "14"),
    )
    read = read_sheet(library, path, by=None)
    assert values(library) == {"joist_size": "2x8", "deck_depth_ft": 10.0}
    assert [one["row"] for one in read.set_aside] == [2, 4, 6]


def test_a_row_that_names_nobody_needs_a_speaker(library, tmp_path):
    path = sheet(tmp_path, row("joist_size", "2x8", by=""))
    with pytest.raises(WrongUsage):
        read_sheet(library, path, by=None)
    read_sheet(library, path, by="cy")
    assert queries.facts(library, "D-1")["joist_size"].by == "cy"


KEYS = {"joist_size": ["2x8", "2x10"], "has_stairs": ["yes", "no"], "post_count": ["2", "3"]}
PHONE = st.fixed_dictionaries({}, optional={key: st.sampled_from(options) for key, options in KEYS.items()})


@settings(max_examples=6, deadline=None)
@given(st.lists(PHONE, min_size=2, max_size=3))
def test_phones_merge_in_any_order_and_whatever_is_agreed_or_said_once_is_there(tmp_path_factory, phones):
    agreed = {
        key: values.pop()
        for key in KEYS
        if len(values := {phone[key] for phone in phones if key in phone}) == 1
    }
    for order in itertools.permutations(range(len(phones))):
        folder = tmp_path_factory.mktemp("merge")
        with Library.create(folder / "lib") as library:
            aside = 0
            for number in order:
                rows = [row(key, value, by=f"p{number}") for key, value in phones[number].items()]
                read = read_sheet(library, sheet(folder, *rows, name=f"{number}.csv"), by=None)
                aside += len(read.set_aside)
            facts = queries.facts(library, "D-1")
            for key in agreed:
                assert key in facts
            assert set(facts) == {key for phone in phones for key in phone}
            quarrels = {key for key in facts if key not in agreed}
            assert bool(aside) == bool(quarrels)


def test_a_ledger_bolted_at_a_later_visit_is_a_repair(library, tmp_path):
    set_facts(
        library, "D-1", {"ledger_fastener": "nail", "ledger_nail": "16d-common"}, by="ann", visit="2026-05-04"
    )
    read = read_sheet(library, sheet(tmp_path, row("ledger_fastener", "bolts", was="nail")), by=None)
    assert read.set_aside == []
    assert values(library) == {"ledger_fastener": "half-inch-bolt"}
    assert set(queries.facts(library, "D-1", "2026-05-04")) == {"ledger_fastener", "ledger_nail"}


def test_a_repair_is_one_act_and_undone_as_one(library):
    nailed = {"ledger_fastener": "nail", "ledger_nail": "16d-common"}
    set_facts(library, "D-1", nailed, by="ann", visit="2026-05-04")
    told = repairs(library, "D-1", "2026-11-20", {"ledger_fastener": "bolts"})
    assert "ledger_nail was 16d-common at the visit of 2026-05-04" in told[0]
    set_facts(library, "D-1", {"ledger_fastener": "bolts", "joist_size": "2x8"}, by="ann", visit="2026-11-20")
    assert values(library) == {"ledger_fastener": "half-inch-bolt", "joist_size": "2x8"}
    library.undo("ann")
    assert values(library) == nailed


def test_lengths_that_do_not_fit_are_never_ended_by_themselves(library):
    set_facts(library, "D-1", {"deck_depth_ft": "10"}, by="ann", visit="2026-05-04")
    with pytest.raises(BadInput, match="from the visit of 2026-05-04") as refused:
        set_facts(library, "D-1", {"joist_span_ft": "14"}, by="ann", visit="2026-11-20")
    assert "facts set D-1 joist_span_ft=14.0 deck_depth_ft=NEW" in refused.value.hint
    assert values(library) == {"deck_depth_ft": 10.0}


def test_at_one_visit_a_nail_beside_bolts_stays_a_contradiction(library):
    set_facts(
        library, "D-1", {"ledger_fastener": "nail", "ledger_nail": "16d-common"}, by="ann", visit="2026-05-04"
    )
    with pytest.raises(BadInput, match="ledger_nail is given"):
        set_facts(library, "D-1", {"ledger_fastener": "bolts"}, by="ann", visit="2026-05-04")
