"""What contact sheets answered, and what was said of the same photos since."""

from __future__ import annotations

from sqlalchemy import Connection, select

from triage.library.queries.asking import query
from triage.library.queries.label_queries import labels
from triage.library.records import SHEET, Label
from triage.library.tables import label, placing


@query
def answers_to_sheets(connection: Connection, deck: str | None = None) -> dict[tuple[str, str], list[Label]]:
    """Return all answers, in order, to each (photo, tag) that a contact sheet answered 'absent'."""
    said = select(label.c.photo, label.c.tag).where(
        label.c.asked_by == SHEET, label.c.value == "absent", label.c.undone.is_(False)
    )
    if deck is not None:
        here = (placing.c.key == label.c.photo) & placing.c.current.is_(True)
        said = said.join(placing, here).where(placing.c.deck == deck)
    pairs = {(row.photo, row.tag) for row in connection.execute(said)}
    found: dict[tuple[str, str], list[Label]] = {}
    for tag in sorted({tag for _, tag in pairs}):
        for one in labels(connection, deck=deck, tag=tag, current=False):
            if (one.photo, one.tag) in pairs:
                found.setdefault((one.photo, one.tag), []).append(one)
    return found
