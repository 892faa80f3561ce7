"""Tells the registered modules what changed in a library, inside the transaction that changes it.

The library does not know who listens: `triage.wiring` names the modules.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from importlib import import_module
from typing import Protocol, cast

from sqlalchemy import Connection

from triage.library.log import Event
from triage.wiring import CHANGE_LISTENERS


class ChangeListener(Protocol):
    """What a listening module has to offer; each call may write in the same transaction."""

    def events_added(self, connection: Connection, events: Sequence[Event]) -> None:
        """Events were appended and projected."""

    def photos_changed(self, connection: Connection, shas: Iterable[str]) -> None:
        """Something other than an event was stored about photos, such as suggestions."""

    def photos_dropped(self, connection: Connection, shas: Iterable[str]) -> int:
        """Photos were removed for good: drop what is derived from them; returns how many rows there were."""

    def all_changed(self, connection: Connection) -> None:
        """Anything may have changed."""

    def all_dropped(self, connection: Connection) -> None:
        """The projections are about to be rebuilt: drop everything derived from them, texts too."""


@cache
def _listeners() -> tuple[ChangeListener, ...]:
    return tuple(cast("ChangeListener", import_module(name)) for name in CHANGE_LISTENERS)


def events_added(connection: Connection, events: Sequence[Event]) -> None:
    """Tell every listener that events were appended and projected."""
    for one in _listeners():
        one.events_added(connection, events)


def photos_changed(connection: Connection, shas: Iterable[str]) -> None:
    """Tell every listener that something other than an event was stored about photos."""
    found = list(shas)
    for one in _listeners():
        one.photos_changed(connection, found)


def photos_dropped(connection: Connection, shas: Iterable[str]) -> int:
    """Tell every listener to drop what it keeps of removed photos; returns how many rows went."""
    found = list(shas)
    return sum(one.photos_dropped(connection, found) for one in _listeners())


def all_changed(connection: Connection) -> None:
    """Tell every listener that anything may have changed."""
    for one in _listeners():
        one.all_changed(connection)


def all_dropped(connection: Connection) -> None:
    """Tell every listener to drop what it keeps."""
    for one in _listeners():
        one.all_dropped(connection)
