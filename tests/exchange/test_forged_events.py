"""Events from elsewhere: validated by content, taken back by their authors, merged whole or not at all."""

from __future__ import annotations

import ast
import contextlib
import importlib
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from exchange_helpers import TAG, put_label, put_photo
from long_runs import cases
from sqlalchemy import insert, select

from triage.errors import BadInput, Damaged, TriageError
from triage.exchange import merge_libraries
from triage.library import Library, log, queries
from triage.library.database import writing
from triage.library.event_schemas import SCHEMAS, event_faults
from triage.library.tables import event

FORGED = cases(300, 5000)


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Library, Library]]:
    with Library.create(tmp_path / "one") as one, Library.create(tmp_path / "other") as other:
        yield one, other


def forge(library: Library, **changed: Any) -> None:
    """Append an event with a right hash and any content, as a hostile library would hold it."""
    with writing(library.engine) as connection:
        rows = connection.execute(select(event).order_by(event.c.seq.desc()).limit(1)).mappings()
        last = dict(rows.one())
        row = {**last, "seq": last["seq"] + 1, "lamport": last["lamport"] + 1, "prev_hash": last["hash"]}
        row.update(changed)
        if not isinstance(row["payload"], str):
            row["payload"] = json.dumps(row["payload"], sort_keys=True, separators=(",", ":"))
        row["hash"] = log.event_hash(row)
        connection.execute(insert(event).values(**row))


def label_of(sha: str, **changed: Any) -> dict[str, Any]:
    return {"photo": sha, "tag": TAG, "value": "present", "boxes": [], **changed}


@pytest.mark.parametrize(
    ("kind", "change", "named"),
    [
        ("label", {"value": "maybe"}, "value"),
        ("label", {"photo": "../../etc/passwd"}, "photo"),
        ("label", {"boxes": [[0.5, 0.5, 2, 2]]}, "boxes"),
        ("label", {"count": 2**53 - 1}, "count"),
        ("label", {"tag": "<script>"}, "tag"),
        ("label", {"asked_by": "nobody"}, "asked_by"),
        ("label", {"saw_machine": "no"}, "saw_machine"),
        ("label", {"private": {"note": "x"}}, "private texts"),
    ],
)
def test_an_event_that_is_not_valid_is_named_and_nothing_is_merged(two, kind, change, named) -> None:
    one, other = two
    sha = put_photo(other, "D-1", "a.jpg")
    forge(other, kind=kind, payload=label_of(sha, **change))
    before = queries.event_count(one)
    with pytest.raises(Damaged, match=rf"event 3 of log .*{named}"):
        merge_libraries(one, [other.path])
    assert queries.event_count(one) == before
    assert queries.photo_count(one) == 0


@pytest.mark.parametrize("lamport", [2**53 - 1, 2**31, 1000])
def test_a_counter_beyond_the_number_of_events_is_refused(two, lamport: int) -> None:
    """It would leave no room for the next event: the library could never be written again."""
    one, other = two
    sha = put_photo(other, "D-1", "a.jpg")
    forge(other, kind="label", payload=label_of(sha), lamport=lamport)
    with pytest.raises(Damaged, match=r"lamport|counter"):
        merge_libraries(one, [other.path])
    put_photo(one, "D-2", "b.jpg")


def test_a_file_suffix_leads_nowhere(two) -> None:
    one, other = two
    sha = put_photo(other, "D-1", "a.jpg")
    facts = {"sha": "a" * 64, "bytes": 1, "width": 1, "height": 1, "orientation": 1, "suffix": "/../../x"}
    forge(other, kind="photo-added", payload=facts)
    with pytest.raises(Damaged, match="suffix"):
        merge_libraries(one, [other.path])
    assert sha


def test_several_libraries_are_merged_all_or_none(two, tmp_path: Path) -> None:
    one, other = two
    sha = put_photo(other, "D-1", "a.jpg")
    forge(other, kind="label", payload=label_of(sha, value="maybe"))
    with Library.create(tmp_path / "sound") as sound:
        put_photo(sound, "D-2", "b.jpg")
    with pytest.raises(Damaged):
        merge_libraries(one, [tmp_path / "sound", other.path])
    assert queries.photo_count(one) == 0


def test_a_stranger_takes_nothing_back_without_a_reason(two) -> None:
    one, other = two
    sha = put_photo(one, "D-1", "a.jpg")
    put_label(one, sha, "present", "ann")
    (act,) = {said.act for said in one.events("label")}
    merge_libraries(other, [one.path])
    other.say("undone", {"act": act}, by="mallory")
    merge_libraries(one, [other.path])
    assert queries.words(one)[sha, TAG].value == "present"
    other.say("undone", {"act": act}, by="ben", private={"why": "the photo shows another deck"})
    merge_libraries(one, [other.path])
    assert (sha, TAG) not in queries.words(one)


def test_undo_after_a_merge_takes_back_the_last_act_here(two) -> None:
    one, other = two
    sha, second = put_photo(one, "D-1", "a.jpg"), put_photo(other, "D-2", "b.jpg")
    put_label(one, sha, "present", "ann")
    put_label(other, second, "present", "ann")
    put_label(other, second, "absent", "ann")
    merge_libraries(one, [other.path])
    (taken,) = one.undo("ann")
    assert taken.payload["photo"] == sha
    assert queries.words(one)[second, TAG].value == "absent"
    with pytest.raises(BadInput, match="nothing by ann"):
        one.undo("ann")


SOURCE = Path(__file__).resolve().parents[2] / "triage"


def kinds_in_source() -> dict[str, str]:
    """Every kind of event that the program writes, with a place where it does."""
    found = {}
    for file in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and node.args):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name != "EventDraft" and not (name == "say" and isinstance(node.func, ast.Attribute)):
                continue
            first = node.args[0]
            if isinstance(first, ast.Constant):
                found[str(first.value)] = f"{file}:{node.lineno}"
            elif isinstance(first, ast.Name) and first.id.isupper():
                module = ".".join(["triage", *file.relative_to(SOURCE).with_suffix("").parts])
                found[getattr(importlib.import_module(module), first.id)] = f"{file}:{node.lineno}"
    return found


def test_every_kind_that_the_program_writes_has_a_schema() -> None:
    kinds = kinds_in_source()
    assert len(kinds) > 20
    assert {kind: place for kind, place in kinds.items() if kind not in SCHEMAS} == {}


def test_the_reasons_of_questions_are_the_ingest_rooms() -> None:
    from triage.ingest.questions import Why
    from triage.library.event_schemas import ASKED_WHY

    assert set(ASKED_WHY) == {why.value for why in Why}


def junk(draw: random.Random) -> Any:
    return draw.choice(
        [None, True, -1, 2**53, 1e300, "", "x" * 5000, "\u202e", "../..", "present", [], {}, [[0, 0, 9, 9]]]
    )


def test_forged_events_end_in_a_sentence_and_lose_nothing(two) -> None:
    """Random events with right hashes: each is refused with its name, or merged; no traceback either way."""
    one, other = two
    draw = random.Random(19)
    sha = put_photo(other, "D-1", "a.jpg")
    put_label(other, sha, "present", "ann")
    with other.read() as connection:
        rows = [dict(row) for row in connection.execute(select(event).order_by(event.c.seq)).mappings()]
    refused = 0
    for _ in range(FORGED):
        row = dict(draw.choice(rows))
        kind = draw.choice([*SCHEMAS, "unheard-of"])
        payload = dict(json.loads(row["payload"]))
        for name in draw.sample([*SCHEMAS.get(kind, {"x": 0}), "private", "deck"], k=1):
            payload[name] = junk(draw)
        changes = {"kind": kind, "payload": json.dumps(payload)}
        if draw.random() < 0.5:
            changes = {draw.choice(["payload", "kind", "at", "by_ref", "act", "lamport", "seq"]): junk(draw)}
        forged = {**row, **changes}
        faults = list(event_faults([forged], len(rows)))
        refused += bool(faults)
        assert all(isinstance(one_fault, str) for one_fault in faults)
    assert refused > FORGED // 3


def test_random_forged_libraries_never_end_in_a_traceback(two, tmp_path: Path) -> None:
    one, _ = two
    draw = random.Random(7)
    kept = put_photo(one, "D-9", "kept.jpg")
    put_label(one, kept, "present", "ann")
    for number in range(FORGED // 20):
        with Library.create(tmp_path / f"forged-{number}") as other:
            sha = put_photo(other, "D-1", f"{number}.jpg")
            kind = draw.choice([*SCHEMAS, "unheard-of"])
            payload = label_of(sha) | {"sha": sha, "deck": "D-1", "name": "n.jpg"}
            payload |= {"act": "x", "model": "m", "key": "k", "value": "present"}
            payload[draw.choice([*(SCHEMAS.get(kind) or {"x": 0})])] = junk(draw)
            forge(other, kind=kind, payload=payload)
        with contextlib.suppress(TriageError):
            merge_libraries(one, [tmp_path / f"forged-{number}"], accept_removals=True)
        assert queries.words(one)[kept, TAG].value == "present"
        assert queries.log_faults(one) == []
    put_label(one, kept, "absent", "ben")
