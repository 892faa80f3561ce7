"""The table of every sentence that a client can read, collected from templates, code and data.

`{...}` stands for what is filled in. A test fails when a sentence is added or changed and the table is not
rewritten, so that somebody reads it once before a client does.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
TABLE = ROOT / "triage" / "report" / "SENTENCES.md"

OWNER, FIRM, RECORD = "owner", "firm", "record"
TEMPLATES = {
    "owner.html": OWNER,
    "letter.html": OWNER,
    "parts.html": OWNER,
    "plan.html": FIRM,
    "record.html": RECORD,
    "how.html": RECORD,
}
MODULES = {
    "domain/tiers.py": OWNER,
    "report/advice.py": OWNER,
    "report/element_words.py": OWNER,
    "report/owner.py": OWNER,
    "report/letter.py": OWNER,
    "report/people.py": OWNER,
    "report/phrases.py": OWNER,
    "report/sketch.py": OWNER,
    "report/sketch_facts.py": OWNER,
    "report/plan.py": FIRM,
    "report/changes.py": RECORD,
    "report/concern_view.py": RECORD,
    "report/content.py": RECORD,
    "report/fact_words.py": RECORD,
    "report/grown_view.py": RECORD,
    "report/plates.py": RECORD,
    "report/render.py": RECORD,
    "report/repairs_list.py": RECORD,
    "report/sayings.py": RECORD,
    "report/text.py": RECORD,
    "report/write.py": OWNER,
    "assess/concerns.py": RECORD,
    "assess/coverage.py": RECORD,
    "assess/grown.py": RECORD,
    "assess/order.py": RECORD,
    "assess/summary.py": RECORD,
    "assess/unclear.py": RECORD,
}
CHECKS = ("irc_*.py", "nds_members.py", "ledger_mechanics.py", "limits.py", "spans.py", "unknown_wood.py")
"""Modules of `structure/` whose sentences say what a check found and why."""
DATA = {"rules": ("concluded", "why", "repair", "verify_on_site", "source")}
OWNER_KEYS = ("concluded", "repair")
REFUSALS = ("BadInput", "WrongUsage", "Damaged", "NotWritten", "ValueError")
_INLINE = re.compile(r"</?(?:bdi|strong|span|a|em)\b[^>]*>")
_TAG = re.compile(r"<[^>]*>")
_WORDS = re.compile(r"[A-Za-z]{2,}")


@dataclass(frozen=True)
class Sentence:
    """One sentence: who reads it, its words, and the file that holds it."""

    reader: str
    words: str
    file: str


def collect() -> list[Sentence]:
    """Return every sentence, each once per file, in the order of the files."""
    found: dict[Sentence, None] = {}
    for sentence in (*_templates(), *_modules(), *_rules(), *_vocabulary()):
        found.setdefault(sentence)
    return list(found)


def _templates() -> Iterator[Sentence]:
    folder = ROOT / "triage" / "report" / "templates"
    for name, reader in TEMPLATES.items():
        text = re.sub(r"\{\{-?\s*(.*?)\s*-?\}\}", _filled, (folder / name).read_text(), flags=re.S)
        text = re.sub(r"<(style|svg)\b.*?</\1>", "", text, flags=re.S)
        text = _INLINE.sub("", re.sub(r"\{%.*?%\}", "\n", text, flags=re.S))
        for line in _TAG.sub("\n", text).splitlines():
            yield from _sentence(reader, line, f"report/templates/{name}")


def _filled(found: re.Match[str]) -> str:
    name = re.split(r"[|(\[ ]", found[1])[0].rpartition(".")[2]
    return "{" + (name or "...") + "}"


def _modules() -> Iterator[Sentence]:
    folder = ROOT / "triage" / "structure"
    checks = sorted({file for pattern in CHECKS for file in folder.glob(pattern)})
    for name, reader in {**MODULES, **{f"structure/{file.name}": RECORD for file in checks}}.items():
        tree = ast.parse((ROOT / "triage" / name).read_text())
        skipped = _skipped(tree)
        for node in ast.walk(tree):
            if id(node) in skipped:
                continue
            if isinstance(node, ast.JoinedStr):
                skipped.update(id(part) for part in ast.walk(node) if part is not node)
                yield from _sentence(reader, _joined(node), name)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield from _sentence(reader, node.value, name)


def _skipped(tree: ast.AST) -> set[int]:
    """Return what is no sentence for a client: docstrings, refusals, annotations, patterns, markup."""
    found: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            found.add(id(node.value))
        if isinstance(node, ast.Raise) or (isinstance(node, ast.Call) and _name(node.func) in _NOT_PRINTED):
            found.update(id(part) for part in ast.walk(node))
    return found


_NOT_PRINTED = (*REFUSALS, "getattr", "compile", "get_template", "replace", "Markup", "advise", "progress")


def _name(node: ast.AST) -> str:
    return getattr(node, "id", getattr(node, "attr", ""))


def _joined(node: ast.JoinedStr) -> str:
    parts = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
        else:
            names = [_name(each) for each in ast.walk(part) if isinstance(each, ast.Name | ast.Attribute)]
            parts.append("{" + (names[0] if names else "...") + "}")
    return "".join(parts)


def _rules() -> Iterator[Sentence]:
    for file in sorted((ROOT / "triage" / "data" / "rules").glob("*.toml")):
        for rule in tomllib.loads(file.read_text())["rule"]:
            for key in DATA["rules"]:
                reader = OWNER if key in OWNER_KEYS else RECORD
                yield from _sentence(reader, rule.get(key, ""), f"data/rules/{file.name}")


def _vocabulary() -> Iterator[Sentence]:
    needs: dict[str, Any] = tomllib.loads((ROOT / "triage" / "data" / "coverage.toml").read_text())
    for need in needs["need"]:
        yield from _sentence(RECORD, need["ask"], "data/coverage.toml")
    found: dict[str, Any] = tomllib.loads((ROOT / "triage" / "data" / "vocabulary.toml").read_text())
    for tag in found["tag"]:
        yield from _sentence(RECORD, tag["definition"], "data/vocabulary.toml")


def _sentence(reader: str, text: str, file: str) -> Iterator[Sentence]:
    words = " ".join(text.split())
    bare = re.sub(r"\{[^}]*\}", "", words)
    spoken = " " in words.strip() or bare[:1].isupper()
    if spoken and _WORDS.search(bare) and not re.search(r"[<>\\=]|^[\w-]+\.\w+$|\.html|url\(", bare):
        yield Sentence(reader, words.replace("|", "/"), file)


HEAD = """# Every sentence that a client can read

Written by `tools/sentences`; do not edit by hand. `{...}` stands for what is filled in. Owner: the two pages
and the letter. Firm: the plan. Record: the full record behind them. A test fails when this table is out of
date: run it again and read what is new as an owner (what do I do, by when?), as a builder (is it the trade's
word, can I do it?) and as a lawyer (does it promise anything, does it say what was not seen?).

"""


def table(sentences: list[Sentence]) -> str:
    """Return the table as Markdown."""
    rows = [f"| {one.reader} | {one.words} | {one.file} |" for one in sentences]
    return (
        HEAD
        + "\n".join(["| who reads it | sentence | where it is written |", "| --- | --- | --- |", *rows])
        + "\n"
    )


def main(words: list[str]) -> int:
    """Write the table, or say whether it is out of date."""
    text = table(collect())
    if "--check" in words:
        fresh = TABLE.exists() and TABLE.read_text() == text
        print("The table of sentences is up to date." if fresh else "Out of date: run tools/sentences.")
        return 0 if fresh else 1
    TABLE.write_text(text)
    print(f"{len(collect())} sentences: {TABLE.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
