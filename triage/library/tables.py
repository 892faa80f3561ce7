"""The library's tables: one append-only log, and folds of it that can be rebuilt at any time.

`event` and `private` are the truth; everything below them is derived. Fold rows keep the order of the
event that made them (lamport, log_id, seq), the act it belonged to, and two flags: `undone`, and `current`
for the newest row of its key that was not undone.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Float,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

FORMAT_VERSION = 4
# Indexes name the selective column first: without statistics the database takes them at their word.

metadata = MetaData()

meta = Table("meta", metadata, Column("key", String, primary_key=True), Column("value", Text, nullable=False))

event = Table(
    "event",
    metadata,
    Column("log_id", String, primary_key=True),
    Column("seq", Integer, primary_key=True),
    Column("lamport", Integer, nullable=False),
    Column("kind", String, nullable=False),
    Column("act", String, nullable=False),
    Column("payload", Text, nullable=False),
    Column("at", String, nullable=False),
    Column("recorded_at", String, nullable=False),
    Column("by_ref", String, nullable=False),
    Column("prev_hash", String, nullable=False),
    Column("hash", String, nullable=False),
    Index("event_order", "lamport", "log_id", "seq"),
    Index("event_by", "by_ref", "lamport"),
    Index("event_kind", "kind", "lamport"),
    Index("event_hash", "hash"),
    Index("event_act", "act"),
)

private = Table(
    "private",
    metadata,
    Column("ref", String, primary_key=True),
    Column("salt", String, nullable=False),
    Column("text", Text),
    Index("private_text", "text"),
)
"""Texts that can be deleted without breaking the chain: an event holds only sha256(salt + text)."""

photo = Table(
    "photo",
    metadata,
    Column("sha", String, primary_key=True),
    Column("bytes", Integer, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("orientation", Integer, nullable=False),
    Column("suffix", String, nullable=False),
    Column("taken_at", String),
    Column("camera", String),
    Column("focal_mm", Float),
    Column("phash", String),
    Column("quality", JSON, nullable=False),
    Column("exif_ref", String),
    Column("state", String, nullable=False),
)


def _order() -> list[Column]:  # type: ignore[type-arg]
    """Columns that every fold row carries."""
    return [
        Column("event", String, primary_key=True),
        Column("act", String, nullable=False),
        Column("by_ref", String, nullable=False),
        Column("at", String, nullable=False),
        Column("lamport", Integer, nullable=False),
        Column("log_id", String, nullable=False),
        Column("seq", Integer, nullable=False),
        Column("undone", Boolean, nullable=False),
        Column("current", Boolean, nullable=False),
        Column("key", String, nullable=False),
    ]


placing = Table(
    "placing",
    metadata,
    *_order(),
    Column("sha", String, nullable=False),
    Column("deck", String, nullable=False),
    Column("visit", String),
    Column("name", String, nullable=False),
    Column("origin", String),
    Column("why", Text),
    Index("placing_key", "key", "current"),
    Index("placing_deck", "deck", "current", "visit", "name"),
    Index("placing_name", "current", "name"),
    Index("placing_act", "act"),
)

label = Table(
    "label",
    metadata,
    *_order(),
    Column("photo", String, nullable=False),
    Column("tag", String, nullable=False),
    Column("value", String, nullable=False),
    Column("boxes", JSON, nullable=False),
    Column("place_ref", String),
    Column("count", Integer),
    Column("asked_by", String, nullable=False),
    Column("saw_machine", Boolean, nullable=False),
    Column("note_ref", String),
    Column("row_hash", String),
    Index("label_key", "key", "current"),
    Index("label_photo", "photo", "current", "tag"),
    Index("label_tag", "tag", "current"),
    Index("label_row", "row_hash"),
    Index("label_act", "act"),
)

statement = Table(
    "statement",
    metadata,
    *_order(),
    Column("kind", String, nullable=False),
    Column("deck", String),
    Column("payload", JSON, nullable=False),
    Index("statement_key", "key", "current"),
    Index("statement_deck", "kind", "current", "deck"),
    Index("statement_act", "act"),
)
"""Facts, findings, tiers, settlements, warnings, closings, trainings, audits, issued reports."""

suggestion = Table(
    "suggestion",
    metadata,
    Column("photo", String, primary_key=True),
    Column("tag", String, primary_key=True),
    Column("model", String, primary_key=True),
    Column("score", Float, nullable=False),
    Column("probability", Float, nullable=False),
    Column("pile", String, nullable=False),
    Column("places", JSON, nullable=False),
    Index("suggestion_model", "model", "tag", "pile"),
    Index("suggestion_rank", "model", "tag", "probability", "photo"),
)
"""The machine's words: derived from photos and a model, not events."""

standing = Table(
    "standing",
    metadata,
    Column("deck", String, primary_key=True),
    Column("basis", String, nullable=False),
    Column("said", BigInteger, nullable=False),
    Column("visit", String),
    Column("tier", String),
    Column("tier_if_true", String),
    Column("by_person", JSON),
    Column("gaps", String),
    Column("unreviewed", Integer),
    Column("photos", Integer),
    Column("labelled", Integer),
    Column("step", Integer),
    Column("step_if_true", Integer),
    Column("known", Float),
    Column("up_to", Float),
    Column("expected_apart", Float),
    Column("expected_together", Float),
    Column("reason", Text),
    Column("best", String),
    Column("best_tag", String),
    Column("mixing", LargeBinary),
    Index("standing_basis", "basis"),
)
"""Each deck's summary when it was last assessed: derived.

An empty basis means that something new was recorded.
"""

standing_summary = Table(
    "standing_summary",
    metadata,
    Column("deck", String, primary_key=True),
    Column("summary", LargeBinary, nullable=False),
)
"""The whole summary of each deck in `standing`: JSON, packed."""

job = Table(
    "job",
    metadata,
    Column("id", String, primary_key=True),
    Column("kind", String, nullable=False),
    Column("state", String, nullable=False),
    Column("done", Integer, nullable=False),
    Column("total", Integer),
    Column("detail", JSON, nullable=False),
    Column("started_at", String, nullable=False),
    Column("ended_at", String),
)

FOLDS = (photo, placing, label, statement)
"""Tables that `rebuild` empties and folds again."""
