"""The outcome of an item, and the parts that every engine shares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

from triage.errors import Cancelled, TriageError

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[str, int, int | None], None]
"""Called with what is being done, how many are done, and of how many (null when unknown)."""
Cancel = Callable[[], bool]


@dataclass(frozen=True)
class Ok(Generic[Item, Result]):
    """An item that was done."""

    item: Item
    value: Result


@dataclass(frozen=True)
class Failed(Generic[Item]):
    """An item that was not done, with a reason a person understands."""

    item: Item
    reason: str


def check_cancel(cancel: Cancel | None) -> None:
    """Raise Cancelled when the person who started the work has stopped it."""
    if cancel is not None and cancel():
        raise Cancelled("Stopped; what was finished is kept.", "Run the same command again to go on.")


def run_one(step: Callable[[Item], Result], item: Item) -> Ok[Item, Result] | Failed[Item]:
    """Run one step in this process, turning what goes wrong with the item into a reason."""
    try:
        return Ok(item, step(item))
    except MemoryError:
        return Failed(item, "needs more memory than a photo may")
    except TriageError as error:
        return Failed(item, str(error))
