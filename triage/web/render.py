"""Templates, the style sheet and scripts: everything the browser gets comes out of this package."""

from __future__ import annotations

import hashlib
import re
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from triage.domain.tiers import CAUTION, TIERS
from triage.report.look import HOLLOW, PALETTE, SHAPES, TYPE, shape_key
from triage.report.phrases import (
    GAP_WORDS,
    KIND_WORDS,
    SEEN_WORDS,
    STANDING_WORDS,
    STATUS_WORDS,
    VERDICT_WORDS,
    tag_words,
    tier_short,
    tier_words,
)
from triage.report.text import clean, clock, count_of, moment
from triage.report.viewing import viewer_files
from triage.web.checks import amount, choice_words, in_one_line, in_order_of_worry, spaced
from triage.web.wording import in_words

if TYPE_CHECKING:
    from collections.abc import Mapping

KINDS = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "jpg": "image/jpeg",
}
_OF_REPORTS = ("pages.js", "viewer.css")
"""What of the viewer is a report's alone, or stands in the style sheet already."""


@cache
def static_files() -> Mapping[str, bytes]:
    """Return everything under `static/` by name, with the palette written into the style sheet."""
    folder = resources.files("triage.web") / "static"
    found = {one.name: one.read_bytes() for one in folder.iterdir() if one.name.rsplit(".", 1)[-1] in KINDS}
    found |= {name: data for name, data in viewer_files().items() if name not in _OF_REPORTS}
    style = (_palette().encode(), found.pop("tokens.css"), viewer_files()["viewer.css"], found["page.css"])
    found["page.css"] = b"\n".join(style)
    return found


def _palette() -> str:
    """Return the report's palette and type as custom properties: one look for paper and page."""
    lines = [f"  --{name.replace('_', '-')}: {value};" for name, value in PALETTE.items()]
    lines += [f"  --{name}: {TYPE[name]};" for name in ("family", "mono")]
    tiers = [f".shape-{name} {{ fill: var(--{name}); }}" for name in SHAPES if name not in HOLLOW]
    tiers += [f".shape-{name} {{ fill: none; stroke: var(--{name}); }}" for name in HOLLOW]
    return ":root {\n" + "\n".join(lines) + "\n}\n" + "\n".join(tiers) + "\n"


@cache
def static_version() -> str:
    """Return a short hash of all static files: their addresses change when they do."""
    digest = hashlib.sha256()
    for name, data in sorted(static_files().items()):
        digest.update(name.encode() + data)
    return digest.hexdigest()[:12]


def tier_shape(tier: str | None) -> Markup:
    """Return the shape of a tier as a small drawing; its name is printed next to it."""
    key = shape_key(tier)
    path = Markup('<svg class="shape shape-{}" viewBox="-1 -1 18 18" aria-hidden="true"><path d="{}"/></svg>')
    return path.format(key, SHAPES[key])


_COMMAND = re.compile(r"deck-triage|--[a-z]|\.toml|`")


def plain_hint(hint: str) -> str:
    """Return the sentences of a hint that speak of no command: those help nobody on the page."""
    sentences = re.split(r"(?<=[.?!])\s+", in_words(clean(hint)))
    return " ".join(one for one in sentences if one and not _COMMAND.search(one))


@pass_context
def _in_words(context: Context, text: object) -> str:
    """Return a sentence in words, with the own tags of the library that the page is about."""
    ask = context.get("ask")
    return str(ask.words(text)) if ask is not None else in_words(str(text))


@cache
def environment() -> Environment:
    """Return the templates' environment: everything is escaped, an unknown name is an error."""
    made = Environment(
        loader=PackageLoader("triage.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        clean=clean,
        clock=clock,
        moment=moment,
        tag_words=tag_words,
        tier_words=tier_words,
        tier_short=tier_short,
        tier_shape=tier_shape,
        plain_hint=plain_hint,
        in_words=_in_words,
        amount=amount,
        choice_words=choice_words,
        in_one_line=in_one_line,
        in_order_of_worry=in_order_of_worry,
        spaced=spaced,
    )
    made.globals.update(
        CAUTION=CAUTION,
        TIERS=TIERS,
        GAP_WORDS=GAP_WORDS,
        STANDING_WORDS=STANDING_WORDS,
        STATUS_WORDS=STATUS_WORDS,
        SEEN_WORDS=SEEN_WORDS,
        KIND_WORDS=KIND_WORDS,
        VERDICT_WORDS=VERDICT_WORDS,
        count_of=count_of,
        version=static_version(),
    )
    return made


def render(template: str, **words: Any) -> str:
    """Return a page."""
    return environment().get_template(template).render(**words)
