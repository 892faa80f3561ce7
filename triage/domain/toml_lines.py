"""Where in a TOML file something stands, so that a refusal can name file and line.

`tomllib` gives values without positions. These helpers look the lines up again in the text; they are used
for messages only, never to read values.
"""

from __future__ import annotations

import re


def table_spans(text: str, name: str) -> list[tuple[int, int]]:
    """Return (first line, last line), counted from 1, of every `[[name]]` table in order of the file.

    A span ends before the next array table of the same name, or at the end of the file. Headers inside
    multi-line strings are not told apart; such a file only gets a less exact line in a message.
    """
    header = f"[[{name}]]"
    lines = text.splitlines()
    starts = [number for number, line in enumerate(lines, 1) if line.split("#")[0].strip() == header]
    ends = [*(start - 1 for start in starts[1:]), len(lines)]
    return list(zip(starts, ends, strict=True))


def line_of(text: str, span: tuple[int, int], word: str) -> int:
    """Return the line within `span` where key `word` is set, else where it stands, else the first line."""
    first, last = span
    lines = text.splitlines()
    within = range(first, last + 1)
    for pattern in (rf"\s*{re.escape(word)}\s*=", rf".*(?<![\w-]){re.escape(word)}(?![\w-])"):
        for number in within:
            if re.match(pattern, lines[number - 1]):
                return number
    return first
