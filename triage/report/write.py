"""Writing a report: HTML always, CSV and JSON beside it, one file per deck, PDF and letter on request."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from triage.batch import Cancel, Progress, check_cancel
from triage.errors import BadInput, Damaged
from triage.library.store import write_whole
from triage.report import render
from triage.report.content import DeckView, deck_view, is_draft
from triage.report.gather import gather_source
from triage.report.pdf import to_pdf
from triage.report.pictures import Pictures
from triage.report.source import Options, Source, Stamp

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary
    from triage.library import Library
    from triage.report.source import Issue

PAPERS = ("letter", "A4")
PHOTO_SIZES = ((150, 900), (500, 640), (10**9, 440))
"""Up to so many printed photos of so many pixels on the long side: keeps a report of 200 decks openable."""


def write_report(
    lib: Library,
    summaries: Sequence[DeckSummary],
    out: Path,
    *,
    pdf: bool = False,
    per_deck: bool = False,
    letter: bool = False,
    show_position: bool = False,
    show_address: bool = False,
    paper: str = "letter",
    issue: Issue | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Path]:
    """Write the report of some decks (worst first) into a folder and return the files.

    Always `report.html`, `decks.csv`, `concerns.csv` and `assessment.json`; the same library gives the same
    bytes. Raises BadInput where a letter or an issue is asked for while the report is a DRAFT, for an unknown
    paper, or where the `pdf` extra is not installed; Cancelled, with nothing written, when it is stopped.
    """
    options = Options(show_position, show_address, checked_paper(paper), per_deck, letter, pdf)
    if issue is not None:
        from triage.report.issuing import issue_report

        return issue_report(lib, summaries, out, options, issue, progress, cancel)
    source = gather_source(lib, summaries, positions=show_position)
    return write_pack(make_pack(summaries, source, options, progress=progress, cancel=cancel), out)


def make_pack(
    summaries: Sequence[DeckSummary],
    source: Source,
    options: Options,
    *,
    stamp: Stamp | None = None,
    complete: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> dict[str, bytes]:
    """Return every file of a report as bytes by name, from the records alone.

    Raises BadInput where a letter is asked for while the report is a DRAFT, and Damaged where `complete` is
    asked for and a picture that the report cites cannot be shown.
    """
    draft = is_draft(summaries)
    if draft and options.letter:
        raise BadInput(
            "The owner's letter cannot be written while the report is a DRAFT: serious suggestions of the"
            " machine are not yet reviewed by a person.",
            "Review them first: deck-triage review, or deck-triage label ask.",
        )
    pictures = Pictures(source.provider, source.blackouts, whole_px=photo_px(summaries))
    views = []
    for number, summary in enumerate(summaries, start=1):
        check_cancel(cancel)
        views.append(deck_view(summary, source, pictures, options))
        if progress is not None:
            progress("decks of the report", number, len(summaries))
    if complete and pictures.unreadable:
        raise Damaged(
            f"The report cites {_photos(pictures.unreadable, source)} whose original is missing or damaged; "
            "nothing was issued.",
            "Run: deck-triage verify. Ingest the same files again, or restore a backup.",
        )
    files = {"report.html": render.html(summaries, views, source, options, draft=draft, stamp=stamp)}
    files |= _per_deck(summaries, views, source, options, draft, stamp)
    if options.pdf:
        for number, (name, page) in enumerate(list(files.items()), start=1):
            check_cancel(cancel)
            files[f"{Path(name).stem}.pdf"] = to_pdf(page)
            if progress is not None:
                progress("PDF files", number, len(files))
    files["decks.csv"] = render.decks_csv(summaries, source, options, draft=draft).encode()
    files["concerns.csv"] = render.concerns_csv(summaries, source).encode()
    files["assessment.json"] = render.assessment_json(summaries, source, draft=draft, stamp=stamp).encode()
    return files


def _photos(shas: Collection[str], source: Source) -> str:
    """Name photos as a person names them, the first few of many."""
    names = sorted(
        f"{deck}/{photo.name}"
        for deck, record in source.decks.items()
        for photo in record.photos
        if photo.sha in shas
    )
    count = "1 photo" if len(shas) == 1 else f"{len(shas)} photos"
    return f"{count} ({', '.join(names[:5])}{', ...' if len(names) > 5 else ''})"


def _per_deck(
    summaries: Sequence[DeckSummary],
    views: Sequence[DeckView],
    source: Source,
    options: Options,
    draft: bool,
    stamp: Stamp | None,
) -> dict[str, bytes]:
    """Return the files of single decks that were asked for: reports and letters."""
    files: dict[str, bytes] = {}
    for summary, view, name in zip(summaries, views, file_names(views), strict=True):
        if options.per_deck:
            file = f"deck-{name}.html"
            files[file] = render.html([summary], [view], source, options, draft=draft, stamp=stamp, file=file)
        if options.letter:
            file = f"letter-{name}.html"
            files[file] = render.letter_html(summary, source, options, stamp=stamp, file=file)
    return files


def write_pack(files: Mapping[str, bytes], out: Path) -> list[Path]:
    """Write the files, each whole or not at all, and return their paths."""
    out.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        write_whole(out / name, data)
    return [out / name for name in files]


def checked_paper(paper: str) -> str:
    """Return the paper as CSS names it; raises BadInput for one that is not offered."""
    for known in PAPERS:
        if paper.lower() == known.lower():
            return known
    raise BadInput(f"There is no paper '{paper}'.", f"Choose {' or '.join(PAPERS)}.")


def photo_px(summaries: Sequence[DeckSummary]) -> int:
    """Return how large whole photos are printed, by how many there are."""
    count = sum(min(3, len(one.photos)) for summary in summaries for one in summary.concerns)
    return next(size for most, size in PHOTO_SIZES if count <= most)


def file_names(views: Sequence[DeckView]) -> list[str]:
    """Return a safe and unique file name for each deck: letters, digits and hyphens, a hash where needed."""
    names = [re.sub(r"[^A-Za-z0-9]+", "-", view.deck).strip("-")[:60].lower() for view in views]
    plain = [view.deck.lower() for view in views]
    return [
        name if name and name == deck and names.count(name) == 1 else f"{name}-{view.anchor[5:13]}".strip("-")
        for name, deck, view in zip(names, plain, views, strict=True)
    ]
