"""Bringing a library of an older format up to the program's, with a copy of the database before.

The format is stored in the database (`meta`, key `format`) and changes in the same transaction as the tables.
`library.toml` repeats it, so that an older program refuses the library without opening the database.
"""

from __future__ import annotations

import filecmp
import re
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select, update

from triage.errors import Damaged, TriageError
from triage.library.copying import copy_database
from triage.library.database import reading, writing
from triage.library.store import write_whole
from triage.library.tables import FORMAT_VERSION, meta

if TYPE_CHECKING:
    from sqlalchemy import Engine

LIBRARY_FILE = "library.toml"
_SCRIPTS = Path(__file__).parent / "migrations"
_ALEMBIC = threading.Lock()
"""Alembic keeps the migration that runs in a global of its own."""


@dataclass(frozen=True)
class MigrationResult:
    """A migration that was done: from which format to which, and where the copy from before stands."""

    before: int
    after: int
    copy: Path


def check_format(found: int, where: Path) -> None:
    """Raise Damaged when a library's format is newer than this program."""
    if found < 1:
        raise Damaged(f"{where} says that its format is {found}, which does not exist.", "Restore a backup.")
    if found > FORMAT_VERSION:
        raise Damaged(
            f"{where} was written by a newer deck-triage (format {found}, this one knows {FORMAT_VERSION}).",
            "Upgrade deck-triage.",
        )


def format_of(connection: Connection) -> int:
    """Return the format of the tables. Raises Damaged where it is not said."""
    said = connection.execute(select(meta.c.value).where(meta.c.key == "format")).scalar()
    if said is None or not str(said).isdecimal():
        raise Damaged("The library's database does not say its format.", "Restore a backup of the library.")
    return int(said)


def bring_up(folder: Path, engine: Engine) -> MigrationResult | None:
    """Migrate the database of the library in a folder where it is older; returns what was done, or null.

    Either all of it is done or nothing. Raises Damaged for a newer format, TriageError when the library
    cannot be written or copied.
    """
    with reading(engine) as connection:
        before = format_of(connection)
    check_format(before, folder)
    if before == FORMAT_VERSION:
        return None
    try:
        with writing(engine) as connection:
            return _migrate(folder, engine, connection)
    except (OSError, TriageError) as error:
        raise TriageError(
            f"{folder} is of format {before} and must be brought to format {FORMAT_VERSION} before it is"
            f" used, which could not be done; it is as it was. ({error})",
            "Make room, or copy the folder to where you may write and open the copy.",
        ) from error


def _migrate(folder: Path, engine: Engine, connection: Connection) -> MigrationResult | None:
    before = format_of(connection)  # another program may have been quicker
    if before == FORMAT_VERSION:
        return None
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    copy = folder / "copies" / f"format-{before}-{stamp}.sqlite"
    copy_database(engine, copy, older=True)
    for other in copy.parent.glob(f"format-{before}-*.sqlite"):
        if other != copy and filecmp.cmp(other, copy, shallow=False):
            other.unlink()  # of an upgrade that was killed before it was done
    rows = {str(row.key): str(row.value) for row in connection.execute(select(meta))}
    toml = folder / LIBRARY_FILE
    at_home = rows.get("place") == place_of(toml)
    text = re.sub(r"(?m)^format = \d+", f"format = {FORMAT_VERSION}", toml.read_text(encoding="utf-8"))
    write_whole(toml, text.encode())
    _run(connection, before)
    changed = {"format": str(FORMAT_VERSION)} | ({"place": place_of(toml)} if at_home else {})
    for key, value in changed.items():
        connection.execute(update(meta).where(meta.c.key == key).values(value=value))
    return MigrationResult(before, FORMAT_VERSION, copy)


def place_of(toml: Path) -> str:
    """Return what tells the file `library.toml` from a copy of it."""
    facts = toml.stat()
    return f"{facts.st_ino}:{facts.st_ctime_ns}"


def _run(connection: Connection, before: int) -> None:
    """Run Alembic's revisions in the caller's transaction; its own table of versions is not kept."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)

    def steps(_found: object, _context: object) -> list[object]:
        return list(script._upgrade_revs(str(FORMAT_VERSION), str(before)))

    with _ALEMBIC, EnvironmentContext(config, script, fn=steps) as environment:
        environment.configure(connection=connection, render_as_batch=True)
        context = environment.get_context()
        context.stamp(script, str(before))
        environment.run_migrations()
        context._version.drop(connection)
