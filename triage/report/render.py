"""From views to bytes: HTML by templates, CSV and JSON beside it. The same views give the same bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from triage.domain.tiers import CAUTION, TIERS
from triage.library.records import Box
from triage.report import look
from triage.report.concern_view import concern_numbers, photo_names
from triage.report.content import DeckView
from triage.report.letter import owner_letter
from triage.report.phrases import CAUTIONS, DRAFT_LINE, tier_counts, tier_words
from triage.report.source import Options, Source, Stamp
from triage.report.svg import glyph
from triage.report.text import clean, count_of, csv_text

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary

BRIEF = 5
"""So many decks stand with a photo on the first page."""

DECK_COLUMNS = (
    "order",
    "deck",
    "visit",
    "tier",
    "tier_if_true",
    "tier_by_person",
    "gaps",
    "concerns",
    "possible",
    "unreviewed",
    "photos",
    "reason",
    "go_back_for",
    "draft",
)
CONCERN_COLUMNS = (
    "deck",
    "visit",
    "number",
    "rule",
    "tag",
    "kind",
    "standing",
    "status",
    "tier",
    "place",
    "count",
    "concluded",
    "why",
    "repair",
    "verify_on_site",
    "call",
    "source",
    "photos",
    "photo_hashes",
)


@cache
def environment() -> Environment:
    """Return the template environment: autoescape always, an unknown name is an error."""
    env = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    env.globals.update(
        palette=look.PALETTE,
        type=look.TYPE,
        space=look.SPACE,
        shapes=tuple(look.SHAPES),
        spot=spot,
        glyph=lambda shape: Markup(glyph(shape)),  # noqa: S704 (drawn here from constants alone)
        unreviewed_words=unreviewed_words,
        caution=CAUTION,
        cautions=CAUTIONS,
        draft_line=DRAFT_LINE,
        shape_words=[(look.shape_key(tier), tier_words(tier)) for tier in (*TIERS[:-1], None, TIERS[-1])],
    )
    env.filters["css"] = css_string
    return env


def css_string(words: str) -> Markup:
    """Return words as the inside of a CSS string: everything but plain letters and marks is escaped.

    Source: CSS Syntax Module Level 3, 4.3.7 (a backslash, the code point in hexadecimal, a space).
    """
    plain = (
        char if char.isascii() and (char.isalnum() or char in " ,.:;-") else f"\\{ord(char):x} "
        for char in words
    )
    return Markup("".join(plain))  # noqa: S704


def spot(box: Box, width_px: int, height_px: int) -> Markup:
    """Return the mark of a box or point: a light line under a coloured one, to show on any picture."""
    x, y, w, h = box[0] * width_px, box[1] * height_px, box[2] * width_px, box[3] * height_px
    stroke = max(2.0, 0.006 * max(width_px, height_px))
    if w * h == 0:
        radius = 0.04 * max(width_px, height_px)
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"'
    else:
        shape = f'<rect x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}"'
    lines = ((look.PALETTE["paper"], stroke * 2), (look.PALETTE["mark"], stroke))
    drawn = "".join(f'{shape} fill="none" stroke="{ink}" stroke-width="{wide:.1f}"/>' for ink, wide in lines)
    return Markup(drawn)  # noqa: S704 (numbers and constants alone)


def unreviewed_words(number: int, photos: int) -> str:
    """Return how much is still unanswered, in words."""
    if photos == 0:
        return "There is no photo of this deck."
    if number == 0:
        return (
            "No question is open: for every photo and core tag a person gave an answer, or the machine's "
            "'unlikely' stands under a promise that holds."
        )
    return f"{count_of(number, 'question')} (a photo and a core tag) not yet answered by a person."


def html(
    summaries: Sequence[DeckSummary],
    views: Sequence[DeckView],
    source: Source,
    options: Options,
    *,
    draft: bool,
    stamp: Stamp | None = None,
    file: str = "report.html",
) -> bytes:
    """Return the report as one self-contained HTML file."""
    title = f"Deck report {views[0].deck}" if len(views) == 1 else "Decks, worst first"
    tags = sorted({one.tag for summary in summaries for one in summary.concerns if one.tag})
    text = (
        environment()
        .get_template("report.html")
        .render(
            title=title,
            decks=[_with_markup(view) for view in views],
            brief=BRIEF,
            draft=draft,
            stamp=stamp,
            summary_line=_summary_line(summaries, source, file),
            definitions=[(tag, clean(source.definitions[tag])) for tag in tags if tag in source.definitions],
            versions=version_rows(source),
            originals=_originals(summaries, source) if stamp else (),
            made_from=made_from(summaries, source, options, stamp, file),
            **page_words(options, draft=draft, stamp=stamp),
        )
    )
    return text.encode("utf-8", "replace")


def _summary_line(summaries: Sequence[DeckSummary], source: Source, file: str) -> str:
    line = f"{count_of(len(summaries), 'deck')}. {tier_counts([one.tier for one in summaries])}."
    if source.waiting and file == "report.html":
        line += f" Not yet placed at any deck, and counted nowhere here: {count_of(source.waiting, 'photo')}."
    return line


def page_words(options: Options, *, draft: bool, stamp: Stamp | None) -> dict[str, str]:
    """Return what stands in the margins of every page."""
    number = f"Report {stamp.number}, {stamp.date}" if stamp else "Working copy, not issued"
    return {"paper": options.paper, "running": DRAFT_LINE if draft else number, "footing": number}


def version_rows(source: Source) -> list[tuple[str, str]]:
    """Return versions, hashes and the head of the log, for print."""
    rows = [(name, clean(words)) for name, words in sorted(source.versions.items())]
    rows.append(("library", clean(source.library_id)))
    for log_id, head in sorted(source.head.items()):
        rows.append(("log head", f"{clean(log_id)} {head['seq']} {clean(head['hash'])}"))
    return rows


def letter_html(
    summary: DeckSummary, source: Source, options: Options, *, stamp: Stamp | None, file: str
) -> bytes:
    """Return the owner's letter as one self-contained HTML file."""
    text = (
        environment()
        .get_template("letter.html")
        .render(
            l=owner_letter(summary, source, options, stamp),
            stamp=stamp,
            made_from=made_from([summary], source, options, stamp, file),
            **page_words(options, draft=False, stamp=stamp),
        )
    )
    return text.encode("utf-8", "replace")


def made_from(
    summaries: Sequence[DeckSummary], source: Source, options: Options, stamp: Stamp | None, file: str
) -> str:
    """Return what a file was made from as canonical JSON: enough to make it again from the library."""
    body = {
        "file": file,
        "decks": [[one.deck, one.visit] for one in summaries],
        "head": {log_id: [head["seq"], head["hash"]] for log_id, head in source.head.items()},
        "options": options.to_json(),
        "number": stamp and stamp.number,
    }
    return json.dumps(body, sort_keys=True, ensure_ascii=True, separators=(",", ":"))


def _with_markup(view: DeckView) -> Any:
    """Return the view with its sketch marked as safe: it was drawn here, every word in it escaped."""
    return replace(view, sketch=Markup(view.sketch))  # noqa: S704


def _originals(summaries: Sequence[DeckSummary], source: Source) -> list[tuple[str, str, str]]:
    return [
        (clean(summary.deck), clean(photo.name), photo.sha)
        for summary in summaries
        for photo in source.record(summary.deck).photos
    ]


def decks_csv(summaries: Sequence[DeckSummary], source: Source, options: Options, *, draft: bool) -> str:
    """Return one row per deck, worst first; address and client only where asked."""
    columns = (*DECK_COLUMNS, *(("address", "client") if options.show_address else ()))
    rows = []
    for order, one in enumerate(summaries, start=1):
        record = source.record(one.deck)
        row: dict[str, Any] = {name: getattr(one, name, None) for name in DECK_COLUMNS}
        row |= {"order": order, "photos": len(record.photos), "draft": draft}
        row["tier_by_person"] = one.tier_by_person and one.tier_by_person.tier
        row["possible"] = sum(each.standing == "possible" for each in one.concerns)
        row["concerns"] = len(one.concerns) - row["possible"]
        row |= {"address": record.private.get("address"), "client": record.private.get("client")}
        rows.append(row)
    return csv_text(columns, rows)


def concerns_csv(summaries: Sequence[DeckSummary], source: Source) -> str:
    """Return one row per concern, with the numbers that the report prints."""
    rows = []
    for summary in summaries:
        record = source.record(summary.deck)
        for number, one in concern_numbers(summary).items():
            row: dict[str, Any] = {name: getattr(one, name, None) for name in CONCERN_COLUMNS}
            row |= {"deck": summary.deck, "visit": summary.visit, "number": number}
            row |= {"photos": photo_names(one.photos, record), "photo_hashes": list(one.photos)}
            rows.append(row)
    return csv_text(CONCERN_COLUMNS, rows)


def assessment_json(
    summaries: Sequence[DeckSummary], source: Source, *, draft: bool, stamp: Stamp | None = None
) -> str:
    """Return the assessment as JSON, as `assess --json` prints it, with what it was made from."""
    body: dict[str, Any] = {
        "decks": [summary.to_json() for summary in summaries],
        "draft": draft,
        "library": source.library_id,
        "head": {log_id: dict(head) for log_id, head in source.head.items()},
        "versions": dict(source.versions),
        "caution": CAUTION,
        "photos_waiting_for_a_deck": source.waiting,
    }
    if stamp is not None:
        body["issued"] = stamp_json(stamp)
    return json.dumps(body, ensure_ascii=False, indent=1, sort_keys=True, allow_nan=False) + "\n"


def stamp_json(stamp: Stamp) -> Mapping[str, Any]:
    """Return an issue as JSON."""
    return asdict(stamp)
