"""What every command shares: finding the library, who speaks, printing results and progress."""

from __future__ import annotations

import functools
import json
import os
import sys
import textwrap
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from triage.errors import DONE, PARTLY, BadInput, NoLibrary, TriageError, WrongUsage

if TYPE_CHECKING:
    from triage.library import Library

Function = TypeVar("Function", bound=Callable[..., Any])
LIBRARY_VARIABLE = "DECK_TRIAGE_LIBRARY"
BY_VARIABLE = "DECK_TRIAGE_BY"


def library_option(function: Function) -> Function:
    """Add `--library` / `-L`."""
    return click.option(
        "--library",
        "-L",
        "library_path",
        type=click.Path(path_type=Path),
        envvar=LIBRARY_VARIABLE,
        help="The library's folder (else DECK_TRIAGE_LIBRARY, else the nearest one upward).",
    )(function)


def json_option(function: Function) -> Function:
    """Add `--json`."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")(function)


def by_option(function: Function) -> Function:
    """Add `--by`."""
    return click.option(
        "--by",
        envvar=BY_VARIABLE,
        metavar="NAME",
        help="Who speaks (or DECK_TRIAGE_BY). A claim that is recorded, not a proof of identity.",
    )(function)


def dry_run_option(function: Function) -> Function:
    """Add `--dry-run`."""
    return click.option("--dry-run", is_flag=True, help="Say what would be done and change nothing.")(
        function
    )


def engine_options(function: Function) -> Function:
    """Add `--engine` and `--dask`."""
    function = click.option(
        "--engine",
        type=click.Choice(["here", "processes", "dask"]),
        default="processes",
        show_default=True,
        help="Where batches run.",
    )(function)
    return click.option("--dask", metavar="ADDRESS", help="Address of a Dask scheduler, with --engine dask.")(
        function
    )


def need_by(by: str | None, *, ask: bool = True) -> str:
    """Return the speaker's name. Raises WrongUsage when nobody is named.

    A name that differs in spelling only from one that the library knows is asked about once (unless `ask` is
    false): by a question in the terminal, else it raises BadInput.
    """
    if not by or not by.strip():
        raise WrongUsage(
            "Nobody is named as the speaker.", f"Say who speaks with --by NAME, or set {BY_VARIABLE}."
        )
    return _asked_about(by.strip()) if ask else by.strip()


_SPEAKER, _OPEN = "triage.speaker", "triage.library"


def _asked_about(name: str) -> str:
    """Ask whether a name is a known person's, now or as soon as the library is open."""
    context = click.get_current_context(silent=True)
    if context is not None:
        context.meta[_SPEAKER] = name
        if context.meta.get(_OPEN) is not None:
            _ask_who(context.meta[_OPEN], name)
    return name


def _ask_who(library: Library, name: str) -> None:
    from triage.library import people

    with library.read() as connection:
        like = people.resembling(connection, name)
    for known in like:
        if not _at_a_terminal():
            raise BadInput(
                f"{known!r} has spoken in this library, and {name!r} differs in spelling only; nothing was "
                "stored.",
                f"Say once whether they are one person: deck-triage people same {known!r} {name!r} --by "
                f"{name!r}; if they are two: people apart.",
            )
        question = f"{known} has spoken in this library. Are {plain(name)} and {known} one person?"
        same = click.confirm(question, err=True)
        people.decide(library, known, name, same=same, by=name)


def _at_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def someone(by: str | None) -> str:
    """Return the speaker's name, or the account's for work that puts no words in anybody's mouth."""
    import getpass

    if by and by.strip():
        return _asked_about(by.strip())
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def library_folder(path: Path | None) -> Path:
    """Return the folder of the library that is named, or of the nearest one upward. Raises NoLibrary."""
    from triage.library import Library

    if path is None:
        context = click.get_current_context(silent=True)
        path = context.find_root().params.get("library_path") if context else None
    if path is None:
        path = Library.find_upward(Path.cwd())
    if path is None:
        raise NoLibrary(
            "There is no library here or in a folder above.",
            "Make one with: deck-triage new PATH, or name one with --library PATH.",
        )
    return path


@contextmanager
def open_library(path: Path | None) -> Iterator[Library]:
    """Open the library that is named, or the nearest one upward. Raises NoLibrary."""
    from triage.library import Library
    from triage.library.backup import sweep_left_overs
    from triage.library.logs import log_error

    with Library.open(library_folder(path)) as library:
        if library.brought:
            done = library.brought
            advise(
                f"Upgraded the library from format {done.before} to {done.after};"
                f" a copy of its database from before is {done.copy}"
            )
        if library.not_removed:
            advise(
                "Something of a photo that was removed for good is still here and could not be deleted yet:"
                f" {library.not_removed}. Mend that; every command tries again."
            )
        for left in sweep_left_overs(library):
            advise(f"Deleted what an interrupted backup, restore or upgrade had left: {left}")
        try:
            with _is_open(library):
                yield library
        except Exception as error:
            if not isinstance(error, TriageError | OSError | click.ClickException):
                context = click.get_current_context(silent=True)
                entry = log_error(library.path, error, f"command {context.info_name if context else ''}")
                advise(f"Details are in {library.path / 'logs'}, entry {entry}.")
            raise


@contextmanager
def _is_open(library: Library) -> Iterator[None]:
    """Let `need_by` know the library; ask about a speaker who was named before it was open."""
    context = click.get_current_context(silent=True)
    if context is None:
        yield
        return
    if context.meta.get(_SPEAKER):
        _ask_who(library, context.meta[_SPEAKER])
    context.meta[_OPEN] = library
    try:
        yield
    finally:
        context.meta[_OPEN] = None


def plain(text: object) -> str:
    """Return text that is safe on a terminal: no control or direction-changing characters."""
    if str(text).isprintable():
        return str(text)
    return "".join(
        " " if char in "\n\t" else char
        for char in str(text)
        if char in "\n\t" or unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Co")
    )


def say(text: str = "") -> None:
    """Print a result line on stdout."""
    click.echo("\n".join(plain(line) for line in text.split("\n")))


def advise(text: str) -> None:
    """Print advice, a warning or a reason on stderr."""
    click.echo(plain(text), err=True)


def emit(data: Any) -> None:
    """Print exactly one JSON document on stdout; never NaN."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=2, default=str)
    click.echo(text.encode("utf-8", "backslashreplace").decode())  # an unpaired surrogate stays an escape


def emit_list(name: str, items: Iterable[Any]) -> None:
    """Print what `emit({name: [...]})` would, item by item, so that a long list begins at once."""
    click.echo(f"{{\n  {json.dumps(name)}: [", nl=False)
    comma = ""
    for item in items:
        text = json.dumps(item, ensure_ascii=False, allow_nan=False, indent=2, default=str)
        click.echo(f"{comma}\n{textwrap.indent(text, '    ')}", nl=False)
        comma = ","
    click.echo("\n  ]\n}" if comma else "]\n}")


def exit_for(set_aside: bool) -> int:
    """Return 3 when something was set aside or could not be said, else 0."""
    return PARTLY if set_aside else DONE


def progress_line() -> Callable[[str, int, int | None], None]:
    """Return a progress callback that draws one line on stderr, and nothing where stderr is no terminal."""
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        return _no_progress
    started: dict[str, float] = {}
    last = 0.0

    def show(what: str, done: int, total: int | None) -> None:
        nonlocal last
        now = time.monotonic()
        started.setdefault(what, now)
        finished = total is not None and done >= total
        if not finished and now - last < 0.1:
            return
        last = now
        rate = done / (now - started[what]) if now - started[what] > 0.5 else 0.0
        left = f", {(total - done) / rate:.0f} s left" if total and rate and not finished else ""
        click.echo(
            f"\r\x1b[K{plain(what)}: {done}{f' of {total}' if total else ''}{left}", err=True, nl=finished
        )

    return show


def _no_progress(_what: str, _done: int, _total: int | None) -> None:
    return None


def table(rows: list[tuple[Any, ...]], heads: tuple[str, ...]) -> str:
    """Return rows as plain text in columns."""
    cells = [tuple(plain("" if cell is None else cell) for cell in row) for row in [heads, *rows]]
    widths = [max(len(row[column]) for row in cells) for column in range(len(heads))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]
    return "\n".join(lines)


def _check_files(values: Iterable[Any]) -> None:
    """Refuse pipes and devices, which may never end. Raises BadInput."""
    for value in values:
        for path in value if isinstance(value, tuple) else (value,):
            if isinstance(path, Path) and path.exists() and not (path.is_file() or path.is_dir()):
                raise BadInput(f"{path} is a pipe or a device, not a file.", "Save it as a file first.")


def named(name: str, **options: Any) -> Callable[[Callable[..., Any]], click.Command]:
    """Make a command whose help keeps its examples as written (they stand after a line `Examples:`)."""

    def decorate(function: Callable[..., Any]) -> click.Command:
        text = function.__doc__ or ""
        head, _, examples = text.partition("Examples:")
        lines = [line.strip() for line in examples.strip().splitlines()]
        epilog = "\b\nExamples:\n" + "\n".join(f"  {line}" for line in lines) if examples else None

        @functools.wraps(function)
        def run(*args: Any, **kwargs: Any) -> Any:
            if name != "ingest":  # which lists such a file among those that it set aside
                _check_files(kwargs.values())
            return function(*args, **kwargs)

        run.__doc__ = head
        made: click.Command = click.command(name, cls=click.Command, help=head, epilog=epilog, **options)(run)
        return made

    return decorate
