"""Checking that nothing was lost or changed, and mending what can be derived again."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sqlalchemy import select

from triage.errors import TriageError
from triage.library import removal
from triage.library.store import sha256_of
from triage.library.tables import FOLDS
from triage.library.tables import photo as photo_table

if TYPE_CHECKING:
    from collections.abc import Callable

    from triage.library.library import Library


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


def verify(
    library: Library, *, mend: bool = False, progress: Callable[[str, int, int | None], None] | None = None
) -> VerifyResult:
    """Hash every original again and check every chain; with `mend` rebuild caches and folds.

    A damaged or missing original or event cannot be mended here: it is named.
    """
    found = VerifyResult(events=library.event_count())
    found.damaged += library.faults()
    _check_originals(library, found, progress)
    found.strays += [path.relative_to(library.path).as_posix() for path in removal.strays(library)]
    if not found.damaged and _folds_differ(library):
        if mend:
            library.rebuild()
            found.mended.append("the tables folded from the event log")
        else:
            found.damaged.append("the folded tables differ from the event log; --mend rebuilds them")
    if mend:
        _mend_caches(library, found)
    return found


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
        if not path.exists():
            found.missing.append(f"the original of photo {row.sha[:12]}")
        elif sha256_of(path) != row.sha:
            found.damaged.append(f"the original of photo {row.sha[:12]}: its bytes were changed")
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
