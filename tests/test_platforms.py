"""Any desk's computer: names that Windows refuses, and the whole line where the Unix modules are hidden."""

import json
import os
import subprocess
import sys

import pytest
from common import ROOT, draw_photo
from hypothesis import given
from hypothesis import strategies as st

from triage.platforms import MOST_NAME_BYTES, RESERVED_NAMES, process_is_alive, remove_file, safe_file_name

_FORBIDDEN = set('<>:"/\\|?*') | {chr(code) for code in range(32)}


def allowed_by_windows(name: str) -> bool:
    """Tell whether Windows takes a file name (Microsoft, 'Naming Files, Paths, and Namespaces')."""
    if not name or name[-1] in ". " or _FORBIDDEN & set(name) or len(name.encode()) > 255:
        return False
    return name.split(".")[0].strip().casefold() not in RESERVED_NAMES


@given(st.text(st.characters(exclude_categories=()), max_size=300))
def test_any_text_becomes_a_name_that_windows_takes(text):
    made = safe_file_name(text)
    assert allowed_by_windows(made)
    assert len(made.encode()) <= MOST_NAME_BYTES


@given(st.lists(st.text(max_size=40), unique=True, min_size=2, max_size=6))
def test_two_names_stay_two_also_where_capitals_do_not_count(texts):
    made: list[str] = []
    for text in texts:
        made.append(safe_file_name(text, made))
    assert len({name.casefold() for name in made}) == len(texts)


@pytest.mark.parametrize("name", ["con", "AUX.txt", "com1", "a.", "b ", "x:y", "D-17/back", "nul.tar.gz", ""])
def test_names_that_windows_refuses_are_changed(name):
    assert not allowed_by_windows(name)
    assert allowed_by_windows(safe_file_name(name))


@pytest.mark.parametrize("name", ["deck-17.html", "Café.csv", "D 17 (north).pdf"])
def test_plain_names_stay(name):
    assert safe_file_name(name) == name


def test_a_process_that_runs_is_alive_and_one_that_ended_is_not():
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    assert process_is_alive(os.getpid())
    assert not process_is_alive(ended.pid)
    assert not process_is_alive(0)


def test_a_read_only_file_can_be_removed(tmp_path):
    file = tmp_path / "original.jpg"
    file.write_bytes(b"bytes")
    file.chmod(0o444)
    remove_file(file)
    remove_file(file)  # a file that is gone is no error
    assert not file.exists()


HIDING = """
import sys
class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name in {"resource", "fcntl", "termios", "tty", "pwd", "grp"}:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
for name in ("resource", "fcntl", "termios", "tty", "pwd", "grp"):
    sys.modules.pop(name, None)
sys.meta_path.insert(0, Hidden())
import importlib.util as util
real = util.find_spec
util.find_spec = lambda name, package=None: (
    None if name in {"resource", "fcntl", "termios", "tty", "pwd", "grp"} else real(name, package))
import os
for name in ("getuid", "sched_getaffinity"):
    if hasattr(os, name):
        delattr(os, name)
"""


@pytest.fixture
def desk(tmp_path):
    """Run a command as a system without the Unix modules would, with a console of code page 1252."""
    site = tmp_path / "site"
    site.mkdir()
    (site / "sitecustomize.py").write_text(HIDING)

    def run(*words, fine=(0,)):
        done = subprocess.run(
            [sys.executable, "-m", "triage.cli", *map(str, words)],
            cwd=tmp_path,
            env={
                **os.environ,
                "PYTHONPATH": f"{site}{os.pathsep}{ROOT}",
                "DECK_TRIAGE_LIBRARY": str(tmp_path / "library"),
                "DECK_TRIAGE_BY": "ann",
                "PYTHONIOENCODING": "cp1252:strict",
            },
            capture_output=True,
            encoding="cp1252",
        )
        assert done.returncode in fine, done.stderr
        return done

    return run


def test_the_line_runs_where_the_unix_modules_are_hidden(desk, tmp_path):
    for deck in ("D-17", "con"):
        for number in range(2):
            draw_photo(tmp_path / "card" / deck / f"IMG_{number}.jpg", seed=len(deck) * 10 + number)
    desk("new", tmp_path / "library")
    desk("ingest", tmp_path / "card", fine=(0, 3))
    facts = tmp_path / "facts.csv"  # line ends as a spreadsheet on Windows writes them
    facts.write_bytes(b"deck,visit,key,value\r\nD-17,,height_above_grade_ft,9\r\n")
    desk("facts", "read", facts)
    desk("label", "set", "D-17/IMG_0.jpg", "nail-only-ledger=present", "--by", "Łukasz")
    assert "\\u0141ukasz" in desk("label", "log").stdout
    assert json.loads(desk("assess", "--json", fine=(0, 3)).stdout)["decks"]
    desk("report", "--out", tmp_path / "report", "--per-deck", fine=(0, 3))
    made = [path.name for path in (tmp_path / "report").rglob("*")]
    assert made
    assert all(allowed_by_windows(name) for name in made)
    assert "no memory limit" in desk("status").stderr
    desk("forget", "con/IMG_1.jpg")
    assert json.loads(desk("verify", "--json").stdout)["damaged"] == []


def test_nothing_imports_a_module_of_one_system_at_import():
    code = (
        "import pkgutil, importlib, triage\n"
        "for one in pkgutil.walk_packages(triage.__path__, 'triage.'):\n"
        "    if not one.name.endswith('__main__'): importlib.import_module(one.name)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", HIDING + "import asyncio, subprocess, socket, multiprocessing\n" + code],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr
