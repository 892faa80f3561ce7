"""Compares a report file with what the library gives, and names every difference where it stands.

A page is read as a row of tokens: tags with their attributes, sentences, comments. Where a token stands is
told by the `data-k` names around it, taken from the page that the library gives.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from html.parser import HTMLParser

_VOID = frozenset(
    ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr")
)
_SENTENCE = re.compile(r"(?<=[.;:!?])\s+")
MOST_NAMED = 200
"""So many differences are named one by one."""


@dataclass(frozen=True)
class Mutation:
    """One difference: where it stands, what the file says and what the library says (empty: nothing)."""

    where: str
    what: str
    says: str
    should: str

    def __str__(self) -> str:
        if not self.should:
            return f"{self.where}: {self.what}; the file has {self.says}, the library nothing."
        if not self.says:
            return f"{self.where}: {self.what}; the library has {self.should}, the file nothing."
        return f"{self.where}: {self.what}; the file has {self.says}, the library {self.should}."


@dataclass(frozen=True)
class Token:
    """One piece of a page. `kind` is 'word', 'start', 'end' or 'other'."""

    kind: str
    value: str
    where: str

    @property
    def key(self) -> tuple[str, str]:
        """What makes two tokens the same."""
        return (self.kind, self.value)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tokens: list[Token] = []
        self._open: list[tuple[str, str | None]] = []

    def _where(self) -> str:
        names = [name for _, name in self._open if name]
        return ", ".join(names) or "head of the file"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        name = dict(attrs).get("data-k")
        self._open.append((tag, name))
        value = tag + "".join(f' {key}="{_brief(text)}"' for key, text in attrs)
        self.tokens.append(Token("start", value, self._where()))
        if tag in _VOID:
            self._open.pop()

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in _VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        self.tokens.append(Token("end", tag, self._where()))
        for index in range(len(self._open) - 1, -1, -1):
            if self._open[index][0] == tag:
                del self._open[index:]
                break

    def handle_data(self, data: str) -> None:
        for sentence in _SENTENCE.split(data):
            words = " ".join(sentence.split())
            if words:
                self.tokens.append(Token("word", words, self._where()))

    def handle_comment(self, data: str) -> None:
        self.tokens.append(Token("other", f"comment {data}", self._where()))

    def handle_decl(self, decl: str) -> None:
        self.tokens.append(Token("other", f"declaration {decl}", self._where()))

    def handle_pi(self, data: str) -> None:
        self.tokens.append(Token("other", f"instruction {data}", self._where()))

    def unknown_decl(self, data: str) -> None:
        self.tokens.append(Token("other", f"declaration {data}", self._where()))


def _brief(text: str | None) -> str:
    """Return an attribute's value; a picture by its hash."""
    text = text or ""
    return f"picture {sha256(text.encode()).hexdigest()}" if text.startswith("data:") else text


def read_page(page: bytes) -> list[Token]:
    """Return the tokens of a page; bytes that are no UTF-8 are read as replacement marks."""
    reader = _Reader()
    reader.feed(page.decode("utf-8", "replace"))
    reader.close()
    return reader.tokens


def compare_pages(found: bytes, expected: bytes, tokens: Sequence[Token] | None = None) -> list[Mutation]:
    """Return every difference of a page from the one that the library gives; none for equal bytes.

    `tokens` may hold the tokens of the expected page, read once for many comparisons.
    """
    if found == expected:
        return []
    want, have = list(tokens or read_page(expected)), read_page(found)
    first = 0
    while first < min(len(want), len(have)) and want[first].key == have[first].key:
        first += 1
    last = 0
    while last < min(len(want), len(have)) - first and want[-1 - last].key == have[-1 - last].key:
        last += 1
    inner_want, inner_have = want[first : len(want) - last], have[first : len(have) - last]
    mutations = _differences(inner_have, inner_want, want, first)
    if not mutations:
        return [_markup(found, expected)]
    if len(mutations) > MOST_NAMED:
        left = len(mutations) - MOST_NAMED
        more = Mutation("the file", "more differences", f"{left} more than are named here", "")
        return [*mutations[:MOST_NAMED], more]
    return mutations


def _differences(have: list[Token], want: list[Token], whole: Sequence[Token], offset: int) -> list[Mutation]:
    matcher = difflib.SequenceMatcher(
        None, [token.key for token in want], [token.key for token in have], autojunk=False
    )
    found = []
    for code, i1, i2, j1, j2 in matcher.get_opcodes():
        if code == "equal":
            continue
        at = min(offset + i1, len(whole) - 1)
        pairs = max(i2 - i1, j2 - j1)
        for step in range(pairs):
            should = want[i1 + step] if i1 + step < i2 else None
            says = have[j1 + step] if j1 + step < j2 else None
            where = should.where if should else whole[at].where if whole else "the file"
            found.append(_named(where, says, should))
    return found


def _named(where: str, says: Token | None, should: Token | None) -> Mutation:
    kinds = {token.kind for token in (says, should) if token}
    pictures = any("picture " in token.value for token in (says, should) if token)
    if pictures:
        what = "another picture"
    elif kinds == {"word"}:
        what = "changed words" if says and should else "added words" if says else "missing words"
    else:
        what = "changed markup" if says and should else "added markup" if says else "missing markup"
    one, other = _windows(says.value if says else "", should.value if should else "")
    return Mutation(where, what, one, other)


def _windows(one: str, other: str, most: int = 120) -> tuple[str, str]:
    """Return both texts in quotation marks, cut around the first place where they differ."""
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    start = max(0, start - most // 2)
    return _window(one, start, most), _window(other, start, most)


def _window(text: str, start: int, most: int) -> str:
    if not text:
        return ""
    cut = text[start : start + most]
    before = "\u2026" if start else ""
    after = "\u2026" if start + most < len(text) else ""
    return f"'{before}{cut}{after}'"


def _markup(found: bytes, expected: bytes) -> Mutation:
    """Name a difference that changes no token: spacing, quotation marks, the way a letter is written."""
    at = next(
        (index for index, (a, b) in enumerate(zip(found, expected, strict=False)) if a != b),
        min(len(found), len(expected)),
    )
    line = expected[:at].count(b"\n") + 1
    return Mutation(
        f"line {line}, byte {at}",
        "another way of writing the same words",
        repr(found[at : at + 24].decode("utf-8", "replace")) if at < len(found) else "the end of the file",
        repr(expected[at : at + 24].decode("utf-8", "replace"))
        if at < len(expected)
        else "the end of the file",
    )
