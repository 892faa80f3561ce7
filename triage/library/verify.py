"""Checking that nothing was lost or changed, and mending what can be derived again."""

from __future__ import annotations

import re
import shutil
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.exc import DatabaseError

from triage.errors import TriageError
from triage.library import queries, removal
from triage.library.store import Originals, sha256_of
from triage.library.tables import FOLDS, suggestion
from triage.library.tables import photo as photo_table

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from triage.library.library import Library


PILES = ("likely", "unsure", "unlikely")


@dataclass
class VerifyResult:
    """What was checked, and one sentence per fault."""

    photos: int = 0
    events: int = 0
    damaged: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)
    strays: list[str] = field(default_factory=list)
    """Files among the originals that no photo owns, below the library's folder."""


_UNREADABLE = (TriageError, OSError, DatabaseError, ValueError, TypeError, KeyError, AttributeError)
"""What reading something damaged may end in: it is named, and the check goes on to the rest."""


def verify(
    library: Library, *, mend: bool = False, progress: Callable[[str, int, int | None], None] | None = None
) -> VerifyResult:
    """Hash every original again and check every chain; with `mend` rebuild caches and folds.

    A damaged or missing original or event cannot be mended here: it is named with its place, and everything
    else is checked all the same.
    """
    found = VerifyResult()
    _section(found, "library.toml and the database's settings", lambda: _check_settings(library, found))
    _section(found, "the pages of the database", lambda: _check_pages(library, found))
    _section(found, "the event log", lambda: _check_log(library, found))
    _section(found, "the list of photos", lambda: _check_originals(library, found, progress))
    _section(found, "the originals", lambda: _check_strays(library, found))
    _section(found, "the machine's suggestions", lambda: _check_suggestions(library, found))
    _section(found, "tags.toml", lambda: library.vocabulary())
    if not found.damaged:
        _section(found, "the tables built from the event log", lambda: _check_folds(library, found, mend))
    if mend:
        _mend_caches(library, found)
    return found


def verify_folder(path: Path, why: str) -> VerifyResult:
    """Check the originals of a library whose database cannot be opened, by the hashes that name them."""
    found = VerifyResult(damaged=[why])
    for sha, file in Originals(path / "originals").all():
        found.photos += 1
        try:
            if sha256_of(file) != sha:
                found.damaged.append(f"the original of photo {sha[:12]}: its bytes were changed")
        except OSError as error:
            found.damaged.append(
                f"the original of photo {sha[:12]} cannot be read: {error.strerror or error}"
            )
    return found


def _section(found: VerifyResult, place: str, check: Callable[[], object]) -> None:
    """Run one part of the check; where it cannot be read to its end, the place and the repair are named."""
    try:
        check()
    except _UNREADABLE as error:
        said = str(getattr(error, "orig", None) or error).splitlines()[0].rstrip(".")
        found.damaged.append(f"{place} cannot be read ({said}); restore a backup of the library")


def _check_settings(library: Library, found: VerifyResult) -> None:
    config = tomllib.loads((library.path / "library.toml").read_text(encoding="utf-8"))
    if config.get("id") != library.id:
        found.damaged.append("library.toml names another library than the database; restore it from a backup")


def _check_pages(library: Library, found: VerifyResult) -> None:
    if library.engine.dialect.name != "sqlite":
        return
    with library.read() as connection:
        for line in connection.exec_driver_sql("PRAGMA integrity_check(50)").scalars():
            if line != "ok":
                found.damaged.append(f"the database: {line}; restore a backup of the library")


def _check_log(library: Library, found: VerifyResult) -> None:
    found.events = queries.event_count(library)
    found.damaged += queries.log_faults(library)


def _check_strays(library: Library, found: VerifyResult) -> None:
    found.strays += [path.relative_to(library.path).as_posix() for path in removal.strays(library)]


def _check_suggestions(library: Library, found: VerifyResult) -> None:
    with library.read() as connection:
        for row in connection.execute(select(suggestion)).mappings():
            sound = 0.0 <= row["probability"] <= 1.0 and row["pile"] in PILES
            if not (sound and re.fullmatch("[0-9a-f]{64}", row["photo"])):
                found.damaged.append(
                    f"the suggestion for photo {str(row['photo'])[:12]}, tag {row['tag']}: its content was"
                    " changed; run: deck-triage presort --again"
                )


def _check_folds(library: Library, found: VerifyResult, mend: bool) -> None:
    if not _folds_differ(library):
        return
    if mend:
        library.rebuild()
        found.mended.append("the tables built from the event log")
    else:
        found.damaged.append("the tables built from the event log do not match it; --mend rebuilds them")


def _check_originals(
    library: Library, found: VerifyResult, progress: Callable[[str, int, int | None], None] | None
) -> None:
    with library.read() as connection:
        rows = list(
            connection.execute(
                select(photo_table.c.sha, photo_table.c.suffix, photo_table.c.bytes)
                .where(photo_table.c.state == "here")
                .order_by(photo_table.c.sha)
            )
        )
    for row in rows:
        found.photos += 1
        path = library.originals.path(row.sha, row.suffix)
        try:
            if sha256_of(path) != row.sha:
                found.damaged.append(f"the original of photo {row.sha[:12]}: its bytes were changed")
        except FileNotFoundError:
            found.missing.append(f"the original of photo {row.sha[:12]}")
        except OSError as error:
            found.damaged.append(f"the original of photo {row.sha[:12]}: {error.strerror or error}")
        if progress:
            progress("checking originals", found.photos, len(rows))


def _folds_differ(library: Library) -> bool:
    """Say whether folding the log again gives other tables than those that are there."""
    view: Library = library.as_of("9999")
    with view, library.read() as here, view.read() as there:
        for table in FOLDS:
            key = list(table.primary_key.columns)
            one = here.execute(select(table).order_by(*key)).all()
            other = there.execute(select(table).order_by(*key)).all()
            if one != other:
                return True
    return False


def _mend_caches(library: Library, found: VerifyResult) -> None:
    try:
        if library.caches.exists():
            shutil.rmtree(library.caches)
        for temporary in library.path.rglob(".*.tmp"):
            temporary.unlink(missing_ok=True)
    except OSError as error:
        raise TriageError(
            f"The caches cannot be emptied: {error.strerror or error}.", "Check the folder's permissions."
        ) from error
    found.mended.append("the caches were emptied; they fill again when they are needed")
