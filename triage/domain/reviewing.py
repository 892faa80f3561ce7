"""The one rule for what people's answers to a question come to: merged, disputed, reviewed.

A question is one tag on one photo. Its answers are `present`, `absent` and `unclear` ("cannot tell"). Every
place that asks whether a question is open, disputed or answered uses these functions; queries that count in
the database use the same constants and are held equal to the functions by a test.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

PRESENT, ABSENT, UNCLEAR = "present", "absent", "unclear"
ANSWERS = (PRESENT, UNCLEAR, ABSENT)
"""The valid answers, the worst first: where people differ, the worst one counts."""
CONTRADICTORY = frozenset({PRESENT, ABSENT})
"""Answers that make a dispute when they stand side by side."""
UNLIKELY = "unlikely"
"""The pile of suggestions that a promise may cover."""
HOLDS = "holds"
"""How a promise stands when the pile `unlikely` may be relied on."""


@dataclass(frozen=True)
class Merged:
    """What the latest answers of all people come to."""

    value: str
    disputed: bool = False
    settled: bool = False


def merge(answers: Collection[str], settled: str | None = None, later: Collection[str] = ()) -> Merged:
    """Return what the latest answer of each person to one question comes to.

    `settled` is the value of the last settlement, and `later` are the answers given after it: a settlement
    ends a dispute until somebody answers differently. Raises ValueError where nobody has answered.
    """
    if not answers:
        raise ValueError("nobody has answered this question")
    if settled is not None and set(later) <= {settled}:
        return Merged(settled, settled=True)
    return Merged(min(answers, key=ANSWERS.index), disputed=set(answers) >= CONTRADICTORY)


def is_covered(pile: str | None, promise: str | None) -> bool:
    """Return whether a suggestion may stand for an answer: `unlikely`, under a promise that holds."""
    return pile == UNLIKELY and promise == HOLDS


def is_reviewed(answer: str | None, pile: str | None = None, promise: str | None = None) -> bool:
    """Return whether a question needs no more answers; 'cannot tell' is an answer.

    `answer` is the merged value, or null where nobody has answered.
    """
    return answer is not None or is_covered(pile, promise)
