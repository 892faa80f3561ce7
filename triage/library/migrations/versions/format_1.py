"""Format 1: the first tables, which the program makes itself."""

revision = "1"
down_revision = None


def upgrade() -> None:
    """Do nothing: a library of format 1 is where the migrations begin."""
