"""Sheets to fill in: the template as CSV, one page a deck or one table for the season to print."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

from triage.domain.tiers import CAUTION
from triage.structure.facts import FACT_KEYS, FactKey
from triage.structure.site_sheet import SheetLine, as_written, more_lines, short_lines, short_sheet
from triage.structure.telling import as_text
from triage.tabular import csv_text

Known = Mapping[str, Mapping[str, Any]]
"""What is known of each deck, by key."""

_STYLE = """
@page { size: letter; margin: 9mm 11mm }
@page wide { size: letter landscape; margin: 10mm }
body { font: 8.5pt sans-serif; color: #000; margin: 0 }
section.deck { break-after: page }
section.deck:last-child { break-after: auto }
section.season { page: wide }
h1 { font-size: 13pt; margin: 0 0 2mm }
h2 { font-size: 8.5pt; margin: 1.5mm 0 0.3mm }
table { border-collapse: collapse; width: 100% }
td, th { border-bottom: 0.3pt solid #666; padding: 0.35mm 1mm; text-align: left; vertical-align: top }
td.answer { width: 34mm; border: 0.5pt solid #000 }
td.hint { color: #444; font-size: 7.5pt; width: 60mm }
section.season td, section.season th { border: 0.4pt solid #000; font-size: 7pt; height: 8mm }
section.season th { height: auto; font-weight: normal }
p.note { font-size: 7.5pt; margin: 2mm 0 0 }
"""


def template_csv(known: Known, *, wide: bool = False, more: bool = False) -> str:
    """Return a CSV that `facts read` takes once it is filled in; known values are filled in already."""
    lines = [*short_lines(), *(more_lines() if more else ())]
    if wide:
        names = ["deck", "visit", *(line.key.key for line in lines)]
        rows = [[deck, None, *(_known(facts, one.key.key) for one in lines)] for deck, facts in known.items()]
        return csv_text(names, rows)
    return csv_text(
        ["deck", "visit", "key", "value", "unit", "question"],
        [
            [deck, None, line.key.key, _known(facts, line.key.key), _unit(line.key), line.ask]
            for deck, facts in known.items()
            for line in lines
        ],
    )


def _known(facts: Mapping[str, Any], key: str) -> str | None:
    return as_text(facts[key]) if key in facts else None


def _unit(key: FactKey) -> str:
    return key.unit if key.unit in ("ft", "in") else ""


def deck_pages(known: Known) -> str:
    """Return HTML with one page for each deck: every question of the short sheet with a box to write in."""
    pages = "".join(_deck_page(deck, facts) for deck, facts in known.items())
    return _document("Site sheet", pages)


def _deck_page(deck: str, facts: Mapping[str, Any]) -> str:
    parts = [
        f"<h1>Site sheet: {html.escape(deck)}</h1>",
        "<p>Date ____________ By ______________________</p>",
    ]
    for section in short_sheet():
        rows = "".join(_row(line, facts) for line in section.lines)
        parts.append(f"<h2>{html.escape(section.title)}</h2><table>{rows}</table>")
    parts.append("<h2>Anything else (what moves, is soft, is cut, is missing)</h2><p>&nbsp;</p>")
    parts.append(f'<p class="note">Leave empty what you could not see. {html.escape(CAUTION)}</p>')
    return f'<section class="deck">{"".join(parts)}</section>'


def _row(line: SheetLine, facts: Mapping[str, Any]) -> str:
    key = line.key.key
    value = as_written(line.key, facts[key]) if key in facts else ""
    hint = ", ".join(line.key.choices) or line.example
    return (
        f"<tr><td>{html.escape(line.ask)}</td><td class='answer'>{html.escape(value)}</td>"
        f"<td class='hint'>{html.escape(hint)}</td></tr>"
    )


def season_table(known: Known) -> str:
    """Return HTML with one table: a row for each deck, a column for each question of the short sheet."""
    lines = short_lines()
    half = (len(lines) + 1) // 2
    tables = "".join(_season_part(known, part) for part in (lines[:half], lines[half:]))
    return _document("Site sheet of the season", tables)


def _season_part(known: Known, lines: Sequence[SheetLine]) -> str:
    heads = "".join(f"<th>{html.escape(line.label)}{_in_words(line.key)}</th>" for line in lines)
    rows = []
    for deck, facts in known.items():
        cells = "".join(
            f"<td>{html.escape(as_written(one.key, facts[one.key.key])) if one.key.key in facts else ''}</td>"
            for one in lines
        )
        rows.append(f"<tr><th>{html.escape(deck)}</th>{cells}</tr>")
    head = f"<thead><tr><th>Deck</th>{heads}</tr></thead>"
    return f'<section class="season deck"><table>{head}<tbody>{"".join(rows)}</tbody></table></section>'


def _in_words(key: FactKey) -> str:
    return f" ({key.unit})" if key.unit in ("ft", "in") else ""


def _document(title: str, body: str) -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{html.escape(title)}</title><style>{_STYLE}</style></head><body>{body}</body></html>\n"
    )


def key_rows(readers: Mapping[str, Sequence[str]]) -> list[dict[str, Any]]:
    """Return every key with unit, range, meaning and what reads it; the short sheet's keys first."""
    order = [line.key.key for line in (*short_lines(), *more_lines())]
    short = {line.key.key for line in short_lines()}
    return [
        {**FACT_KEYS[key].to_json(), "short_sheet": key in short, "read_by": list(readers.get(key, ()))}
        for key in order
    ]
