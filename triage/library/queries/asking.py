"""How a query is asked: of a library, in a read of its own, or within a transaction that is open."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec, TypeVar

from sqlalchemy import Connection

if TYPE_CHECKING:
    from triage.library.library import Library

ANY_VISIT = "*"
"""Asks for photos or facts of every visit."""

_Arguments = ParamSpec("_Arguments")
_Answer = TypeVar("_Answer")


def query(
    function: Callable[Concatenate[Connection, _Arguments], _Answer],
) -> Callable[Concatenate[Library | Connection, _Arguments], _Answer]:
    """Let a query take a library in place of a connection.

    Given a library it asks in a consistent read of its own; given a connection it asks within that
    transaction, so that several queries see one moment.
    """

    @wraps(function)
    def ask(source: Library | Connection, /, *args: _Arguments.args, **kwargs: _Arguments.kwargs) -> _Answer:
        if isinstance(source, Connection):
            return function(source, *args, **kwargs)
        with source.read() as connection:
            return function(connection, *args, **kwargs)

    return ask
