"""A step over many items: order kept, a bad item costs itself only, workers die with their parent."""

import os
import signal
import subprocess
import sys
import time

import pytest

from triage.batch import Failed, Ok, map_items
from triage.errors import BadPhoto, Cancelled, WrongUsage


def half(number: int) -> float:
    if number % 2:
        raise BadPhoto("odd")
    return number / 2


def crash(number: int) -> int:
    if number == 1:
        os.kill(os.getpid(), signal.SIGSEGV)
    return number


def hang(number: int) -> int:
    if number == 1:
        time.sleep(60)
    return number


@pytest.mark.parametrize("engine", ["here", "processes"])
def test_results_come_in_order_and_a_bad_item_is_named(engine):
    found = list(map_items(half, range(6), engine=engine))
    assert [one.item for one in found] == list(range(6))
    assert found[2] == Ok(2, 1.0)
    assert found[3] == Failed(3, "odd")


def test_a_crashing_decoder_costs_its_item_only():
    found = list(map_items(crash, range(4), workers=1))
    assert [type(one) for one in found] == [Ok, Failed, Ok, Ok]
    assert "crash" in found[1].reason


def test_an_item_that_takes_too_long_costs_itself_only():
    found = list(map_items(hang, range(3), workers=1, timeout_s=2))
    assert [type(one) for one in found] == [Ok, Failed, Ok]
    assert "longer than 2 s" in found[1].reason


def test_a_cancelled_run_stops_between_items():
    asked = iter([False, False, False, True])
    run = map_items(half, range(100), engine="here", cancel=lambda: next(asked))
    assert [one.item for one in (next(run), next(run), next(run))] == [0, 1, 2]
    with pytest.raises(Cancelled):
        next(run)


def test_an_unknown_engine_is_refused():
    with pytest.raises(WrongUsage, match="no engine"):
        map_items(half, [1], engine="cloud")


PARENT = """
import os, time
from triage.batch import map_items

def pid(_):
    return os.getpid()

if __name__ == "__main__":
    run = map_items(pid, range(100), workers=1)
    print(next(run).value, flush=True)
    time.sleep(60)
"""


@pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="the parent's death is told by Linux's prctl"
)
def test_workers_die_with_a_killed_parent(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    worker = int(parent.stdout.readline())
    parent.kill()
    parent.wait()
    parent.stdout.close()
    for _ in range(100):
        state = _state(worker)
        if state in (None, "Z"):
            return
        time.sleep(0.05)
    pytest.fail(f"worker {worker} lives on in state {state}")


def _state(pid):
    try:
        with open(f"/proc/{pid}/stat") as file:  # noqa: PTH123
            return file.read().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return None
