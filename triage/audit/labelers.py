"""Each labeler's record: how often a person's words agreed with settled ones, and whether that drifts.

Photos whose word was settled are the references: what they show is decided by somebody who looked at both
sides. An answer given with the machine's word in view says nothing about the person and is left out, and so
are the settler's own words and `unclear`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.library import queries
from triage.library.people import pseudonyms

if TYPE_CHECKING:
    from triage.library import Library

LEAST = 8
"""Fewest answers on either side for a drift to be told (fewer cannot differ at 5 % in most cases)."""


@dataclass(frozen=True)
class Record:
    """How often a person's words agreed with the settled ones.

    Attributes
    ----------
    months : (month, agreed, of), oldest first.
    last_check : when the person last answered a photo whose word is settled.
    drift : the share that agreed in the later half of the answers less that in the earlier half, -1 to 1.
    drift_p : how likely so large a difference is by chance alone (Fisher's exact test).
    why_not : why no drift can be told.
    """

    who: str
    agreed: int
    of: int
    months: tuple[tuple[str, int, int], ...]
    last_check: str = ""
    drift: float | None = None
    drift_p: float | None = None
    why_not: str = ""


def records(library: Library, *, show_names: bool = False) -> list[Record]:
    """Return each labeler's record, people as pseudonyms unless their names are asked for."""
    answers: dict[str, list[tuple[str, bool]]] = defaultdict(list)
    for event in queries.statements(library, "settled"):
        photo, tag, value = (str(event.payload[name]) for name in ("photo", "tag", "value"))
        for label in queries.labels(library, photo=photo, tag=tag):
            if label.by != event.by and label.value != "unclear" and not label.saw_machine:
                answers[label.by].append((label.at, label.value == value))
    with library.read() as connection:
        shown = {name: name for name in answers} if show_names else pseudonyms(connection, answers)
    return [record(shown[name], answers[name]) for name in sorted(answers)]


def record(who: str, answers: Sequence[tuple[str, bool]]) -> Record:
    """Return the record of one person from (when, whether it agreed) of every answer."""
    ordered = sorted(answers)
    months: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for at, agreed in ordered:
        months[at[:7]][0] += agreed
        months[at[:7]][1] += 1
    drift, chance, why = _drift([agreed for _, agreed in ordered])
    return Record(
        who,
        sum(agreed for _, agreed in ordered),
        len(ordered),
        tuple((month, one[0], one[1]) for month, one in sorted(months.items())),
        ordered[-1][0] if ordered else "",
        drift,
        chance,
        why,
    )


def _drift(agreed: Sequence[bool]) -> tuple[float | None, float | None, str]:
    half = len(agreed) // 2
    if half < LEAST:
        return None, None, f"{len(agreed)} answers; drift needs {2 * LEAST}"
    from scipy.stats import fisher_exact

    before, after = agreed[:half], agreed[-half:]
    table = [[sum(part), half - sum(part)] for part in (before, after)]
    return (sum(after) - sum(before)) / half, float(fisher_exact(table)[1]), ""
