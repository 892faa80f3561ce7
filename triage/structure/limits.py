"""Single limits of guards, stairs, bearing and lateral connections, from the published tables."""

from __future__ import annotations

from triage.structure.tables import table


def limit(name: str) -> float:
    """Return a limit by its name, in the unit of the name; raises KeyError for an unknown one."""
    return float(table("irc_guards_stairs")["limit"][name]["value"])


def limit_source(name: str) -> str:
    """Return the document and place of a limit."""
    return str(table("irc_guards_stairs")["limit"][name]["source"])
