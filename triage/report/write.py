"""The files of a report: HTML, CSV and JSON always; one file per deck, PDF, plan and letter on request."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from triage.batch import Cancel, Progress, check_cancel
from triage.errors import BadInput, Damaged
from triage.library.store import write_whole
from triage.report import render
from triage.report.concern_view import concern_numbers
from triage.report.content import DeckView, deck_is_draft, deck_view, is_draft
from triage.report.owner import OwnerView, owner_view
from triage.report.pdf import to_pdf
from triage.report.people import unnamed
from triage.report.pictures import Pictures
from triage.report.plan import PlanList, plan_of
from triage.report.sketch import draw_deck
from triage.report.source import Options, Source, Stamp
from triage.report.text import count_of

if TYPE_CHECKING:
    from triage.assess.records import DeckSummary

PAPERS = ("letter", "A4")


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
            "The owner's letter cannot be written while the report is a DRAFT: not everything was looked at.",
            "See what is left: deck-triage report --ready",
        )
    if not options.show_names:
        summaries, source = unnamed(summaries, source)
    made = _Maker(summaries, source, options, draft, stamp)
    files = made.plan_file() if options.plan else made.pages(progress, cancel)
    if complete and made.pictures.unreadable:
        raise Damaged(
            f"The report cites {_photos(made.pictures.unreadable, source)} whose original is missing or "
            "damaged; nothing was issued.",
            "Run: deck-triage verify. Ingest the same files again, or restore a backup.",
        )
    if options.pdf:
        for number, (name, page) in enumerate(list(files.items()), start=1):
            check_cancel(cancel)
            files[f"{Path(name).stem}.pdf"] = to_pdf(page)
            if progress is not None:
                progress("PDF files", number, len(files))
    return files if options.plan else files | made.tables()


def _photos(shas: Collection[str], source: Source) -> str:
    """Name photos as a person names them, the first few of many."""
    names = sorted(
        f"{deck}/{photo.name}"
        for deck, record in source.decks.items()
        for photo in record.photos
        if photo.sha in shas
    )
    count = count_of(len(shas), "photo")
    return f"{count} ({', '.join(names[:5])}{', ...' if len(names) > 5 else ''})"


class _Maker:
    """Makes the files of one report from its records."""

    def __init__(
        self,
        summaries: Sequence[DeckSummary],
        source: Source,
        options: Options,
        draft: bool,
        stamp: Stamp | None,
    ) -> None:
        self.summaries, self.source, self.options = summaries, source, options
        self.draft, self.stamp = draft, stamp
        self.pictures = Pictures(source.provider, source.blackouts)

    def pages(self, progress: Progress | None, cancel: Cancel | None) -> dict[str, bytes]:
        """Return the report, the record and what was asked for of single decks."""
        owners, records = [], []
        for number, summary in enumerate(self.summaries, start=1):
            check_cancel(cancel)
            owners.append(self.owner(summary))
            records.append(self.record(summary, owners[-1]))
            if progress is not None:
                progress("decks of the report", number, len(self.summaries))
        files = self._pair("report.html", "record.html", self.summaries, owners, records)
        for summary, owner, record, name in zip(
            self.summaries, owners, records, file_names(owners), strict=True
        ):
            if self.options.per_deck:
                files |= self._pair(f"deck-{name}.html", f"record-{name}.html", [summary], [owner], [record])
            if self.options.letter:
                file = f"letter-{name}.html"
                files[file] = render.letter_html(
                    summary, self.source, self.options, stamp=self.stamp, file=file
                )
        return files

    def owner(self, summary: DeckSummary) -> OwnerView:
        """Return the two pages of a deck."""
        record = self.source.record(summary.deck)
        sketch = draw_deck(record.facts, summary, concern_numbers(summary), self.source.element_of)
        return owner_view(
            summary,
            self.source,
            self.pictures,
            self.options,
            sketch=sketch,
            draft=deck_is_draft(summary),
            stamp=self.stamp,
        )

    def record(self, summary: DeckSummary, owner: OwnerView) -> DeckView:
        """Return the record of a deck; bound in one file, a photo of the two pages is not printed again."""
        shown: dict[str, str] = {}
        if self.options.full:
            shown = {
                one.sha: f"printed with finding {place} on the first page of this deck"
                for place, one in enumerate(owner.findings, start=1)
                if one.picture is not None
            }
        return deck_view(summary, self.source, self.pictures, self.options, shown)

    def plan(self) -> tuple[PlanList, ...]:
        """Return the plan of all decks."""
        return plan_of(self.summaries, self.source, self.pictures, self.options)

    def plan_file(self) -> dict[str, bytes]:
        """Return the plan as a file of its own."""
        return {
            "plan.html": self._html(
                "plan.html", self.summaries, render.Bundle("Plan for the next working day", plan=self.plan())
            )
        }

    def _pair(
        self,
        file: str,
        apart: str,
        summaries: Sequence[DeckSummary],
        owners: Sequence[OwnerView],
        records: Sequence[DeckView],
    ) -> dict[str, bytes]:
        """Return the two pages of some decks, and their record in a file apart or bound in."""
        one = len(summaries) == 1
        whose = f"deck {owners[0].deck}" if one else count_of(len(summaries), "deck")
        plan = () if one else self.plan()
        bound = tuple(records) if self.options.full else ()
        front = render.Bundle(f"Report on {whose}", plan, tuple(owners), bound, "" if bound else apart)
        files = {file: self._html(file, summaries, front)}
        if not bound:
            back = render.Bundle(f"Full record of {whose}", records=tuple(records))
            files[apart] = self._html(apart, summaries, back)
        return files

    def _html(self, file: str, summaries: Sequence[DeckSummary], bundle: render.Bundle) -> bytes:
        return render.html(
            summaries,
            bundle,
            self.source,
            self.options,
            draft=self.draft,
            stamp=self.stamp,
            file=file,
        )

    def tables(self) -> dict[str, bytes]:
        """Return the tables and the assessment."""
        given = self.summaries, self.source
        return {
            "decks.csv": render.decks_csv(*given, self.options, draft=self.draft).encode(),
            "concerns.csv": render.concerns_csv(*given).encode(),
            "said.csv": render.said_csv(*given).encode(),
            "assessment.json": render.assessment_json(*given, draft=self.draft, stamp=self.stamp).encode(),
        }


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


def file_names(views: Sequence[OwnerView]) -> list[str]:
    """Return a safe and unique file name for each deck: letters, digits and hyphens, a hash where needed."""
    names = [re.sub(r"[^A-Za-z0-9]+", "-", view.deck).strip("-")[:60].lower() for view in views]
    plain = [view.deck.lower() for view in views]
    return [
        name if name and name == deck and names.count(name) == 1 else f"{name}-{view.anchor[5:13]}".strip("-")
        for name, deck, view in zip(names, plain, views, strict=True)
    ]
