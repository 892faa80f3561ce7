"""The longest modules are the first that the workers take."""

from pathlib import Path

from slowest import SLOWEST, place

from tools.test import PYTEST, steps

TESTS = Path(__file__).resolve().parents[1]


def test_every_module_that_comes_first_is_there_once():
    assert [name for name in SLOWEST if not (TESTS / name).is_file()] == []
    assert len(set(SLOWEST)) == len(SLOWEST)


def test_the_slowest_come_first_and_the_rest_keeps_its_order():
    names = ["cli/test_a.py", SLOWEST[2], "cli/test_b.py", SLOWEST[0]]
    assert sorted(names, key=place) == [SLOWEST[0], SLOWEST[2], "cli/test_a.py", "cli/test_b.py"]


def test_the_workers_keep_the_order_where_their_version_can():
    assert steps([])[-1] == (*PYTEST, "--no-loadscope-reorder")
    assert steps(["--oldest"])[-1] == PYTEST  # the oldest version that is allowed does not know the option
