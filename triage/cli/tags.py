"""`tags`: the vocabulary, and a firm's own tags."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from triage.cli._common import emit, json_option, library_option, named, open_library, say, table


@click.group("tags", invoke_without_command=True)
@library_option
@json_option
@click.pass_context
def command(context: click.Context, library_path: Path | None, as_json: bool) -> Any:
    """Show the vocabulary; `tags add` extends it."""
    if context.invoked_subcommand is not None:
        return
    with open_library(library_path) as library:
        tags = list(library.vocabulary().tags.values())
    if as_json:
        emit(
            [
                {"tag": one.tag, "kind": one.kind, "definition": one.definition, "element": one.element}
                for one in tags
            ]
        )
    else:
        say(table([(one.tag, one.kind, one.definition) for one in tags], ("tag", "kind", "definition")))


@named("add")
@click.argument("path", type=click.Path(path_type=Path))
@library_option
@json_option
@click.pass_context
def add(context: click.Context, path: Path, library_path: Path | None, as_json: bool) -> Any:
    """Add the tags of a TOML file with [[tag]] tables: tag, kind ("defect" or "element"), definition.

    An identical tag is known already; one that differs from a tag that is there is refused.

    Examples:
    deck-triage tags add own-tags.toml
    """
    from triage.label.tags import add_tags

    parent = context.parent.params.get("library_path") if context.parent else None
    with open_library(library_path or parent) as library:
        added, known = add_tags(library, path)
    rows = [{"tag": one.tag, "kind": one.kind, "definition": one.definition} for one in (*added, *known)]
    if as_json or (context.parent is not None and context.parent.params.get("as_json")):
        emit(rows)
    else:
        say(f"Added {len(added)} tags; {len(known)} were there already.")


command.add_command(add)
