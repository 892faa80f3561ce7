"""Tests and demo run without bash: the bash tools hand over to Python, with the same flags and steps."""

import importlib.util
import re
import subprocess
import sys

import pytest
from common import ROOT


def loaded(name, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    spec = importlib.util.spec_from_file_location(f"tool_{name}", ROOT / "tools" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["test", "demo"])
def test_the_bash_tool_hands_every_word_over(name):
    lines = (ROOT / "tools" / name).read_text().splitlines()
    assert lines[-1] == f'exec "$(python_with_venv)" "$here/tools/{name}.py" "$@"'


def test_both_explain_the_same_flags():
    bash, plain = ((ROOT / "tools" / name).read_text() for name in ("test", "test.py"))
    explained = [
        dict(re.findall(rf"{re.escape(tool)} ((?:-k NAME|--\w+)?)\s+(\S.*)", text))
        for tool, text in (("#   tools/test", bash), ("python tools/test.py", plain))
    ]
    assert (
        explained[0].keys()
        == explained[1].keys()
        == {"", "--long", "--newest", "--oldest", "--list", "-k NAME"}
    )


def test_a_plain_run_lints_checks_types_and_imports_and_tests(monkeypatch):
    steps = loaded("test", monkeypatch).steps
    names = [" ".join(step[:3]) for step in steps([])]
    assert names == ["ruff check .", "ruff format --check", "mypy", "lint-imports", "python -m pytest"]
    assert steps(["--long"]) == steps(["--newest"]) == steps([])
    assert [step[:3] for step in steps(["-k", "loopback"])] == [("python", "-m", "pytest")]
    assert steps(["-k", "loopback"])[0][-2:] == ("-k", "loopback")
    assert len(steps(["--oldest"])) == 1


def test_it_lists_its_steps_with_any_python_and_installs_nothing():
    command = [sys.executable, "-I", str(ROOT / "tools" / "test.py"), "--list"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[0] == "ruff check ."


def test_programs_are_where_the_system_keeps_them(monkeypatch, tmp_path):
    tool = loaded("venv_of_checkout", monkeypatch)
    assert tool.program(tmp_path, "python") == tmp_path / "bin" / "python"
    monkeypatch.setattr(tool.os, "name", "nt")
    assert str(tool.program(tmp_path, "python")).endswith("python.exe")


def test_an_environment_that_is_up_to_date_is_left_alone(monkeypatch, tmp_path):
    tool = loaded("venv_of_checkout", monkeypatch)
    made = []
    monkeypatch.setattr(tool.venv, "create", lambda folder, **_: (folder / "bin").mkdir(parents=True))
    monkeypatch.setattr(tool.subprocess, "run", lambda command, **_: made.append(command[6:]))
    folder = tmp_path / "venv"
    tool.need_venv("", "demo.txt", folder)
    assert [words[0] for words in made] == ["--require-hashes", "--no-deps"]
    (folder / "bin" / "python").touch()
    tool.need_venv("", "demo.txt", folder)
    assert len(made) == 2
    tool.need_venv("[pdf]", "demo.txt", folder)
    assert len(made) == 4
