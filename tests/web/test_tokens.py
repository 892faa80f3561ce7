"""The page's sizes, spaces and colors are named once, in tokens.css, and nowhere else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import triage.web
from triage.web.render import static_files

STATIC = Path(triage.web.__file__).parent / "static"
RAW = {
    "a color": r"#[0-9a-fA-F]{3,8}\b|\brgb\(|\bhsl\(",
    "a size of type": r"font(?:-size)?: [^;]*\d(?:px|pt|rem|em)\b",
    "a space": r"(?:padding|margin|gap)[a-z-]*: [^;]*(?<![\d.])(?:[2-9]|1\d|2\d)px",
}


@pytest.mark.parametrize("what", RAW)
def test_the_style_sheet_names_its_tokens(what):
    found = [
        line
        for line in (STATIC / "page.css").read_text().splitlines()
        if re.search(RAW[what], re.sub(r"/\*.*?\*/", "", line))
    ]
    assert found == [], f"{what} that has no name"


@pytest.mark.parametrize(
    ("what", "line"),
    [("a color", "color: #fff;"), ("a size of type", "font-size: 12px;"), ("a space", "gap: 6px;")],
)
def test_a_value_without_a_name_is_noticed(what, line):
    assert re.search(RAW[what], line)


def test_every_token_that_is_used_is_defined():
    text = static_files()["page.css"].decode()
    set_by_scripts = {"--ratio", "--foot", "--tile"}
    used = set(re.findall(r"var\((--[a-z0-9-]+)\)", text))
    assert used - set_by_scripts <= set(re.findall(r"(--[a-z0-9-]+):", text))
