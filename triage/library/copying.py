"""A consistent copy of the whole database as one SQLite file, while others go on writing."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import MetaData, create_engine, event, insert, select
from sqlalchemy.pool import NullPool

from triage.errors import TriageError
from triage.library.database import by_hand, reading, writing
from triage.library.drafts import draft_of
from triage.library.tables import meta, metadata
from triage.platforms import sync_folder

if TYPE_CHECKING:
    from sqlalchemy import Engine

_LOT = 1000


def copy_database(engine: Engine, target: Path, *, older: bool = False) -> None:
    """Write every table to a SQLite file that appears whole or not at all.

    With `older` the tables are taken as they are found, for a database of another format than the
    program's. A copy of a shared database says that its place was there, so that a library made of it begins
    a chain of its own. Raises OSError, or TriageError when the disk is full.
    """
    with draft_of(target) as folder:
        draft = folder / "copy.sqlite"
        if engine.dialect.name == "sqlite":
            _copy_file(engine, draft)
        else:
            _copy_rows(engine, draft, older)
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        draft.replace(target)
    sync_folder(target.parent)


def _copy_file(engine: Engine, target: Path) -> None:
    other = sqlite3.connect(target)
    try:
        with reading(engine) as connection:
            source: Any = connection.connection.driver_connection
            source.backup(other)
    except sqlite3.OperationalError as error:
        what = "the disk is full" if "full" in str(error) else str(error)
        raise TriageError(
            f"The database could not be copied to {target.parent}: {what}.", "Free some space there."
        ) from error
    finally:
        other.close()


def _as_any_database_has_it(_inspector: Any, _table: Any, column: Any) -> None:
    column["type"] = column["type"].as_generic(allow_nulltype=True)


def _copy_rows(engine: Engine, target: Path, older: bool) -> None:
    copy = create_engine(f"sqlite:///{target}", poolclass=NullPool)
    event.listen(copy, "connect", by_hand)
    with reading(engine) as source:
        tables = metadata
        if older:
            tables = MetaData()
            event.listen(tables, "column_reflect", _as_any_database_has_it)
            tables.reflect(source)
        tables.create_all(copy)
        with writing(copy) as into:
            for table in tables.sorted_tables:
                rows = source.execute(select(table).execution_options(yield_per=_LOT)).mappings()
                for lot in rows.partitions():
                    into.execute(insert(table), [dict(row) for row in lot])
            into.execute(insert(meta).values(key="place", value="shared"))
    copy.dispose()
