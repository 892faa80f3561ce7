"""Small settings that a library keeps in its database beside the log: a text by key."""

from __future__ import annotations

from sqlalchemy import Connection, delete, insert, select

from triage.library.queries.asking import query
from triage.library.tables import meta


@query
def setting(connection: Connection, key: str) -> str | None:
    """Return the text that is kept under a key, or null."""
    found = connection.execute(select(meta.c.value).where(meta.c.key == key)).scalar()
    return None if found is None else str(found)


def keep_setting(connection: Connection, key: str, value: str) -> None:
    """Keep a text under a key, in place of an earlier one."""
    drop_setting(connection, key)
    connection.execute(insert(meta).values(key=key, value=value))


def drop_setting(connection: Connection, key: str) -> None:
    """Drop what is kept under a key."""
    connection.execute(delete(meta).where(meta.c.key == key))
