"""Format 4: decks are kept with the two figures that order them, what is known and what it could come to."""

import sqlalchemy as sa
from alembic import op

revision = "4"
down_revision = "3"


def upgrade() -> None:
    """Make the table of standings anew, empty: it fills at the next `decks`, `assess` or first screen."""
    op.drop_index("standing_basis", "standing")
    op.drop_table("standing")
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
        sa.Column("step_if_true", sa.Integer),
        sa.Column("known", sa.Float),
        sa.Column("up_to", sa.Float),
        sa.Column("expected_apart", sa.Float),
        sa.Column("expected_together", sa.Float),
        sa.Column("reason", sa.Text),
        sa.Column("best", sa.String),
        sa.Column("best_tag", sa.String),
        sa.Column("mixing", sa.LargeBinary),
    )
    op.create_index("standing_basis", "standing", ["basis"])
