"""`decks`: the decks of the library, and putting them right as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
    dry_run_option,
    emit,
    exit_for,
    json_option,
    library_option,
    named,
    need_by,
    open_library,
    progress_line,
    say,
    table,
)
from triage.domain.plurals import count_of
from triage.errors import WrongUsage
from triage.library import queries

if TYPE_CHECKING:
    from triage.ingest.deck_acts import DeckAct

_SHOWN = 40
_KEYS = ("deck", "visit", "photos", "labelled", "tier", "tier_if_true", "gaps")


@click.group(
    "decks",
    invoke_without_command=True,
    epilog="\b\nExamples:\n  deck-triage decks -L season-2026\n  deck-triage decks --full\n"
    "  deck-triage decks questions",
)
@click.option(
    "--full", is_flag=True, help="Also visit, labeled photos, and the tier if suggestions are true."
)
@library_option
@json_option
@click.pass_context
def command(context: click.Context, full: bool, library_path: Path | None, as_json: bool) -> Any:
    """List the decks, worst first, one line a deck; split, join and rename decks; answer questions.

    Each act is one entry in the log: labels move along with their photos, issued reports stay as they were,
    and 'undo' takes the whole act back.
    """
    if context.invoked_subcommand is None:
        return _list(full, library_path, as_json)
    return None


def _list(full: bool, library_path: Path | None, as_json: bool) -> None:
    from triage.assess.cache.lines import standings
    from triage.assess.status import waiting_words

    with open_library(library_path) as library:
        waiting = waiting_words(library)
        if waiting:
            advise(waiting)
        found = standings(library, progress_line())
        rows = [
            {key: getattr(one, key) for key in _KEYS}
            | {
                "tier": one.shown_tier,
                "tier_computed": one.tier,
                "tier_by_person": one.tier_by_person.tier if one.tier_by_person else None,
            }
            for one in found.lines
        ]
        if as_json:
            emit(rows)
        elif full:
            _say_full(rows)
        else:
            _say_lines(rows, found.summaries())


def _say_lines(rows: list[dict[str, Any]], summaries: Any) -> None:
    from triage.report.plan import height_words, lead_words

    lines = [
        (
            row["deck"],
            row["photos"],
            _tier(row),
            height_words(one["height_class"]),
            row["gaps"],
            lead_words(one),
        )
        for row, one in zip(rows, summaries, strict=True)
    ]
    say(table(lines, ("deck", "photos", "tier", "height", "gaps", "finding")))


def _tier(row: dict[str, Any]) -> str:
    """Return the tier that is shown, with the computed one beside it where a person set a worse one."""
    if row["tier"] == row["tier_computed"]:
        return row["tier"] or "not enough seen"
    return f"{row['tier']} (by a person; computed: {row['tier_computed'] or 'not enough seen'})"


def _say_full(rows: list[dict[str, Any]]) -> None:
    from triage.domain.tiers import NOT_ENOUGH

    heads = ("deck", "visit", "photos", "labeled", "tier", "if suggestions are true", "gaps")
    lines = [tuple(row[key] or (NOT_ENOUGH if "tier" in key else row[key]) for key in _KEYS) for row in rows]
    say(table(lines, heads))


def _done(act: DeckAct, words: str, as_json: bool) -> int:
    if as_json:
        emit(act.to_json())
    else:
        say(words)
        if act.statements:
            entries = count_of(act.statements, "entry", "entries")
            say(f"{entries} (facts, findings, tiers and the like) went along.")
        say("Take it back with: deck-triage undo --by NAME")
    return 0


def _photos(act: DeckAct) -> str:
    return count_of(len(act.photos), "photo")


@named("split")
@click.argument("deck")
@click.option("--at", "first", metavar="PHOTO", help="This photo and all later ones of that visit go.")
@click.option("--photo", "chosen", multiple=True, metavar="PHOTO", help="A photo that goes; may be repeated.")
@click.option("--to", "new", metavar="NAME", help="The new deck's name.")
@dry_run_option
@by_option
@library_option
@json_option
def split(
    deck: str,
    first: str | None,
    chosen: tuple[str, ...],
    new: str | None,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Make two decks of one: from a photo on, or the photos that are named.

    Without --at or --photo, time and place say where. Facts and findings that rest only on photos that go, go
    along; everything else stays with DECK.

    Examples:
    deck-triage decks split D-17 --at D-17/IMG_0412.jpg --to D-19 --by ann
    deck-triage decks split D-17 --photo D-17/IMG_0413.jpg --to D-19 --by ann --dry-run
    """
    from triage.ingest import deck_acts

    speaker = need_by(by)
    if first and chosen:
        raise WrongUsage("--at and --photo do not go together.")
    if (first or chosen) and not new:
        raise WrongUsage("The new deck has no name.", "Give one with --to NAME.")
    if new and not (first or chosen):
        raise WrongUsage(
            "--to needs --at PHOTO or --photo PHOTO.", "Without them time and place divide the deck."
        )
    with open_library(library_path) as library:
        if first:
            act = deck_acts.split_at(
                library, deck, queries.find_photo(library, first), str(new), by=speaker, dry_run=dry_run
            )
        elif chosen:
            photos = [queries.find_photo(library, one) for one in chosen]
            act = deck_acts.split_off(library, deck, photos, str(new), by=speaker, dry_run=dry_run)
        else:
            act = deck_acts.split_by_walk(library, deck, by=speaker, dry_run=dry_run)
    verb = "Would split" if dry_run else "Split"
    return _done(act, f"{verb} {deck}: {_photos(act)} to {', '.join(act.decks[1:])}.", as_json)


@named("join")
@click.argument("deck")
@click.argument("other")
@dry_run_option
@by_option
@library_option
@json_option
def join(
    deck: str, other: str, dry_run: bool, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Make one deck of two: all of OTHER goes to DECK.

    Refused where facts or a person's tier of one visit differ, because one of them would disappear.

    Examples:
    deck-triage decks join D-17 D-18 --by ann
    """
    from triage.ingest import deck_acts

    with open_library(library_path) as library:
        act = deck_acts.join(library, deck, other, by=need_by(by), dry_run=dry_run)
    verb = "Would join" if dry_run else "Joined"
    return _done(act, f"{verb} {other} to {deck}: {_photos(act)}.", as_json)


@named("rename")
@click.argument("old")
@click.argument("new")
@dry_run_option
@by_option
@library_option
@json_option
def rename(
    old: str, new: str, dry_run: bool, by: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Give a deck another name; everything that was said about it goes along.

    Examples:
    deck-triage decks rename D-17 17-back --by ann
    """
    from triage.ingest import deck_acts

    with open_library(library_path) as library:
        act = deck_acts.rename(library, old, new, by=need_by(by), dry_run=dry_run)
    return _done(
        act, f"{'Would rename' if dry_run else 'Renamed'} {old} to {act.decks[1]}: {_photos(act)}.", as_json
    )


@named("visit")
@click.argument("deck")
@click.argument("day", metavar="DATE")
@click.option("--from", "before", metavar="DATE", help="The visit whose day was wrong; else what has none.")
@dry_run_option
@by_option
@library_option
@json_option
def visit(
    deck: str,
    day: str,
    before: str | None,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Say on which day a deck was visited: for photos, facts and findings without a visit, or of a wrong one.

    Examples:
    deck-triage decks visit D-17 2026-05-05 --from 2026-05-04 --by ann
    """
    from triage.ingest import check_visit, deck_acts

    with open_library(library_path) as library:
        act = deck_acts.set_visit(
            library, deck, str(check_visit(day)), before=check_visit(before), by=need_by(by), dry_run=dry_run
        )
    verb = "Would set" if dry_run else "Set"
    return _done(act, f"{verb} the visit of {_photos(act)} of {deck} to {day}.", as_json)


@named("questions")
@library_option
@json_option
def questions(library_path: Path | None, as_json: bool) -> Any:
    """List the photos that wait for a deck, with the question and what is proposed, and files set aside.

    Examples:
    deck-triage decks questions
    """
    from triage.ingest.questions import left_out, open_questions

    with open_library(library_path) as library:
        asked, aside = open_questions(library), left_out(library)
    if as_json:
        emit(
            {
                "questions": [one.to_json() for one in asked],
                "set_aside": [
                    {"id": one.id, "file": one.file, "reason": one.reason, "at": one.at} for one in aside
                ],
            }
        )
    else:
        if not asked and not aside:
            say("Nothing waits for an answer.")
        for question in asked:
            proposed = f" Proposed: {question.proposal}." if question.proposal else ""
            say(f"{question.id}  {question.reason}{proposed}")
        for one in aside[:_SHOWN]:
            say(f"{one.id}  set aside: {one.file}: {one.reason}")
        if len(aside) > _SHOWN:
            say(f"... and {len(aside) - _SHOWN} more files; --json lists all.")
    return exit_for(bool(asked or aside))


@named("answer")
@click.argument("ids", nargs=-1, metavar="[ID]...")
@click.option(
    "--deck", metavar="D", help="The deck they belong to; else the one that each question proposes."
)
@click.option("--visit", "day", metavar="DATE", help="The visit they belong to.")
@click.option("--all", "every", is_flag=True, help="Every open question whose answer is hardly in doubt.")
@click.option("--seen", is_flag=True, help="These files that were set aside are dealt with.")
@dry_run_option
@by_option
@library_option
@json_option
def answer(
    ids: tuple[str, ...],
    deck: str | None,
    day: str | None,
    every: bool,
    seen: bool,
    dry_run: bool,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """Answer questions about photos that wait for a deck: as proposed, or with a deck's name. One act.

    --all accepts proposals that are hardly in doubt (a chance of at most 1 in 10 of being wrong, by the model
    of time and place); the others stay open and are answered one by one.

    Examples:
    deck-triage decks answer --all --by ann
    """
    from triage.ingest import check_visit
    from triage.ingest import questions as asked

    speaker = need_by(by)
    if bool(ids) == every:
        raise WrongUsage(
            "Which questions?", "Name their identifiers (see: deck-triage decks questions), or --all."
        )
    if every and deck:
        raise WrongUsage("--all and --deck do not go together: different houses would become one deck.")
    with open_library(library_path) as library:
        if seen:
            files = [one.id for one in asked.left_out(library)] if every else list(ids)
            done = asked.dealt_with(library, files, by=speaker)
            if as_json:
                emit({"files": [one.file for one in done]})
            else:
                say(f"{count_of(len(done), 'file is', 'files are')} no longer listed.")
            return 0
        waiting = asked.open_questions(library)
        chosen = [one.id for one in waiting if one.is_clear] if every else list(ids)
        moved = asked.answer(library, chosen, by=speaker, deck=deck, visit=check_visit(day), dry_run=dry_run)
        left = [] if dry_run else asked.open_questions(library)
    if as_json:
        rows = [{"photo": photo.sha, "deck": where} for photo, where in moved]
        emit({"photos": rows, "questions": [one.to_json() for one in left]})
    else:
        photos = count_of(len(moved), "photo")
        decks = ", ".join(sorted({where for _, where in moved})) or "no deck"
        say(f"{'Would place' if dry_run else 'Placed'} {photos} at {decks}; open questions: {len(left)}.")
    return exit_for(bool(every and left))


for _one in (split, join, rename, visit, questions, answer):
    command.add_command(_one)
