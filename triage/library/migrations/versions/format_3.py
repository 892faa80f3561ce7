"""Format 3: each deck's summary is cached, so that a list of many decks assesses none again.

Suggestions are found in the order of their probability.
"""

import sqlalchemy as sa
from alembic import op

revision = "3"
down_revision = "2"


def upgrade() -> None:
    """Make the tables, empty: they fill at the next `decks`, `assess` or first screen; and the index."""
    op.create_index("suggestion_rank", "suggestion", ["model", "tag", "probability", "photo"])
    op.create_table(
        "standing",
        sa.Column("deck", sa.String, primary_key=True),
        sa.Column("basis", sa.String, nullable=False),
        sa.Column("said", sa.BigInteger, nullable=False),
        sa.Column("visit", sa.String),
        sa.Column("tier", sa.String),
        sa.Column("tier_if_true", sa.String),
        sa.Column("by_person", sa.JSON),
        sa.Column("gaps", sa.String),
        sa.Column("unreviewed", sa.Integer),
        sa.Column("photos", sa.Integer),
        sa.Column("labelled", sa.Integer),
        sa.Column("step", sa.Integer),
        sa.Column("tier_step", sa.Integer),
        sa.Column("score_apart", sa.Float),
        sa.Column("score_together", sa.Float),
        sa.Column("reason", sa.Text),
        sa.Column("best", sa.String),
        sa.Column("best_tag", sa.String),
        sa.Column("mixing", sa.LargeBinary),
    )
    op.create_index("standing_basis", "standing", ["basis"])
    op.create_table(
        "standing_summary",
        sa.Column("deck", sa.String, primary_key=True),
        sa.Column("summary", sa.LargeBinary, nullable=False),
    )
