"""The option `--explain`: what an act needs before it is recorded."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import click

from triage.cli._common import emit, say


def explain_option(*acts: str) -> Callable[[Any], Any]:
    """Add `--explain`, which prints the conditions of these acts and does nothing else."""

    def show(context: click.Context, _parameter: click.Parameter, asked: bool) -> None:
        if not asked or context.resilient_parsing:
            return
        from triage.domain.acts import conditions_of

        rows = [one for act in acts for one in conditions_of(act)]
        if "--json" in sys.argv:
            emit([one.to_json() for one in rows])
        else:
            for one in rows:
                say(f"{one.act}: {one.condition}\n  needs: {one.needs}\n  if not: {one.mend}")
        context.exit(0)

    return click.option(
        "--explain",
        is_flag=True,
        is_eager=True,
        expose_value=False,
        callback=show,
        help="Print what this needs before it is recorded, and do nothing.",
    )
