"""The shot list of a deck as one page to print before a visit."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from triage.assess.shots import shot_list
from triage.domain.tiers import CAUTION

PAGE_LINES = 60
PAGE_WIDTH = 96


def shot_sheet(facts: Mapping[str, Any], deck: str = "", visit: str | None = None) -> str:
    """Return Markdown that fits one page (60 lines of 96 characters): what to photograph, in walking order.

    What the facts leave open is taken as there. Each line has a box to tick.
    """
    title = f"Shot list, deck {deck}" if deck else "Shot list"
    lines = [f"# {title}{f', {visit}' if visit else ''}", ""]
    lines += ["One photo each unless said. Light on under the deck. Don't go under a deck that moves.", ""]
    for ask in shot_list(facts):
        lines += textwrap.wrap(f"- [ ] {ask}", PAGE_WIDTH, subsequent_indent="      ")
    lines += ["", *textwrap.wrap(CAUTION, PAGE_WIDTH)]
    return "\n".join(lines) + "\n"
