"""`verify`: every original hashed again, every event checked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import (
    advise,
    emit,
    exit_for,
    json_option,
    library_folder,
    library_option,
    named,
    open_library,
    progress_line,
    say,
)
from triage.domain.plurals import count_of
from triage.errors import Damaged


@named("verify")
@click.option("--mend", is_flag=True, help="Rebuild caches and the tables that are folded from the log.")
@click.option(
    "--report",
    "report_file",
    type=click.Path(path_type=Path),
    help="Check an issued report against the library.",
)
@click.option(
    "--head",
    "head_code",
    metavar="CODE",
    help="Tell whether history was only added to since this code (see: audit register).",
)
@library_option
@json_option
def command(
    mend: bool, report_file: Path | None, head_code: str | None, library_path: Path | None, as_json: bool
) -> Any:
    """Hash every original again and check every event of the log.

    Examples:
    deck-triage verify
    deck-triage verify --mend
    deck-triage verify --report report/report.html
    """
    from triage.library.verify import verify, verify_folder

    by_hash, changes = "", None
    try:
        with open_library(library_path) as library:
            found = verify(library, mend=mend, progress=progress_line())
            damaged = list(found.damaged)
            if head_code is not None:
                from triage.audit.register import head_faults

                damaged += head_faults(library, head_code)
            if report_file is not None:
                from triage.report import hash_only, verify_report

                by_hash = hash_only(library, report_file) if report_file.is_file() else ""
                changes = [str(one) for one in verify_report(library, report_file)]
                damaged += [f"{report_file}: {one}" for one in changes]
    except Damaged as error:
        found = verify_folder(library_folder(library_path), f"{error} {error.hint}")
        damaged = list(found.damaged)
    data = {
        "photos": found.photos,
        "damaged": damaged,
        "missing": found.missing,
        "mended": found.mended,
        "strays": found.strays,
    }
    if by_hash:
        data["by_hash_only"] = by_hash
    if changes is not None:
        data["report"] = {"file": str(report_file), "matches": not changes, "changes": changes}
    if as_json:
        emit(data)
    else:
        _say_checked(found, report_file if changes == [] else None)
    if by_hash:
        advise(by_hash)
    for line in damaged:
        advise(f"Damaged: {line}")
    for line in found.strays:
        advise(f"No photo owns this file (left by an interrupted ingest, or put there by hand): {line}")
    for line in found.missing:
        advise(f"Missing: {line}")
    return exit_for(bool(damaged or found.missing))


def _say_checked(found: Any, matching: Path | None) -> None:
    if matching is not None:
        say(f"{matching} matches what the library has.")
    say(f"{count_of(found.photos, 'photo')} and {count_of(found.events, 'event')} checked.")
    for line in found.mended:
        say(f"Mended: {line}")
