"""The register lists what happened and keeps names back; its code shows whether history was rewritten."""

from __future__ import annotations

import csv
import io

import pytest
from small_libraries import add_labels
from sqlalchemy import delete, update

from triage.audit.labelers import record, records
from triage.audit.register import COLUMNS, head_code, head_faults, register
from triage.audit.register_files import to_csv, to_html
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


def test_labelers_stand_against_settled_words(told: Library) -> None:
    found = {one.who: (one.agreed, one.of) for one in records(told, show_names=True)}
    assert found == {"ann": (0, 1), "ben": (1, 1)}


def test_a_code_tells_whether_history_was_only_added_to(told: Library) -> None:
    code = head_code(told)
    told.say("finding", {"deck": "d000", "tier": "watch"}, by="ann")
    assert head_faults(told, code) == []
    with pytest.raises(WrongUsage, match="not a head code"):
        head_faults(told, "nonsense")
    with writing(told.engine) as connection:
        connection.execute(update(event).where(event.c.seq == int(code.split(".")[1])).values(hash="0" * 64))
    assert "rewritten" in head_faults(told, code)[0]
    with writing(told.engine) as connection:
        connection.execute(delete(event).where(event.c.seq >= int(code.split(".")[1])))
    assert "cut" in head_faults(told, code)[0]


def test_an_open_dispute_and_what_corrects_a_report_are_listed(library: Library, with_photos) -> None:
    first, second = with_photos(2, 1)
    add_labels(library, [(first, TAG, "present", "ann")])
    head = {log: [one["seq"], one["hash"]] for log, one in library.head().items()}
    issued = {"number": "2026-001", "photos": [first], "head": head}
    library.say("issued", issued, by="cy")
    library.say("issued", {**issued, "number": "2026-001-A1", "amends": "2026-001"}, by="cy")
    add_labels(library, [(first, TAG, "absent", "ben"), (second, TAG, "absent", "ben")], saw_machine=True)
    entries = register(library, show_names=True)
    assert [one.kind for one in entries] == ["issued", "issued", "correction", "correction", "dispute"]
    assert entries[1].what == "amendment of report 2026-001 issued"
    assert {one.what for one in entries if one.kind == "correction"} == {
        f"after report {number}: photo {first[:12]} labeled again" for number in ("2026-001", "2026-001-A1")
    }
    assert entries[2].saw_machine == "yes"
    assert entries[-1].result == "absent by ben; present by ann"
    assert entries[-1].saw_machine == "1 of 2 answers"
    for name in ("ann", "ben", "cy"):
        assert name not in to_csv(register(library)).replace("another", "")
    library.say("settled", {"photo": first, "tag": TAG, "value": "present"}, by="cy")
    kinds = [one.kind for one in register(library)]
    assert "dispute" not in kinds
    assert kinds[-3:] == ["settled", "correction", "correction"]


def test_drift_is_told_where_there_are_answers_enough() -> None:
    early = [(f"2026-0{month}-01", True) for month in (1, 2) for _ in range(10)]
    late = [(f"2026-0{month}-01", month == 3) for month in (3, 4) for _ in range(10)]
    found = record("ann", early + late)
    assert found.drift == -0.5
    assert found.drift_p is not None
    assert found.drift_p < 0.01
    assert found.last_check == "2026-04-01"
    assert found.months == (("2026-01", 10, 10), ("2026-02", 10, 10), ("2026-03", 10, 10), ("2026-04", 0, 10))
    few = record("ann", early[:6])
    assert few.drift is None
    assert "6 answers" in few.why_not


def test_an_answer_with_the_machine_in_view_is_no_check_of_a_labeler(told: Library, with_photos) -> None:
    before = records(told)
    (third,) = with_photos(1, 1)[:1]
    told.say(
        "label", {"photo": third, "tag": "missing-hanger", "value": "present", "saw_machine": True}, by="dee"
    )
    told.say("settled", {"photo": third, "tag": "missing-hanger", "value": "present"}, by="cy")
    assert records(told) == before
