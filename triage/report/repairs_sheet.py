"""The crew's sheet: out with places and counts and empty columns, back as events.

What a crew writes is its own word, recorded under the name of who read the sheet and with the name that
stands in it. It closes nothing: only a named person closes a concern, with an after-photo of the same place.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.errors import BadInput, TriageError
from triage.library import queries
from triage.library.store import write_whole
from triage.report.concern_view import concern_numbers, photo_names
from triage.report.gather import REPAIR_DONE, deck_record
from triage.report.repairs_list import element_of_concern, repair_order
from triage.report.source import DeckRecord
from triage.report.text import clean, csv_text, uncell
from triage.tabular import Sheet, read_csv, read_text

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.library import Library

COLUMNS = (
    "deck",
    "visit",
    "order",
    "rule",
    "element",
    "tier",
    "place",
    "count",
    "repair",
    "verify_on_site",
    "photo_before",
    "before_covering",
    "done",
    "by",
    "photo",
    "note",
)
FILLED_IN = ("done", "by", "photo", "note")
"""Columns that are empty on the way out."""
_SAID = ("deck", "visit", "rule", "place", *FILLED_IN)
"""What makes two rows the same when a sheet is read again."""
EVENT = REPAIR_DONE
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_COVERED = ("footing", "ledger", "band", "flashing", "hold-down", "hanger", "connector", "beam")


def write_repairs(lib: Library, path: Path, decks: Sequence[str] | None = None) -> dict[str, Any]:
    """Write the sheet for some decks (all of them where none is named); returns {"rows", "set_aside"}.

    One row per open concern with a repair to make, decks worst first, rows in the order of the work.
    """
    rows = _rows_of(lib, decks)
    write_whole(path, csv_text(COLUMNS, rows).encode())
    return {"rows": len(rows), "set_aside": []}


def write_by_house(lib: Library, folder: Path, decks: Sequence[str] | None = None) -> dict[str, Any]:
    """Write one sheet for each house that has something to repair; returns {"rows", "files", "set_aside"}.

    Decks with one address (`deck set`) stand at one house; a deck without an address is a house of its own. A
    sheet bears the codes of its decks and no address.
    """
    houses: dict[str, list[str]] = {}
    for deck in decks or queries.decks(lib):
        address = " ".join(queries.deck_private(lib, deck).get("address", "").casefold().split())
        houses.setdefault(f"address {address}" if address else f"deck {deck}", []).append(deck)
    folder.mkdir(parents=True, exist_ok=True)
    total: dict[str, Any] = {"rows": 0, "files": [], "set_aside": []}
    for mine in houses.values():
        named = "-and-".join(mine) if len(mine) < 4 else f"{mine[0]}-and-{len(mine) - 1}-more"
        target = folder / f"repairs-{_safe(named)}.csv"
        written = _rows_of(lib, mine)
        if written:
            write_whole(target, csv_text(COLUMNS, written).encode())
            total["rows"] += len(written)
            total["files"].append(str(target))
    return total


def _safe(text: str) -> str:
    """Return a text as part of a file name on every system; what had to be changed gets a hash."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:60]
    return plain if plain == text else f"{plain}-{hashlib.sha256(text.encode()).hexdigest()[:8]}".strip("-")


def _rows_of(lib: Library, decks: Sequence[str] | None) -> list[dict[str, Any]]:
    """Return the rows of some decks, worst first."""
    vocabulary = lib.vocabulary()
    element_of = {name: tag.element for name, tag in vocabulary.tags.items() if tag.element}
    rows: list[dict[str, Any]] = []
    for summary in _assessed(lib, decks):
        rows += repair_rows(summary, deck_record(lib, summary.deck, summary.visit), element_of)
    return rows


def repair_rows(
    summary: DeckSummary, record: DeckRecord, element_of: Mapping[str, str]
) -> list[dict[str, Any]]:
    """Return the rows of one deck in the order of the work."""
    numbered = concern_numbers(summary)
    rows: list[dict[str, Any]] = []
    for order, number in enumerate(repair_order(numbered, element_of), start=1):
        one = numbered[number]
        element = element_of_concern(one, element_of)
        rows.append(
            {
                "deck": summary.deck,
                "visit": summary.visit,
                "order": order,
                "rule": one.rule,
                "element": element,
                "tier": one.tier,
                "place": one.place,
                "count": one.count,
                "repair": one.repair,
                "verify_on_site": one.verify_on_site,
                "photo_before": next(iter(photo_names(one.photos[:1], record)), ""),
                "before_covering": "photograph before covering" if element in _COVERED else "",
            }
        )
    return rows


def read_repairs(lib: Library, path: Path, by: str) -> dict[str, Any]:
    """Read a sheet back; returns {"rows", "new", "known", "set_aside": [{"row", "reason"}]}.

    A row that nobody filled in says nothing; a row read before is known. Raises BadInput where the file is no
    sheet of repairs.
    """
    rows = [(row.line, row.cells) for row in _sheet(path).rows()]
    known = {event.payload["row"] for event in queries.statements(lib, EVENT)}
    open_places = _open_places(lib, {uncell(row.get("deck") or "") for _, row in rows})
    said, set_aside, seen = [], [], 0
    for line, row in rows:
        cells = {name: clean(uncell(row.get(name) or "")) for name in COLUMNS}
        if not cells["done"]:
            continue
        digest = hashlib.sha256("\x1f".join(cells[name] for name in _SAID).encode()).hexdigest()
        if digest in known:
            seen += 1
            continue
        try:
            said.append(_said(lib, cells, digest, open_places, by))
        except TriageError as error:
            set_aside.append({"row": line, "reason": str(error)})
            continue
        known.add(digest)
    lib.say_many(said)
    return {"rows": len(rows), "new": len(said), "known": seen, "set_aside": set_aside}


def _sheet(path: Path) -> Sheet:
    sheet = read_csv(path.name, read_text(path))
    missing = [name for name in ("deck", "rule", "place", "done") if name not in sheet.header]
    if missing:
        raise BadInput(
            f"{path} is not a sheet of repairs: it has no column '{missing[0]}'.",
            "Read a sheet that deck-triage repairs write made.",
        )
    return sheet


def _open_places(lib: Library, decks: set[str]) -> set[tuple[str, str, str]]:
    known = sorted(decks & set(queries.decks(lib)))
    return {
        (summary.deck, one.rule, clean(one.place or ""))
        for summary in (_assessed(lib, known) if known else ())
        for one in summary.concerns
        if one.status != "repaired"
    }


def _assessed(lib: Library, decks: Sequence[str] | None) -> list[DeckSummary]:
    from triage.assess.evidence import assess_library

    return list(assess_library(lib, decks=decks))


def _said(
    lib: Library, cells: Mapping[str, str], digest: str, open_places: set[tuple[str, str, str]], by: str
) -> Any:
    """Return the event of a filled-in row; raises BadInput with the reason why it is set aside."""
    from triage.library import EventDraft

    deck, rule, place = cells["deck"], cells["rule"], cells["place"]
    if (deck, rule, place) not in open_places:
        where = f" at '{place}'" if place else ""
        raise BadInput(f"deck '{deck}' has no open concern '{rule}'{where}")
    if not cells["by"]:
        raise BadInput("'done' is filled in and 'by' is empty: who did it?")
    done, count, day = _done(cells["done"])
    photo = _after_photo(lib, deck, cells["photo"]) if cells["photo"] else None
    payload = {
        "deck": deck,
        "visit": cells["visit"] or None,
        "rule": rule,
        "done": done,
        "count": count,
        "day": day,
        "photo": photo,
        "row": digest,
    }
    private = {"place": place, "done_by": cells["by"], "note": cells["note"]}
    return EventDraft(EVENT, payload, by, None, {name: text for name, text in private.items() if text})


def _after_photo(lib: Library, deck: str, name: str) -> str:
    """Return the hash of the photo that a row names, below its deck where it names none.

    Where several visits have a photo of that name, the crew means the latest one: it shows the repair.
    """
    whole = name.startswith(f"{deck}/") or re.fullmatch(r"[0-9a-f]{8,64}", name)
    text = name if whole else f"{deck}/{name}"
    alike = [one for one in queries.photos_named(lib, text) if one.deck == deck]
    latest = len(alike) > 1 and len({one.visit for one in alike}) == len(alike)
    found = alike[-1] if latest else queries.find_photo(lib, text)
    if found.deck != deck:
        raise BadInput(f"photo '{name}' belongs to deck '{found.deck}', not to '{deck}'")
    return found.sha


def _done(text: str) -> tuple[bool, int | None, str | None]:
    """Return (done, how many, on which day) from 'yes', 'no', a number of places, or a date."""
    word = text.lower()
    if word in ("yes", "y", "x", "done", "true"):
        return True, None, None
    if word in ("no", "n", "false", "0"):
        return False, None, None
    if word.isdecimal() and word.isascii() and len(word) < 5:
        return True, int(word), None
    if _DAY.fullmatch(word):
        return True, None, word
    raise BadInput(f"'done' says '{text}': write yes, no, a number of places, or a date (2026-05-03)")
