"""Batches on a Dask cluster: real scheduler and worker processes on loopback, one of them killed halfway."""

import os
import signal
import time
import uuid

import pytest
from common import draw_photo

from tests.simulated.cluster import Cluster
from triage.batch import Failed, Ok, map_items
from triage.batch.dask_engine import check_address
from triage.errors import Cancelled, TriageError, WrongUsage
from triage.library import queries

try:
    import distributed  # noqa: F401
except ImportError:
    if os.environ.get("CI"):
        raise
    pytest.skip("Dask is not installed (pip: deck-triage[dask])", allow_module_level=True)


@pytest.fixture
def cluster(tmp_path):
    made = Cluster(tmp_path, 2)
    yield made
    made.close()


def half(number):
    from triage.errors import BadPhoto

    if number % 7 == 3:
        raise BadPhoto("odd one")
    return number / 2


def slowly(item):
    """Leaves a line each time it is run to the end, so that a test sees what was done twice."""
    number, folder = item
    time.sleep(0.1)
    with (folder / f"{number}").open("a") as file:
        file.write("done\n")
    return number * number


def test_results_come_in_order_with_reasons_as_with_every_engine(cluster):
    here = list(map_items(half, range(30), engine="here"))
    there = list(map_items(half, range(30), engine="dask", address=cluster.address))
    assert there == here
    assert there[3] == Failed(3, "odd one")


def test_a_worker_killed_half_way_changes_nothing_and_nothing_comes_twice(cluster, tmp_path):
    folder = tmp_path / "marks"
    folder.mkdir()
    items = [(number, folder) for number in range(40)]
    found = []
    for outcome in map_items(slowly, items, engine="dask", address=cluster.address):
        found.append(outcome)
        if len(found) == 10:
            os.kill(cluster.workers[0].pid, signal.SIGKILL)
    assert [one.item[0] for one in found] == list(range(40))
    assert [one.value for one in found if isinstance(one, Ok)] == [number**2 for number in range(40)]
    runs = [len((folder / str(number)).read_text().splitlines()) for number in range(40)]
    assert min(runs) == 1  # what a killed worker had finished but not handed over may be run again
    assert sum(runs) - 40 <= 20


def test_photos_taken_in_and_embedded_with_a_worker_killed_are_those_of_one_process(tmp_path):
    from triage.features.keep import embed_photos, store_of
    from triage.ingest import ingest
    from triage.library import Library
    from triage.library.verify import verify

    for number in range(12):
        draw_photo(tmp_path / "card" / f"D-{number % 2}" / f"{number:02}.jpg", seed=number, size=(640, 480))
    made, vectors = {}, {}
    cluster = Cluster(tmp_path, 2)
    try:
        for engine in ("here", "dask"):
            with Library.create(tmp_path / engine) as library:

                def killing(what, done, total):
                    if what == "embed" and done == 6 and cluster.workers[0].poll() is None:
                        cluster.workers[0].kill()

                result = ingest(library, [tmp_path / "card"], by="ann", engine=engine, dask=cluster.address)
                assert (len(result.added), result.set_aside) == (12, [])
                shas = [photo.sha for photo in queries.photos(library)]
                done = embed_photos(
                    library,
                    shas,
                    engine=engine,
                    dask=cluster.address,
                    progress=killing if engine == "dask" else None,
                )
                assert (done.new, done.set_aside) == (12, [])
                assert sum(1 for _ in library.events("placed")) == 12
                assert verify(library).damaged == []
                made[engine] = queries.photos(library)
                store = store_of(library)
                vectors[engine] = {sha: store.path(sha).read_bytes() for sha in shas}
        assert cluster.workers[0].poll() is not None
    finally:
        cluster.close()
    assert made["dask"] == made["here"]
    assert vectors["dask"] == vectors["here"]  # bit for bit


def test_a_client_is_not_named_by_the_address_of_this_machine(cluster, monkeypatch):
    """A time-based id would carry the network card's number to the scheduler."""
    monkeypatch.setattr(uuid, "_node", None)
    assert len(list(map_items(half, [1, 2], engine="dask", address=cluster.address))) == 2
    assert uuid.getnode() >> 40 & 1  # no card has this bit: RFC 9562, section 6.10


def test_a_cancelled_run_stops(cluster):
    asked = iter([False] * 5 + [True] * 100)
    run = map_items(half, range(1000), engine="dask", address=cluster.address, cancel=lambda: next(asked))
    with pytest.raises(Cancelled):
        list(run)


def test_a_scheduler_that_does_not_answer_is_said():
    with pytest.raises(TriageError, match="No Dask scheduler answers"):
        map_items(half, [1], engine="dask", address="tcp://127.0.0.1:9")


@pytest.mark.parametrize(
    "address", ["tcp://192.0.2.7:8786", "192.0.2.7:8786", "ws://host.invalid:1", None, ""]
)
def test_an_address_beyond_this_machine_without_tls_is_refused(address):
    with pytest.raises(WrongUsage):
        check_address(address)


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:8786", "localhost:8786", "tcp://[::1]:1", "tls://192.0.2.7:8786"]
)
def test_loopback_and_tls_are_let_through(address):
    assert check_address(address) == address


def test_the_command_embeds_on_a_cluster(tmp_path, capsys):
    import json

    from triage.cli import run
    from triage.ingest import ingest
    from triage.library import Library

    for number in range(3):
        draw_photo(tmp_path / "card" / "D-17" / f"{number}.jpg", seed=number, size=(320, 240))
    with Library.create(tmp_path / "library") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
    cluster = Cluster(tmp_path, 1)
    try:
        words = [
            "embed",
            "--engine",
            "dask",
            "--dask",
            cluster.address,
            "--json",
            "-L",
            str(tmp_path / "library"),
        ]
        assert run(words) == 0
    finally:
        cluster.close()
    assert json.loads(capsys.readouterr().out)["new"] == 3
