"""Every command has help with an example, and every example works as it stands."""

import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from tests_stage import build_stage, prepare

from triage.cli import cli, run
from triage.library import Library

NOT_HERE = {
    "deck-triage facts ask": "asks in the terminal; driven in tests/cli/test_facts_ask.py",
    "deck-triage label ask": "opens a screen in the terminal; driven in tests/terminal",
    "deck-triage audit lift": "needs a withdrawn promise; driven in tests/audit",
    "deck-triage review": "opens the page; driven in tests/web",
    "deck-triage embed --engine dask": "needs a scheduler; driven with real workers in tests/batch",
}


def commands(group=cli, path=("deck-triage",)):
    context = click.Context(group)
    for name in group.list_commands(context):
        one = group.get_command(context, name)
        if isinstance(one, click.Group):
            yield from commands(one, (*path, name))
        if not isinstance(one, click.Group) or one.invoke_without_command:
            yield (*path, name), one


ALL = dict(commands())


def examples(command) -> list[str]:
    text = (command.epilog or "").replace("\b", "")
    return [line.strip() for line in text.splitlines() if line.strip().startswith("deck-triage ")]


EXAMPLES = sorted({line for command in ALL.values() for line in examples(command)})


@pytest.mark.parametrize("path", sorted(ALL), ids=" ".join)
def test_every_command_has_help_with_an_example(path, capsys):
    assert run([*path[1:], "--help"]) == 0
    out = capsys.readouterr().out
    assert "Usage: deck-triage" in out
    if not isinstance(ALL[path], click.Group):
        assert examples(ALL[path]), f"{' '.join(path)} has no example"
        assert "Examples:" in out


@pytest.mark.parametrize("path", sorted(ALL), ids=" ".join)
def test_commands_that_print_results_have_json(path):
    command = ALL[path]
    names = {name for parameter in command.params for name in parameter.opts}
    if " ".join(path) not in NOT_HERE:
        assert "--json" in names


@pytest.fixture(scope="session")
def stage(tmp_path_factory) -> Path:
    """A folder in which every example of the help makes sense; made once, copied for each example."""
    return build_stage(tmp_path_factory.mktemp("stage") / "stage")


@pytest.mark.parametrize("line", EXAMPLES)
def test_every_example_works(line, stage, tmp_path, monkeypatch, capsys):
    for start, reason in NOT_HERE.items():
        if line.startswith(start):
            assert reason
            return
    work = tmp_path / "work"
    shutil.copytree(stage, work)
    monkeypatch.chdir(work)
    line = re.sub(r"\b3fa91c20\b", (work / "hash.txt").read_text()[:8], line)
    line = re.sub(r"\b0f3a9c2d\b", (work / "event.txt").read_text()[:16], line)
    if "new season-2026" in line:
        shutil.rmtree("season-2026")
    else:
        monkeypatch.setenv("DECK_TRIAGE_LIBRARY", str(work / "season-2026"))
        with Library.open(work / "season-2026") as library:
            prepare(library, line)
    code = run(shlex.split(line)[1:])
    captured = capsys.readouterr()
    assert code in (0, 3), captured.err
    assert captured.out.strip()
