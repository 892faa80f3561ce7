"""The register lists what happened and keeps names back; its code shows whether history was rewritten."""

from __future__ import annotations

import csv
import io

import pytest
from small_libraries import add_labels
from sqlalchemy import delete, update

from triage.audit.register import COLUMNS, head_code, head_faults, records, register, to_csv, to_html
from triage.errors import WrongUsage
from triage.library import Library
from triage.library.database import writing
from triage.library.tables import event

TAG = "rusted-connector"


@pytest.fixture
def told(library: Library, with_photos) -> Library:
    first, second = with_photos(2, 1)
    add_labels(library, [(first, TAG, "present", "ann"), (second, TAG, "present", "ann")])
    add_labels(library, [(first, TAG, "absent", "ben"), (second, TAG, "present", "ben")])
    library.say("settled", {"photo": first, "tag": TAG, "value": "absent"}, by="cy", private={"why": "=wet"})
    library.say("audited", {"tag": TAG, "model": "m" * 20, "seed": "7", "contradicts": True}, by="ann")
    library.say("withdrawal-lifted", {"tag": TAG}, by="cy", private={"why": "checked"})
    return library


def test_everything_that_matters_is_listed_without_names(told: Library) -> None:
    entries = register(told)
    assert [one.kind for one in entries] == ["settled", "audited", "withdrawal-lifted"]
    assert entries[1].seed == "7"
    assert "withdrawn" in entries[1].result
    assert {one.who[:7] for one in entries} == {"person-"}
    assert {one.why for one in entries} == {""}
    named = register(told, show_names=True)
    assert [(one.who, one.why) for one in named] == [("cy", "=wet"), ("ann", ""), ("cy", "checked")]


def test_files_are_safe_to_open(told: Library) -> None:
    rows = list(csv.reader(io.StringIO(to_csv(register(told, show_names=True)))))
    assert tuple(rows[0]) == COLUMNS
    assert rows[1][COLUMNS.index("why")] == "'=wet"
    told.say("settled", {"photo": "f" * 64, "tag": "<script>", "value": "absent"}, by="cy")
    assert "<script>" not in to_html(register(told), records(told), head_code(told))


def test_labellers_stand_against_settled_words(told: Library) -> None:
    found = {one.who: (one.agreed, one.of) for one in records(told, show_names=True)}
    assert found == {"ann": (0, 1), "ben": (1, 1)}


def test_a_code_tells_whether_history_was_only_added_to(told: Library) -> None:
    code = head_code(told)
    told.say("finding", {"deck": "d000", "tier": "watch"}, by="ann")
    assert head_faults(told, code) == []
    with pytest.raises(WrongUsage, match="not the code"):
        head_faults(told, "nonsense")
    with writing(told.engine) as connection:
        connection.execute(update(event).where(event.c.seq == int(code.split(".")[1])).values(hash="0" * 64))
    assert "rewritten" in head_faults(told, code)[0]
    with writing(told.engine) as connection:
        connection.execute(delete(event).where(event.c.seq >= int(code.split(".")[1])))
    assert "cut" in head_faults(told, code)[0]
