"""What a report says of a lifting that no longer holds: it is checked again whenever it is printed."""

from __future__ import annotations

from triage.report.source import DeckRecord

_WORDS = {
    "nothing-at-stop-use": "something on this deck is at stop-use now",
    "photo-of-the-repair": "the photo of the repair does not bear it any more",
    "second-person": "nobody else has looked at the photo of the repair",
    "stop-use-on-record": "nothing at stop-use is on record",
}


def faults_of_lifts(record: DeckRecord) -> tuple[str, ...]:
    """Return the condition that fails for each lifting, empty where all hold or where none was checked."""
    missing = len(record.lifts) - len(record.lift_faults)
    return (*record.lift_faults, *("" for _ in range(missing)))


def lift_words(fault: str) -> str:
    """Return the sentence that a lifting no longer holds, with the reason; empty where it does."""
    return f" This lifting does not hold any more: {_WORDS[fault]}." if fault else ""
