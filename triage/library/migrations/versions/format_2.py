"""Format 2: indexes begin with the column that selects, and events are found by hash and by act.

Some libraries that call themselves format 1 have the new indexes already, so each is looked at first.
"""

from alembic import op
from sqlalchemy import inspect

revision = "2"
down_revision = "1"

_INDEXES = {
    "event": {"event_hash": ["hash"], "event_act": ["act"]},
    "placing": {"placing_deck": ["deck", "current", "visit", "name"]},
    "label": {"label_photo": ["photo", "current", "tag"], "label_tag": ["tag", "current"]},
    "statement": {"statement_deck": ["kind", "current", "deck"]},
}


def upgrade() -> None:
    """Make the indexes anew where their columns differ."""
    there = inspect(op.get_bind())
    for table, wanted in _INDEXES.items():
        found = {index["name"]: index["column_names"] for index in there.get_indexes(table)}
        with op.batch_alter_table(table) as batch:
            for name, columns in wanted.items():
                if found.get(name) == columns:
                    continue
                if name in found:
                    batch.drop_index(name)
                batch.create_index(name, columns)
