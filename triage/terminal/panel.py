"""The words beside the photo: the question, what it means, what else a key would answer."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.text import Text

from triage.assess.view import QUALITY_FLAGS
from triage.domain.plurals import count_of
from triage.domain.seeing import least_px
from triage.domain.vocabulary import SHOWS
from triage.terminal.session import NUMBERED

if TYPE_CHECKING:
    from triage.domain.vocabulary import Tag
    from triage.label.order import Question
    from triage.terminal.session import Session

NARROW, WIDE = 26, 40
_WIDE_FROM = 110
EXAMPLE_ROWS = 9
_HERE = {"present": "present", "absent": "absent", "unclear": "cannot tell"}


def panel_width(columns: int) -> int:
    """Return how wide the panel is on a screen of some columns."""
    return WIDE if columns >= _WIDE_FROM else NARROW


def tag_words(tag: str) -> str:
    """Return a tag as words."""
    return tag.replace("-", " ")


def question_text(session: Session, one: Question) -> Text:
    """Return the question and what is known of its answer."""
    text = Text()
    text.append(f"{tag_words(one.tag)}?\n", style="bold")
    for line in (*_said(session, one), *_marked(session), *_photo(one)):
        text.append(f"{line}\n")
    return text


def _said(session: Session, one: Question) -> list[str]:
    key = (one.photo.sha, one.tag)
    mine = session.answered.get(key)
    if not mine:
        return []
    if key in session.derived:
        return [f"answered with the part: {_HERE[mine]}"]
    return [f"you said: {_HERE[mine]}"]


def _marked(session: Session) -> list[str]:
    found = []
    if session.boxes:
        number = len(session.boxes)
        found.append(f"marked: {count_of(number, 'place')}")
    if session.place:
        found.append(f"where: {session.place}")
    if session.count is not None:
        found.append(f"how many: {session.count}")
    return found


def _photo(one: Question) -> list[str]:
    found = []
    if one.photo.burst is not None:
        found.append("one of a burst: look at each")
    flags = [flag for flag in QUALITY_FLAGS if one.photo.quality.get(flag)]
    if flags:
        found.append(f"photo is {', '.join(flags)}")
    return found


def also_text(session: Session, one: Question) -> Text:
    """Return what keys answer besides the tag that is asked; empty where they answer nothing else."""
    text = Text()
    with_part = session.answered_with_part()
    if with_part:
        text.append(f"a also answers no: {listed(with_part)}\n")
    tags = session.open_tags()
    others = [tag for tag in tags if tag != one.tag]
    if others and len(tags) > NUMBERED:
        text.append(f"x, o answer no: {_shortly(others)}\n")
    if others:
        text.append(f"x none, o or a number only that (F1-F9: cannot tell there) of: {numbered(tags)}\n")
    return text


def numbered(tags: list[str]) -> str:
    """Return the open tags that a number key answers, each after its number; as many as there are keys."""
    return ", ".join(
        f"{number} {tag_words(tag.removeprefix(SHOWS))}" for number, tag in enumerate(tags[:NUMBERED], 1)
    )


def _shortly(tags: list[str]) -> str:
    """Return defects by name and parts by number."""
    defects = [tag for tag in tags if not tag.startswith(SHOWS)]
    parts = len(tags) - len(defects)
    more = [] if not parts else [count_of(parts, "part")]
    return ", ".join([*map(tag_words, defects), *more])


def listed(tags: list[str]) -> str:
    """Return tags in words, separated by commas."""
    return ", ".join(tag_words(tag) for tag in tags)


def meaning_text(tag: Tag, width: int, rows: int) -> Text:
    """Return what a tag means as far as it fits: the definition first, then what looks alike but is not."""
    parts = [("", tag.definition), ("Not: ", tag.looks_alike_but_is_not), ("Looks like: ", tag.looks_like)]
    text, left = Text(), rows
    for head, words in parts:
        if not words:
            continue
        lines = textwrap.wrap(head + words, max(8, width))
        if len(lines) > left:
            if left > 1:
                kept = lines[: left - 1] if not text else []
                text.append("".join(f"{line}\n" for line in kept))
                text.append("d: more on this tag\n", style="italic")
            break
        text.append("".join(f"{line}\n" for line in lines))
        left -= len(lines)
    return text


def rows_of(texts: Iterable[str], width: int) -> int:
    """Return how many rows some texts take at a width."""
    lines = [line for text in texts if text for line in text.rstrip("\n").split("\n")]
    return sum(max(1, len(textwrap.wrap(line, max(8, width)))) for line in lines)


def small_words(tag: str, shown: tuple[int, int], zoom: float) -> str:
    """Return a sentence where a photo is drawn too small to judge a tag, else nothing.

    Parameters
    ----------
    shown : width and height of what is drawn, in dots.
    zoom : how much of it is zoomed in; the whole photo would be that much larger.
    """
    width, height = shown
    if not width or max(shown) * zoom >= least_px(tag):
        return ""
    return f"The photo is shown small, {width} x {height} dots: zoom in with + and move with the arrows."
