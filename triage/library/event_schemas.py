"""What an event from elsewhere must look like before it is taken over: one schema per kind, and bounds.

A chain of hashes proves that nothing was changed since; it does not prove that what was written was ever
sound. Events of a kind that this version does not know are taken over as they are (a newer version may have
written them), as long as they are of a bounded size: nothing here reads them.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

from triage.library.records import ASKED_BY

Check = Callable[[Any], bool]

MOST_PAYLOAD = 8_000_000
MOST_TEXT = 4_000
_HEX = re.compile(r"[0-9a-f]{64}")
_LOG = re.compile(r"[0-9a-f]{32}")
_KIND = re.compile(r"[a-z][a-z-]{0,39}")
_TAG = re.compile(r"[a-z0-9][a-z0-9-]{0,79}")
_KEY = re.compile(r"[a-z0-9][a-z0-9_.-]{0,79}")
_SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")
_TIERS = ("stop-use", "repair-before-use", "repair-this-season", "watch", "nothing-seen")
_VALUES = ("present", "absent", "unclear")
ASKED_WHY = (
    "long-pause",
    "far-apart",
    "two-phones",
    "return",
    "few-photos",
    "no-time",
    "known-place",
    "same-name",
    "name-taken",
    "no-card",
    "plan",
)
"""Why photos wait for a person, as the ingest room says it."""


def _text(value: Any) -> bool:
    return isinstance(value, str) and 0 < len(value) <= MOST_TEXT and "\0" not in value


def _like(pattern: re.Pattern[str]) -> Check:
    return lambda value: isinstance(value, str) and pattern.fullmatch(value) is not None


def _one_of(words: Iterable[str]) -> Check:
    known = frozenset(words)
    return lambda value: isinstance(value, str) and value in known


def _whole(least: int, most: int) -> Check:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and least <= value <= most


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _or_null(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _list_of(check: Check) -> Check:
    return lambda value: isinstance(value, list) and all(check(one) for one in value)


def _flag(value: Any) -> bool:
    return isinstance(value, bool)


def _object(value: Any) -> bool:
    return isinstance(value, dict)


def _object_of(check: Check) -> Check:
    return lambda value: isinstance(value, dict) and all(map(check, value.values()))


def _has_texts(*names: str) -> Check:
    return lambda value: isinstance(value, dict) and set(names) <= value.keys()


def _box(value: Any) -> bool:
    if not (isinstance(value, list) and len(value) == 4 and all(map(_number, value))):
        return False
    x, y, width, height = value
    edge = 1 + 1e-6
    return bool(min(value) >= -1e-6 and x + width <= edge and y + height <= edge)


def _time(value: Any) -> bool:
    try:
        return isinstance(value, str) and len(value) <= 64 and bool(datetime.fromisoformat(value))
    except ValueError:
        return False


def _day(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(date.fromisoformat(value[:10]))
    except ValueError:
        return False


def _path(value: Any) -> bool:
    return (
        bool(_text(value)) and not value.startswith("/") and ".." not in value.replace("\\", "/").split("/")
    )


_SHA, _ANY_TAG = _like(_HEX), _like(_TAG)
_PHOTOS = _list_of(_SHA)
_VISIT = _or_null(_day)
_PLACE: dict[str, tuple[Check, bool]] = {
    "sha": (_SHA, True),
    "deck": (_text, True),
    "visit": (_VISIT, False),
    "name": (_path, True),
    "origin": (_or_null(_text), False),
    "why": (_or_null(_text), False),
}
SCHEMAS: Mapping[str, Mapping[str, tuple[Check, bool]]] = {
    "photo-added": {
        "sha": (_SHA, True),
        "bytes": (_whole(0, 1 << 40), True),
        "width": (_whole(1, 1_000_000), True),
        "height": (_whole(1, 1_000_000), True),
        "orientation": (_whole(1, 8), True),
        "suffix": (_like(_SUFFIX), True),
        "taken_at": (_or_null(_time), False),
        "camera": (_or_null(lambda value: isinstance(value, str) and len(value) <= MOST_TEXT), False),
        "focal_mm": (_or_null(_number), False),
        "phash": (_or_null(_SHA), False),
        "quality": (_object, False),
    },
    "placed": _PLACE,
    "moved": _PLACE,
    "forgotten": {"sha": (_SHA, True)},
    "label": {
        "photo": (_SHA, True),
        "tag": (_ANY_TAG, True),
        "value": (_one_of(_VALUES), True),
        "boxes": (_list_of(_box), False),
        "count": (_or_null(_whole(0, 1_000_000)), False),
        "asked_by": (_one_of(ASKED_BY), False),
        "saw_machine": (_flag, False),
        "row": (_or_null(_SHA), False),
        "derived": (_or_null(_ANY_TAG), False),
    },
    "settled": {"photo": (_SHA, True), "tag": (_ANY_TAG, True), "value": (_one_of(_VALUES), True)},
    "fact": {
        "deck": (_text, True),
        "visit": (_VISIT, False),
        "key": (_like(_KEY), True),
        "photos": (_PHOTOS, False),
        "value": (lambda value: len(json.dumps(value)) <= MOST_TEXT, True),
    },
    "finding": {
        "deck": (_text, True),
        "visit": (_VISIT, False),
        "tier": (_one_of(_TIERS), True),
        "photos": (_PHOTOS, False),
        "how": (_one_of(("seen", "probed", "measured")), False),
    },
    "tier": {"deck": (_text, True), "visit": (_VISIT, False), "tier": (_one_of(_TIERS), True)},
    "closed": {"deck": (_text, True), "rule": (_text, True)},
    "lifted": {"deck": (_text, True), "after": (_SHA, True)},
    "warned": {"deck": (_text, True)},
    "deck-set": {"deck": (_text, True), "field": (_like(_KEY), True)},
    "trained": {"model": (_text, True)},
    "presorted": {"model": (_text, True), "standing": (_object, True)},
    "audit-drawn": {
        "tag": (_ANY_TAG, True),
        "model": (_text, True),
        "seed": (_text, True),
        "decks": (_list_of(_text), True),
        "number": (_whole(1, 1_000_000), True),
    },
    "audited": {"tag": (_ANY_TAG, True), "model": (_text, True), "contradicts": (_flag, False)},
    "withdrawal-lifted": {"tag": (_ANY_TAG, True)},
    "pool-begun": {"tag": (_ANY_TAG, True), "seed": (_text, True), "drawn": (_list_of(_text), True)},
    "undone": {"act": (_text, True)},
    "same-person": {"same": (_flag, True), "private": (_has_texts("name", "other"), True)},
    "issued": {
        "number": (_text, True),
        "photos": (_PHOTOS, False),
        "files": (_object_of(_SHA), False),
        "head": (_object, False),
    },
    "deck-changed": {
        "deck": (_text, True),
        "from": (_text, True),
        "to": (_text, True),
        "how": (_one_of(("renamed", "joined", "split", "visit")), True),
        "events": (_or_null(_PHOTOS), False),
        "visit_from": (_VISIT, False),
        "visit_to": (_VISIT, False),
    },
    "blackout": {"photo": (_SHA, True), "boxes": (_list_of(_box), True)},
    "set-aside": {"file_id": (_text, True), "photo": (_SHA, False)},
    "set-aside-done": {"file_id": (_text, True), "how": (_one_of(("taken-in", "seen")), True)},
    "asked": {
        "question": (_text, True),
        "why": (_one_of(ASKED_WHY), True),
        "photos": (_PHOTOS, True),
        "proposal": (_or_null(_text), False),
        "beside": (_or_null(_text), False),
        "numbers": (_object_of(_number), False),
    },
    "repair-done": {
        "deck": (_text, True),
        "visit": (_VISIT, False),
        "rule": (_text, True),
        "done": (_flag, True),
        "count": (_or_null(_whole(0, 1_000_000)), False),
        "day": (_or_null(_day), False),
        "photo": (_or_null(_SHA), False),
    },
    "tag-added": {"tag": (_ANY_TAG, True)},
    "repairs-read": {},
}
"""By kind: field to (what it must be, whether it must be there). Further fields are left alone."""


def event_fault(row: Mapping[str, Any], most_lamport: int) -> str | None:
    """Return what is wrong with an event's row, or null.

    `most_lamport` is how many events the library that holds it has: every event counts one further than the
    furthest before it, so no honest counter is larger.
    """
    where = f"event {row['seq']} of log {str(row['log_id'])[:8]}"
    for name, check in _ROW.items():
        if not check(row[name]):
            return f"{where}: its {name} is not valid"
    if row["lamport"] > most_lamport:
        return f"{where}: its counter {row['lamport']} is larger than the number of events"
    return _payload_fault(where, row)


_ROW: Mapping[str, Check] = {
    "log_id": _like(_LOG),
    "seq": _whole(1, 1 << 31),
    "lamport": _whole(1, 1 << 31),
    "kind": _like(_KIND),
    "act": lambda value: _text(value) and len(value) <= 64,
    "payload": lambda value: isinstance(value, str) and len(value) <= MOST_PAYLOAD,
    "at": _time,
    "recorded_at": _time,
    "by_ref": _SHA,
    "prev_hash": _SHA,
    "hash": _SHA,
}


def _payload_fault(where: str, row: Mapping[str, Any]) -> str | None:
    try:
        payload = json.loads(row["payload"])
    except (ValueError, RecursionError):
        return f"{where}: its payload cannot be read"
    if not isinstance(payload, dict):
        return f"{where}: its payload is not an object"
    private = payload.get("private", {})
    if not (isinstance(private, dict) and all(map(_SHA, private.values()))):
        return f"{where}: its references to private texts are not valid"
    if not _list_of(_SHA)(payload.get("replaces", [])):
        return f"{where}: what it replaces is not valid"
    for name, (check, needed) in SCHEMAS.get(row["kind"], {}).items():
        if name not in payload:
            if needed:
                return f"{where} ({row['kind']}): it has no {name}"
        elif not check(payload[name]):
            return f"{where} ({row['kind']}): its {name} is not valid"
    return None


def event_faults(rows: Iterable[Mapping[str, Any]], most_lamport: int) -> Iterator[str]:
    """Yield what is wrong with events, in their order; counters grow along a chain."""
    last: dict[str, int] = {}
    for row in rows:
        fault = event_fault(row, most_lamport)
        if fault is None and row["lamport"] <= last.get(row["log_id"], 0):
            fault = f"event {row['seq']} of log {row['log_id'][:8]}: its counter does not increase"
        if fault is not None:
            yield fault
            continue
        last[row["log_id"]] = row["lamport"]
