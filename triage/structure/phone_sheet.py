"""The site sheet for a phone: one file that needs no network, made from the same lines as every other form.

The page's own policy forbids every load; style and script are allowed by their hash. What is typed stays in
the browser's storage and is saved as a CSV that `facts read` takes (see `field_sheets`).
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from triage.domain.tiers import CAUTION
from triage.errors import BadInput
from triage.structure.site_sheet import SheetLine, as_written, more_lines, short_sheet
from triage.structure.telling import as_text

PARTS = Path(__file__).resolve().parent.parent / "data" / "phone"


def phone_sheet(
    known: Mapping[str, Mapping[str, Any]], shots: Mapping[str, Sequence[str]], made_at: str
) -> str:
    """Return the page for some decks: what is known of each, what to photograph, when it was made.

    Raises BadInput without a deck.
    """
    if not known:
        raise BadInput("There is no deck to make a sheet for.", "Ingest photos first, or name the decks.")
    decks = [
        {
            "deck": deck,
            "known": {line.key.key: as_written(line.key, facts[line.key.key]) for line in _lines(facts)},
            "was": {line.key.key: as_text(facts[line.key.key]) for line in _lines(facts)},
            "shots": list(shots.get(deck, ())),
        }
        for deck, facts in known.items()
    ]
    data: dict[str, Any] = {
        "decks": decks,
        "sections": [
            {
                "title": one.title,
                "drawing": one.lines[0].drawing,
                "lines": [_plain(line) for line in one.lines],
            }
            for one in short_sheet()
        ],
        "more": [_plain(line) for line in more_lines()],
        "made_at": made_at,
    }
    data["sheet"] = hashlib.sha256(_json(data).encode()).hexdigest()[:12]
    style, script = (_part(name) for name in ("sheet.css", "sheet.js"))
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    filled = {
        "policy": policy,
        "style": style,
        "script": script,
        "caution": CAUTION,
        "data": _json(data),
    }
    page = _part("sheet.html")
    for name, text in filled.items():
        page = page.replace("{{ " + name + " }}", text, 1)
    return page


def _lines(facts: Mapping[str, Any]) -> list[SheetLine]:
    lines = [line for section in short_sheet() for line in section.lines] + list(more_lines())
    return [line for line in lines if line.key.key in facts]


def _plain(line: SheetLine) -> dict[str, Any]:
    key = line.key.to_json()
    return {
        **{name: key[name] for name in ("key", "type", "unit", "choices", "low", "high")},
        "ask": line.ask,
        "how": line.how,
        "example": line.example,
    }


def _json(data: Any) -> str:
    """Return JSON that is safe inside a script element: no `<` in it."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")


def _part(name: str) -> str:
    return (PARTS / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
