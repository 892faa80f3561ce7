"""A step over many items: order kept, a bad item costs itself only, workers die with their parent."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

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


def server_of(_: int) -> tuple[int, str]:
    """The process that this worker was forked from, and how many threads that one has."""
    status = Path(f"/proc/{os.getppid()}/status").read_text()
    return os.getppid(), status.split("Threads:")[1].split()[0]


@pytest.mark.parametrize("engine", ["here", "processes", "threads"])
def test_results_come_in_order_and_a_bad_item_is_named(engine):
    found = list(map_items(half, range(6), engine=engine))
    assert [one.item for one in found] == list(range(6))
    assert found[2] == Ok(2, 1.0)
    assert found[3] == Failed(3, "odd")


@pytest.mark.skipif(sys.platform != "linux", reason="looks for the server in /proc")
def test_workers_of_all_batches_come_from_one_server_without_threads():
    found = [one.value for _ in range(2) for one in map_items(server_of, range(8), workers=2)]
    assert len(set(found)) == 1
    assert found[0][0] != os.getpid()
    assert found[0][1] == "1"


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


def unlucky(item: tuple[int, str]) -> int:
    """Kill the worker at the first try of item 1, as a machine that is short of memory does."""
    number, folder = item
    mark = os.path.join(folder, "tried")  # noqa: PTH118
    if number == 1 and not os.path.exists(mark):  # noqa: PTH110
        with open(mark, "w"):  # noqa: PTH123
            os.kill(os.getpid(), signal.SIGKILL)
    return number


def test_an_item_whose_worker_was_killed_once_is_done_again(tmp_path):
    found = list(map_items(unlucky, [(number, str(tmp_path)) for number in range(4)], workers=1))
    assert [one.value for one in found] == [0, 1, 2, 3]


@pytest.mark.parametrize("count", [3, 30])
def test_a_worker_that_dies_before_it_claims_its_item_costs_nothing(monkeypatch, tmp_path, count):
    """The pool breaks: it is made again and the batch goes on."""
    from triage.batch import processes

    mark = tmp_path / "died"
    monkeypatch.setattr(processes, "start_worker", Dying(str(mark)))
    found = list(map_items(half, range(0, 2 * count, 2), workers=2))
    assert [one.value for one in found] == list(range(count))
    assert mark.read_text() == "x" * len(mark.read_text()) != ""


class Dying:
    """Starts a worker, but kills the first three before they take anything."""

    def __init__(self, mark: str) -> None:
        self.mark = mark

    def __call__(self) -> None:
        with open(self.mark, "a+") as file:  # noqa: PTH123
            file.seek(0)
            if len(file.read()) < 3:
                file.write("x")
                file.flush()
                os.kill(os.getpid(), signal.SIGKILL)


def test_workers_that_always_die_end_the_batch_with_a_sentence(monkeypatch, tmp_path):
    from triage.batch import processes
    from triage.errors import TriageError

    monkeypatch.setattr(processes, "start_worker", always_die)
    with pytest.raises(TriageError, match="end as soon as they begin"):
        list(map_items(half, range(3), workers=1, timeout_s=2))


def always_die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def swallow(number: int) -> int:
    if number == 1:
        return len(bytes(16 << 30)) * 0 + len([0] * (1 << 31))
    return number


@pytest.mark.parametrize("count", [3, 8])
def test_small_batches_have_the_same_guards(count):
    found = list(map_items(hang, range(count), timeout_s=2))
    assert [type(one) for one in found] == [Ok, Failed, *[Ok] * (count - 2)]
    found = list(map_items(swallow, range(count)))
    assert "memory" in found[1].reason
    assert [type(one) for one in found] == [Ok, Failed, *[Ok] * (count - 2)]


def test_the_memory_limit_of_a_worker_is_three_gigabytes():
    import subprocess
    import sys

    resource = pytest.importorskip("resource", reason="this system has no memory limits")
    code = (
        "import resource\nfrom triage.batch.processes import start_worker\nstart_worker()\n"
        "print(resource.getrlimit(resource.RLIMIT_DATA)[0])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert 0 < int(done.stdout) <= 3 << 30
    assert int(done.stdout) != resource.RLIM_INFINITY
