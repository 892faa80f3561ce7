"""Every file of results says what made it and from what, and the README quotes only what stands in one."""

import re

import pytest
from common import ROOT

from tools.bench import published

BENCHES = ROOT / "tools" / "bench"
RESULTS = sorted((BENCHES / "results").glob("*.md"))
MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"


def faults_of(text):
    """What the head of a file of results leaves out."""
    head = re.split(r"^(?:## |\| )", text, maxsplit=1, flags=re.M)[0]
    wanted = {
        "command": r"(?m)^Commands?: `",
        "month": rf"Measured: (?:(?:{MONTHS}) 20\d\d|at every run of the tests)\.",
        "data": r"Data:\s+\S",
    }
    return [name for name, pattern in wanted.items() if not re.search(pattern, head)]


@pytest.mark.parametrize("path", RESULTS, ids=lambda path: path.stem)
def test_results_name_command_month_and_data(path):
    assert faults_of(path.read_text(encoding="utf-8")) == []


def test_a_head_that_leaves_something_out_is_seen():
    assert faults_of("# A\n\nCommand: `x`. Data: the demo.\n\n## B\n\nMeasured: November 2026.") == ["month"]
    assert faults_of("# A\n\nMeasured: November 2026.\n\n| a |") == ["command", "data"]


@pytest.mark.parametrize("path", [ROOT / "README.md", *RESULTS], ids=lambda path: path.stem)
def test_every_bench_that_is_named_can_be_run(path):
    named = set(re.findall(r"tools/bench/run ([a-z_]+)", path.read_text(encoding="utf-8")))
    for name in named:
        assert '__name__ == "__main__"' in (BENCHES / f"{name}.py").read_text(encoding="utf-8"), name
    assert named or path.name == "README.md"


def numbers(text):
    return {one.rstrip(".,") for one in re.findall(r"\.?\d[\d.,]*", text)}


def test_every_figure_of_the_readme_stands_in_the_results_that_it_links():
    table = re.findall(r"^\| (.+) \| (.+) \| `tools/bench/run.*` \|$", (ROOT / "README.md").read_text(), re.M)
    assert len(table) >= 4
    for what, result in table:
        links = re.findall(r"\]\((tools/bench/results/[a-z_]+\.md)\)", result)
        assert links, what
        said = numbers(re.sub(r"\(\[.*?\)\)", "", f"{what} {result}").replace("DCA 6", ""))
        stands = numbers(" ".join((ROOT / link).read_text() for link in links))
        rounded = {f"{float(one):.2f}" for one in stands if re.fullmatch(r"0?\.\d{3,}|1\.\d{3,}", one)}
        assert said <= stands | rounded, (what, said - stands - rounded)


def test_the_published_values_are_those_of_the_last_run():
    table, outside = published.report()
    assert outside == 0
    assert published.RESULTS.read_text(encoding="utf-8") == published.HEAD + table + published.TAIL, (
        "Run: tools/bench/run published --write"
    )
