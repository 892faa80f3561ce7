"""From views to bytes: HTML by templates, CSV and JSON beside it. The same views give the same bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from itertools import groupby
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
from triage.report.owner import OwnerView
from triage.report.phrases import CAUTIONS, DRAFT_LINE, tag_words, tier_counts, tier_words
from triage.report.pictures import Picture
from triage.report.plan import PlanList, PlanRow
from triage.report.sayings import said_words
from triage.report.source import Options, Source, Stamp
from triage.report.svg import glyph
from triage.report.text import clean, count_of, csv_text, day_words, deck_title, minute
from triage.report.viewing import script_source, viewer_script, viewer_style

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary

DECK_COLUMNS = (
    "order",
    "deck",
    "visit",
    "tier",
    "tier_if_true",
    "tier_by_person",
    "tier_computed",
    "gaps",
    "concerns",
    "possible",
    "unreviewed",
    "photos",
    "reason",
    "go_back_for",
    "draft",
    "caution",
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
    "caution",
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
        fit=fit,
        day=day_words,
        deck_title=deck_title,
        glyph=lambda shape: Markup(glyph(shape)),  # noqa: S704 (drawn here from constants alone)
        unreviewed_words=unreviewed_words,
        caution=CAUTION,
        cautions=CAUTIONS,
        not_fine=CAUTIONS[0],
        count_of=count_of,
        draft_line=DRAFT_LINE,
        script_source=Markup(script_source()),  # noqa: S704 (letters and digits of a hash)
        viewer_script=viewer_script(),
        viewer_style=viewer_style(),
        shape_words=[(look.shape_key(tier), tier_words(tier)) for tier in (*TIERS[:-1], None, TIERS[-1])],
    )
    env.filters["css"] = css_string
    env.filters["by_tier"] = by_tier
    return env


def by_tier(rows: Sequence[PlanRow]) -> list[tuple[str, str, list[PlanRow]]]:
    """Return rows of the plan in runs of one tier: (shape, words, rows)."""
    return [(*key, list(run)) for key, run in groupby(rows, key=lambda row: (row.shape, row.tier))]


def css_string(words: str) -> Markup:
    """Return words as the inside of a CSS string: everything but plain letters and marks is escaped.

    Source: CSS Syntax Module Level 3, 4.3.7 (a backslash, the code point in hexadecimal, a space).
    """
    plain = (
        char if char.isascii() and (char.isalnum() or char in " ,.:;-") else f"\\{ord(char):x} "
        for char in words
    )
    return Markup("".join(plain))  # noqa: S704


def fit(picture: Picture, wide_mm: float, high_mm: float) -> str:
    """Return how wide a picture is printed, in millimeters, so that it fits into a box."""
    return f"{min(wide_mm, high_mm * picture.width_px / picture.height_px):.1f}"


def spot(box: Box, width_px: int, height_px: int) -> Markup:
    """Return the mark of a box or point: a light line under a colored one, to show on any picture."""
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


@dataclass(frozen=True)
class Bundle:
    """What one HTML file of a report holds: the plan, two pages a deck, the record of each."""

    title: str
    plan: tuple[PlanList, ...] = ()
    owners: tuple[OwnerView, ...] = ()
    records: tuple[DeckView, ...] = ()
    apart: str = ""


def html(
    summaries: Sequence[DeckSummary],
    bundle: Bundle,
    source: Source,
    options: Options,
    *,
    draft: bool,
    stamp: Stamp | None = None,
    file: str = "report.html",
) -> bytes:
    """Return one self-contained HTML file of a report; `bundle.apart` names the file with the record."""
    tags = sorted({one.tag for summary in summaries for one in summary.concerns if one.tag})
    record_of = {one.anchor: one for one in bundle.records}
    decks = [(_with_markup(one), record_of.pop(one.anchor, None)) for one in bundle.owners]
    text = (
        environment()
        .get_template("report.html")
        .render(
            title=bundle.title,
            plan=bundle.plan,
            decks=[*decks, *((None, one) for one in record_of.values())],
            apart=bundle.apart,
            alone=not bundle.plan and len(bundle.owners) < 2,
            firm=source.firm,
            draft=draft,
            stamp=stamp,
            summary_line=_summary_line(summaries, source, bundle),
            waiting_line="" if bundle.plan or file != "report.html" or stamp else _waiting_line(source),
            definitions=[
                (tag_words(tag), clean(source.definitions[tag])) for tag in tags if tag in source.definitions
            ],
            versions=version_rows(source),
            originals=_originals(summaries, source) if stamp and bundle.records else (),
            made_from=made_from(summaries, source, options, stamp, file),
            **page_words(options, draft=draft, stamp=stamp),
        )
    )
    return text.encode("utf-8", "replace")


def _summary_line(summaries: Sequence[DeckSummary], source: Source, bundle: Bundle) -> str:
    line = f"{count_of(len(summaries), 'deck')}. {tier_counts([one.shown_tier for one in summaries])}."
    return f"{line} {_waiting_line(source)}".strip() if bundle.plan else line


def _waiting_line(source: Source) -> str:
    """Return how many photos wait for a deck; empty where none does.

    The plan says it, and a working copy of one deck; the page of one deck that is given away never does.
    """
    if not source.waiting:
        return ""
    verb = "is" if source.waiting == 1 else "are"
    return f"{count_of(source.waiting, 'photo')} {verb} not assigned to a deck yet and not counted here."


def page_words(options: Options, *, draft: bool, stamp: Stamp | None) -> dict[str, str]:
    """Return what stands in the margins of every page."""
    number = f"Report {stamp.number}, {day_words(stamp.date)}" if stamp else "Working copy, not issued"
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
            firm=source.firm,
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


def _with_markup(view: OwnerView) -> Any:
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
        row |= {"order": order, "photos": len(record.photos), "draft": draft, "caution": CAUTION}
        row |= {"tier": one.shown_tier, "tier_computed": one.tier}
        row["tier_by_person"] = one.tier_by_person and one.tier_by_person.tier
        row["possible"] = sum(each.standing == "possible" for each in one.concerns)
        row["concerns"] = len(one.concerns) - row["possible"]
        row |= {"address": record.private.get("address"), "client": record.private.get("client")}
        rows.append(row)
    return csv_text(columns, rows)


SAID_COLUMNS = ("deck", "at", "by", "photo", "said")


def said_csv(summaries: Sequence[DeckSummary], source: Source) -> str:
    """Return every answer about every photo, one a row: what the record only counts."""
    rows = []
    for summary in summaries:
        record = source.record(summary.deck)
        names = {photo.sha: photo.name for photo in record.photos}
        found = [
            {
                "deck": summary.deck,
                "at": minute(one.at),
                "by": one.by,
                "photo": names.get(one.photo, one.photo[:12]),
                "said": said_words(one.tag, one.value),
            }
            for one in record.labels
        ]
        rows += sorted(found, key=lambda row: (row["at"], row["by"], row["photo"], row["said"]))
    return csv_text(SAID_COLUMNS, rows)


def concerns_csv(summaries: Sequence[DeckSummary], source: Source) -> str:
    """Return one row per concern, with the numbers that the report prints."""
    rows = []
    for summary in summaries:
        record = source.record(summary.deck)
        for number, one in concern_numbers(summary).items():
            row: dict[str, Any] = {name: getattr(one, name, None) for name in CONCERN_COLUMNS}
            row |= {"deck": summary.deck, "visit": summary.visit, "number": number, "caution": CAUTION}
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
