"""The register as files: CSV, and one HTML file that loads nothing from elsewhere."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from triage.audit.labelers import Record
from triage.audit.register import COLUMNS, Entry
from triage.tabular import csv_text

RECORD_HEADS = ("who", "agreed", "of", "last check", "by month", "drift")


def record_cells(one: Record) -> tuple[str, ...]:
    """Return a labeler's record as cells under `RECORD_HEADS`."""
    drift = one.why_not
    if one.drift is not None and one.drift_p is not None:
        drift = f"{one.drift:+.0%} in the later half (p = {one.drift_p:.2f})"
    by_month = "; ".join(f"{month}: {agreed} of {of}" for month, agreed, of in one.months)
    return one.who, str(one.agreed), str(one.of), one.last_check[:10], by_month, drift


def to_csv(entries: Sequence[Entry]) -> str:
    """Return the register as CSV; texts that a spreadsheet takes for formulas get an apostrophe."""
    return csv_text(COLUMNS, [tuple(asdict(one).values()) for one in entries])


def to_html(entries: Sequence[Entry], people: Sequence[Record], code: str) -> str:
    """Return the register as one HTML file that loads nothing from elsewhere."""

    def table(heads: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
        head = "".join(f"<th>{html.escape(one)}</th>" for one in heads)
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"

    said = [record_cells(one) for one in people]
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Audit register</title>'
        "<style>body{font-family:sans-serif;margin:2em}td,th{text-align:left;padding:.2em .6em;"
        "border-bottom:1px solid #ccc;vertical-align:top}</style><h1>Audit register</h1>"
        f"<p>Head of the log: <code>{html.escape(code)}</code></p>"
        + table(COLUMNS, [list(asdict(one).values()) for one in entries])
        + "<h2>Labelers against settled words</h2>"
        + table(RECORD_HEADS, said)
        + "</html>\n"
    )
