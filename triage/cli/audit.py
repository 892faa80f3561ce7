"""`audit`: agreement, doubtful labels, samples, missed defects."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from triage.cli._common import (
    advise,
    by_option,
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
from triage.errors import WrongUsage
from triage.library import queries

if TYPE_CHECKING:
    from triage.audit.agreeing import Agreement
    from triage.audit.missed_tag import Missed
    from triage.library import Library

_SHOWN = 20


@click.group("audit")
def command() -> None:
    """Do people agree, which labels are doubtful, how many to look at, what was missed."""


def _tag_option(function: Any) -> Any:
    return click.option("--tag", "tags", multiple=True, metavar="T", help="Only this tag.")(function)


def _names(library: Library) -> dict[str, str]:
    return {photo.sha: photo.path_name for photo in queries.photos(library)}


def _number(value: float | None, digits: int = 3) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


@named("agree")
@_tag_option
@library_option
@json_option
def agree(tags: tuple[str, ...], library_path: Path | None, as_json: bool) -> Any:
    """How far people agree on the photos that two or more of them labeled, tag by tag.

    alpha is Krippendorff's (any number of people), with an interval over decks; kappa is
    Cohen's where two people overlap. Disputed photos wait for a third person: deck-triage settle.

    Examples:
    deck-triage audit agree
    deck-triage audit agree --tag rusted-connector --json
    """
    from triage.audit import agree as agree_of

    with open_library(library_path) as library:
        found = agree_of(library, tags or None)
        names = {} if as_json else _names(library)
    if as_json:
        emit({tag: row.to_json() for tag, row in found.items()})
    else:
        _show_agreement(found, names)
    return exit_for(any(row.alpha is None for row in found.values()))


def _show_agreement(found: dict[str, Agreement], names: dict[str, str]) -> None:
    rows = [
        (
            tag,
            row.photos,
            row.people,
            _number(row.observed),
            _number(row.kappa),
            _number(row.alpha),
            f"{_number(row.low)} to {_number(row.high)}",
            len(row.disputed),
        )
        for tag, row in found.items()
    ]
    say(table(rows, ("tag", "photos", "people", "observed", "kappa", "alpha", "95 %", "disputed")))
    for tag, row in found.items():
        for why in row.why_not:
            advise(f"{tag}: {why}")
        if row.spread is not None:
            advise(f"{tag}: the alphas of the tags have a standard deviation of {row.spread:.3f}")
        if row.saw_machine and tag != "overall":
            advise(f"{tag}: {row.saw_machine:.0%} of these words were given after seeing the machine's")
        if tag != "overall":
            for sha in row.disputed[:_SHOWN]:
                say(f"disputed: {names.get(sha, sha)} {tag}")


@named("doubts")
@_tag_option
@click.option("--n", "most", type=click.IntRange(1), default=100, show_default=True, help="At most so many.")
@library_option
@json_option
def doubts(tags: tuple[str, ...], most: int, library_path: Path | None, as_json: bool) -> Any:
    """Labels that the photos of all other decks speak against, the most doubtful first. Nothing is changed.

    Examples:
    deck-triage audit doubts
    deck-triage audit doubts --tag missing-hanger --n 30
    """
    from triage.audit import doubts as doubts_of

    with open_library(library_path) as library:
        found = doubts_of(library, tags or None, most=most, progress=progress_line())
        names = {} if as_json else _names(library)
    if as_json:
        emit([one.to_json() for one in found.ranked])
    else:
        rows = [
            (
                names.get(one.photo, one.photo),
                one.tag,
                one.value,
                f"{one.probability:.2f}",
                ", ".join(f"{names.get(near.photo, near.photo)} ({near.value})" for near in one.neighbors),
            )
            for one in found.ranked
        ]
        heads = ("photo", "tag", "said", "present by other decks", "most alike")
        say(table(rows, heads) if rows else f"Other decks contradict none of {found.compared} labels.")
    for tag, why in found.without.items():
        advise(f"{tag}: {why}")
    if found.whole_only:
        advise(
            f"Compared by whole photos alone: {', '.join(found.whole_only)}. Small defects hardly show "
            "there; train a model and run this again."
        )
    return exit_for(bool(found.without))


@named("sample")
@click.option("--confidence", type=float, default=0.95, show_default=True, metavar="C", help="0.5 to 1.")
@click.option("--margin", type=float, default=0.05, show_default=True, metavar="M", help="Of error.")
@click.option("--seed", metavar="S", help="Any text; the same seed draws the same sample (else one is made).")
@click.option(
    "--by",
    "by_what",
    type=click.Choice(["simple", "strata", "deck"]),
    default="simple",
    show_default=True,
    help="What is drawn.",
)
@click.option(
    "--stratum",
    type=click.Choice(["deck", "element", "pile"]),
    default="deck",
    show_default=True,
    help="What the strata are, with --by strata.",
)
@click.option("--tag", metavar="T", help="The tag whose piles are the strata, with --stratum pile.")
@click.option(
    "--least-share",
    type=click.FloatRange(0, 1),
    default=0.0,
    metavar="X",
    help="Least share of each stratum, e.g. 0.15.",
)  # noqa: E501
@click.option(
    "--accept",
    "rates",
    type=float,
    nargs=2,
    metavar="GOOD BAD",
    help="Size of an acceptance plan: pass GOOD, stop BAD shares of defects.",
)  # noqa: E501
@library_option
@json_option
def sample(
    confidence: float,
    margin: float,
    seed: str | None,
    by_what: str,
    stratum: str,
    tag: str | None,
    least_share: float,
    rates: tuple[float, float] | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """How many photos or decks must be looked at, at least, and which: drawn from a printed seed.

    Anybody can draw the same sample again: items stand in the order of the SHA-256 of 'SEED:ITEM'.

    Examples:
    deck-triage audit sample --confidence 0.95 --margin 0.05 --seed 2026
    deck-triage audit sample --by strata --stratum element --least-share 0.15
    deck-triage audit sample --accept 0.01 0.05
    """
    from triage.audit import sample as draw_sample
    from triage.audit.sizes import LAWS, LOCAL_LAW

    with open_library(library_path) as library:
        found = draw_sample(
            library,
            confidence=confidence,
            margin=margin,
            seed=seed,
            by=by_what,
            stratum=stratum,
            tag=tag,
            least_share=least_share,
            rates=rates,
        )
        said = found.to_json({photo.sha: photo for photo in queries.photos(library)})
    if as_json:
        emit(said)
        return
    unit = "decks" if by_what == "deck" else "photos"
    say(f"At least {found.n} of {found.population} {unit}; seed {found.seed}.")
    if found.plan is not None:
        say(f"Accept with at most {found.plan.accept} defects among {found.plan.sample}.")
    for name, (size, n) in found.strata.items():
        say(f"  {name}: {n} of {size}")
    for item in said["items"]:
        say(item["deck"] if by_what == "deck" else f"{item['deck']}/{item['name']}")
    for law, asks in LAWS:
        advise(f"{law} asks for {asks}.")
    advise(LOCAL_LAW)


@named("missed")
@click.option(
    "--n",
    type=click.IntRange(1),
    metavar="N",
    help="Photos of the pile `unlikely` to look at, in whole decks (default: 95 % and 5 %).",
)  # noqa: E501
@click.option(
    "--seed",
    metavar="S",
    help="Any text; call again with it (or with none) when all is labeled.",
)
@_tag_option
@click.option("--confidence", type=float, default=0.95, show_default=True, metavar="C")
@click.option(
    "--stop-early",
    is_flag=True,
    help="Bounds that hold at any moment; stop as soon as the promise is shown to hold or not.",
)  # noqa: E501
@click.option(
    "--strata",
    is_flag=True,
    help="For older scripts: all piles of a drawn deck are looked at anyway.",
)
@click.option("--ask", is_flag=True, help="Open the labeling screen on what is still to be answered.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.csv",
    help="Write what is still to be answered as a sheet for `label read`.",
)
@by_option
@library_option
@json_option
def missed(
    n: int | None,
    seed: str | None,
    tags: tuple[str, ...],
    confidence: float,
    stop_early: bool,
    strata: bool,
    ask: bool,
    sheet: Path | None,
    by: str | None,
    library_path: Path | None,
    as_json: bool,
) -> Any:
    """What the machine let through: draws decks that no model has seen, and states what they lose.

    The draw is recorded before the first answer. Somebody who has not labeled these photos answers them;
    then call it again with the same seed. A finished audit is recorded under your name. When it contradicts
    the model card's promise, nothing of that tag is `unlikely` until the next model passes an audit or a
    person lifts this: deck-triage audit lift TAG --why TEXT.

    Examples:
    deck-triage audit missed --n 60 --seed 2026 --ask --by ann
    deck-triage audit missed --n 60 --seed 2026 --sheet drawn.csv
    deck-triage audit missed --seed 2026 --stop-early --by ann
    """
    from triage.audit import missed as missed_of
    from triage.audit.asking import open_questions, write_sheet
    from triage.audit.draw import new_seed

    if not 0.5 <= confidence < 1:
        raise WrongUsage(f"confidence {confidence:g} is not between 0.5 and 1.", "95 % is 0.95.")
    seed = seed or new_seed()
    with open_library(library_path) as library:

        def audit() -> dict[str, Missed]:
            return missed_of(
                library,
                n,
                seed=seed,
                by=by,
                tags=tags or None,
                confidence=confidence,
                early=stop_early,
                strata=strata,
                progress=progress_line(),
            )

        found = audit()
        if ask and any(one.asked for one in found.values()):
            from triage.terminal import ask_these

            ask_these(library, need_by(by), open_questions(library, found))
            found = audit()
        elif sheet is not None:
            rows = write_sheet(sheet, open_questions(library, found))
            advise(f"Wrote {rows} rows to {sheet}: fill in `value`, then label read it.")
        names = {} if as_json else _names(library)
    if as_json:
        emit({tag: one.to_json() for tag, one in found.items()})
    else:
        _show_missed(found, names)
    return exit_for(any(one.rate is None for one in found.values()))


def _show_missed(found: dict[str, Missed], names: dict[str, str]) -> None:
    rows = [
        (
            tag,
            one.population,
            f"{one.drawn} of {one.n}",
            f"{one.drawn_decks} of {one.frame_decks}",
            one.defects,
            _number(one.rate),
            f"{_number(one.low)} to {_number(one.high)}",
            _number(one.missed_share),
            f"{_number(one.loss)} ({_number(one.loss_low)} to {_number(one.loss_high)})",
            one.verdict or "",
        )
        for tag, one in found.items()
    ]
    heads = ("tag", "pile", "looked at", "decks", "defects", "rate", "95 %", "share missed")
    say(table(rows, (*heads, "lost per deck", "promise")))
    for tag, one in found.items():
        say(f"{tag}: seed {one.seed}, model {one.model[:12]}")
        for why in one.why_not:
            advise(f"{tag}: {why}")
        if one.contradicts:
            advise(f"{tag}: the promise is withdrawn until the next model passes an audit")
        for sha in one.asked[:_SHOWN]:
            say(f"label next: {names.get(sha, sha)} {tag}")
        if len(one.asked) > _SHOWN:
            say(f"... and {len(one.asked) - _SHOWN} more; --json lists all")


@named("lift")
@click.argument("tag")
@click.option("--why", required=True, metavar="TEXT", help="The reason, which goes on record.")
@by_option
@library_option
@json_option
def lift(tag: str, why: str, by: str | None, library_path: Path | None, as_json: bool) -> Any:
    """Lift the withdrawal of a promise that an audit contradicted, with a reason.

    Examples:
    deck-triage audit lift missing-hanger --why "the drawn decks were all of one builder" --by ann
    """
    from triage.presort.withdrawals import lift_withdrawal

    with open_library(library_path) as library:
        lift_withdrawal(library, tag, why=why, by=need_by(by))
    if as_json:
        emit({"tag": tag, "lifted": True})
    else:
        say(f"The withdrawal on {tag} is lifted. Sort again: deck-triage presort --again")


@named("register")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.csv|FILE.html",
    help="Write it to a file; without one it is printed as CSV.",
)
@click.option("--show-names", is_flag=True, help="People by their names, with the reasons they gave.")
@library_option
@json_option
def register(out: Path | None, show_names: bool, library_path: Path | None, as_json: bool) -> Any:
    """Every draw, audit, promise, withdrawal, settlement, issued report and correction, with who and when.

    It ends with the head of the log as a short code. Keep the code outside this computer; verify --head CODE
    then tells whether history since was only added to.

    Examples:
    deck-triage audit register
    deck-triage audit register --out register.html
    """
    from triage.audit import register_files
    from triage.audit.labelers import records
    from triage.audit.register import head_code
    from triage.audit.register import register as entries_of
    from triage.label.files import write_whole

    with open_library(library_path) as library:
        entries = entries_of(library, show_names=show_names)
        people = records(library, show_names=show_names)
        code = head_code(library)
    if out is not None:
        is_page = out.suffix.lower() in (".html", ".htm")
        write_whole(
            out,
            (
                register_files.to_html(entries, people, code) if is_page else register_files.to_csv(entries)
            ).encode(),
        )
    if as_json:
        emit(
            {
                "head": code,
                "entries": [vars(one) for one in entries],
                "people": [vars(one) for one in people],
                "files": [str(out)] if out else [],
            }
        )
    elif out is None:
        say(register_files.to_csv(entries).rstrip())
    else:
        say(f"Wrote {len(entries)} entries to {out}.")
    advise(f"Head of the log: {code}")


@named("sheets")
@library_option
@json_option
def sheets(library_path: Path | None, as_json: bool) -> Any:
    """What came of the photos that return after a contact sheet answered them 'no': one in twenty, blind.

    Examples:
    deck-triage audit sheets
    """
    from triage.label.sheet_checks import ONE_IN, sheet_checks

    with open_library(library_path) as library:
        found = sheet_checks(library)
    if as_json:
        emit({one.tag: one.to_json() for one in found})
        return
    if not found:
        say("No contact sheet has been confirmed.")
        return
    heads = ("tag", "confirmed 'no'", "to come back", "looked at again", "not 'no' after all")
    say(table([(one.tag, one.confirmed, one.drawn, one.looked, one.wrong) for one in found], heads))
    advise(f"One photo in {ONE_IN} comes back by the hash of its tag and itself, in: deck-triage label ask")


for _one in (agree, doubts, sample, missed, lift, register, sheets):
    command.add_command(_one)
