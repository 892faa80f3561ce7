"""The command line: parses, calls one library function, prints. One file per command.

Commands are imported when they are asked for; `--help` reads their first lines only.
"""

from __future__ import annotations

import errno
import importlib
import os
import sys
import traceback
from pathlib import Path
from typing import Any

import click

from triage.cli._common import LIBRARY_VARIABLE, advise
from triage.errors import (
    COULD_NOT,
    INTERRUPTED,
    NO_MEMORY,
    WRONG_USAGE,
    TriageError,
    is_short_of_memory,
)
from triage.platforms import make_output_safe
from triage.version import __version__

COMMANDS = {
    "status": "where the library stands and the one next thing to do",
    "new": "make an empty library",
    "ingest": "take photos into the library",
    "move": "move photos that are at the wrong deck",
    "forget": "remove photos for good",
    "decks": "list the decks",
    "photos": "list the photos",
    "label": "say what photos show: ask, set, log, read, write",
    "undo": "take back your last act",
    "people": "who has spoken; which spellings are one person's",
    "settle": "end a dispute over a label",
    "tags": "show or extend the vocabulary",
    "train": "train a model on this library's labels",
    "embed": "compute and keep the vectors of photos",
    "presort": "let the model suggest what new photos show",
    "card": "show the model card",
    "next": "which photo, label or fact would most change the order",
    "review": "open the page on this machine",
    "facts": "what was measured or is known about a deck",
    "finding": "record what no tag covers",
    "tier": "set a person's own tier for a deck",
    "deck": "set private fields of a deck",
    "warn": "record who was told to stop using a deck",
    "lift": "record the lifting of a stop-use",
    "close": "close a concern after a repair",
    "blackout": "paint a face or a plate black in reports",
    "repairs": "the crew's repair sheet, out and back",
    "check": "structural checks by published tables and mechanics",
    "assess": "the per-deck risk summary, worst first",
    "compare": "two visits side by side",
    "report": "write the report",
    "audit": "agreement, doubtful labels, samples, missed defects",
    "export": "write the library in open formats",
    "slate": "print cards that sort a batch by themselves",
    "measure": "lengths in a photo that shows a card",
    "verify": "check every original and every event",
    "backup": "write the library as one file",
    "restore": "make a library from a backup",
}


class _Commands(click.Group):
    """Finds a command's module by its name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        here = Path(__file__).parent
        return [name for name in COMMANDS if (here / f"{name}.py").exists()]

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS or not (Path(__file__).parent / f"{name}.py").exists():
            return None
        found = importlib.import_module(f"triage.cli.{name}").command
        assert isinstance(found, click.Command)  # noqa: S101 - a command file that holds none is our own slip
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name]) for name in self.list_commands(ctx)])

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        import difflib

        name = args[0] if args else ""
        if name and name not in self.list_commands(ctx) and not name.startswith("-"):
            near = difflib.get_close_matches(name, self.list_commands(ctx), n=2)
            more = f" Did you mean {' or '.join(near)}?" if near else " See: deck-triage --help"
            raise click.UsageError(f"There is no command {name!r}.{more}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=_Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="\b\nExamples:\n  deck-triage new season-2026\n  deck-triage ingest card/ -L season-2026\n"
    "  deck-triage status -L season-2026",
)
@click.option(
    "--library",
    "-L",
    "library_path",
    type=click.Path(path_type=Path),
    envvar=LIBRARY_VARIABLE,
    help="The library's folder.",
)
@click.option("-v", "--verbose", is_flag=True, help="Show tracebacks.")
@click.version_option(__version__, prog_name="deck-triage")
@click.pass_context
def cli(context: click.Context, library_path: Path | None, verbose: bool) -> int | None:
    """From site photos of wood decks to a ranked list with evidence and gaps.

    Photo triage ranks work for a qualified person on site. It never says that a deck is safe.
    """
    if context.invoked_subcommand is None:
        from triage.cli.status import command as status

        result = context.invoke(status, library_path=library_path, as_json=False)
        return int(result or 0)
    return None


THREAD_LIMITS = (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "OPENCV_FOR_THREADS_NUM",
)
"""One thread for each library: more only wait for each other over many small products and pictures, and where
memory is short OpenCV's threads end the whole process without a word that anyone could catch."""


def main() -> None:
    """Run the command line; every error ends in one sentence, a hint and the right exit code."""
    for threads in THREAD_LIMITS:
        os.environ.setdefault(threads, "1")
    os.umask(0o077)  # new files are their owner's alone; opening a library that is --shared says otherwise
    make_output_safe()
    arguments = sys.argv[1:]
    verbose = "-v" in arguments or "--verbose" in arguments
    if "-v" in arguments:  # accepted anywhere on the line
        arguments = ["-v", *(one for one in arguments if one != "-v")]
    sys.exit(run(arguments, verbose))


def run(arguments: list[str], verbose: bool = False) -> int:
    """Run one command line and return its exit code."""
    try:
        code = cli.main(args=arguments, prog_name="deck-triage", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return WRONG_USAGE
    except (KeyboardInterrupt, click.Abort):
        advise("Interrupted; what was finished is kept. Run the same command again to go on.")
        return INTERRUPTED
    except TriageError as error:
        _explain(str(error), error.hint, verbose)
        return error.exit_code
    except BrokenPipeError:
        sys.stderr.close()
        return COULD_NOT
    except OSError as error:
        if is_short_of_memory(error):
            return _unexpected(error, verbose)
        message, hint = _of_system(error)
        _explain(message, hint, verbose)
        return COULD_NOT
    except Exception as error:
        return _unexpected(error, verbose)


def _unexpected(error: Exception, verbose: bool) -> int:
    """Say that something went wrong that nobody foresaw; a traceback is of no use to an inspector."""
    if is_short_of_memory(error):
        _explain(NO_MEMORY, "Close other programs and run it again.", verbose)
    elif isinstance(error, RecursionError):
        _explain("A file is nested so deeply that it cannot be read.", "Run: deck-triage verify", verbose)
    elif isinstance(error, UnicodeError):
        _explain("A name or text holds bytes that are not valid UTF-8.", "Write it again.", verbose)
    else:
        what = f"{type(error).__name__}: {error}".splitlines()[0][:300]
        _explain(
            f"Something went wrong that was not foreseen ({what}); what was finished is kept.",
            "Run: deck-triage verify. If it finds nothing, run this again with -v and report what it says.",
            verbose,
        )
    return COULD_NOT


def _explain(message: str, hint: str, verbose: bool) -> None:
    if verbose:
        traceback.print_exc()
    advise(f"Error: {message}")
    if hint:
        advise(hint)


def _of_system(error: OSError) -> tuple[str, str]:
    where = f" ({error.filename})" if error.filename else ""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return (
            f"The disk is full{where}; what was finished is kept.",
            "Free some space and run the same command again.",
        )
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"Not allowed to read or write{where}.", "Check the permissions of the file or folder."
    return f"{error.strerror or error}{where}.", "Check the path and run the same command again."
