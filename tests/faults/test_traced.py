"""Nothing even tries to leave: every system call of the line and the page is traced.

Fails on any connection, look-up or message to anything but loopback, and on any file that is written, made
or deleted outside the library, the folders that were given and the system's temporary folders. Python's own
hooks would not see what native libraries do.
"""

import importlib.util
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from common import ROOT
from long_runs import LONG

COMMAND = str(Path(sys.executable).parent / "deck-triage")
CALLS = "connect,sendto,sendmsg,openat,open,creat,mkdir,mkdirat,rename,renameat,renameat2,unlink,unlinkat"
TEMPORARY = ("/tmp/", "/var/tmp/", "/dev/shm/", "/dev/null", "/dev/tty", "/proc/")  # noqa: S108
_PATHS = re.compile(r'"((?:[^"\\]|\\.)*)"')


@pytest.fixture
def ground(labeled_library, tmp_path_factory):
    """A library, a card, and an empty home folder in which every stray file shows."""
    if shutil.which("strace") is None:
        if os.environ.get("CI"):
            pytest.fail("strace is not installed (apt: strace)")
        pytest.skip("strace is not installed (apt: strace)")
    folder = tmp_path_factory.mktemp("traced")
    shutil.copytree(labeled_library, folder / "library")
    shutil.copytree(labeled_library.parent / "card", folder / "card")
    (folder / "home").mkdir()
    return folder


def traced(ground: Path, *words: str, probe: str | None = None) -> tuple[subprocess.Popen, Path]:
    """Start a command under the tracer, in its own process group."""
    record = ground / "trace.txt"
    record.unlink(missing_ok=True)
    environment = {name: value for name, value in os.environ.items() if not name.startswith("XDG_")}
    environment |= {
        "HOME": str(ground / "home"),
        "PYTHONDONTWRITEBYTECODE": "1",  # the installation's own, written once
        "DECK_TRIAGE_BY": "ann",
        "DECK_TRIAGE_LIBRARY": str(ground / "library"),
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, "-c", probe] if probe else [COMMAND, *words]
    tracer = ["strace", "-f", "--seccomp-bpf", "-s", "4096", "-e", f"trace={CALLS}", "-o", str(record)]
    started = subprocess.Popen(
        [*tracer, *command],
        env=environment,
        cwd=ground,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    return started, record


def offences(record: Path, ground: Path) -> list[str]:
    """Return the calls that try to leave the machine or write elsewhere."""
    found = []
    for line in record.read_text(errors="replace").splitlines():
        if re.search(r"\b(connect|sendto|sendmsg)\(", line):
            outside = "AF_INET" in line and "127.0.0.1" not in line and '"::1"' not in line
            looked_up = any(name in line for name in ("nscd", "systemd/resolve", "port=htons(53)"))
            if outside or looked_up:
                found.append(line)
        elif _writes(line):
            for path in _PATHS.findall(line):
                place = os.path.normpath(ground / path)  # noqa: PTH118 - relative ones are below the folder
                at_home = place.startswith(f"{ground}/home")
                if at_home or not place.startswith((f"{ground}/", *TEMPORARY)):
                    found.append(line)
    return found


def _writes(line: str) -> bool:
    if " = -1 " in line and "O_CREAT" not in line:
        return False
    if re.search(r"\b(open|openat)\(", line):
        return any(flag in line for flag in ("O_WRONLY", "O_RDWR", "O_CREAT"))
    return bool(re.search(r"\b(creat|mkdir|mkdirat|rename|renameat|renameat2|unlink|unlinkat)\(", line))


LINE = [
    ["ingest", "card"],
    ["embed", "--deck", "deck-01"],
    ["report", "--out", "out/report"],
]
TRAIN = ["train", "--tag", "shows-flashing", "--tag", "shows-hanger"]
MORE = [
    ["report", "--out", "out/report", "--pdf", "--per-deck"],
    TRAIN,
    ["presort"],
    ["assess"],
    ["check"],
    ["label", "write", "out/labels.csv"],
    *(["export", f"out/{kind}", "--as", kind] for kind in ("csv", "parquet", "coco", "croissant", "xmp")),
    ["slate", "deck-01", "--out", "out/slate.pdf"],
    ["audit", "doubts"],
    ["backup", "out/b.backup"],
    ["verify"],
]


@pytest.mark.parametrize("words", [*LINE, *(MORE if LONG else [])], ids=" ".join)
def test_no_command_leaves_or_writes_elsewhere(ground, words):
    (ground / "out").mkdir(exist_ok=True)
    if words in (["presort"], ["audit", "doubts"]):  # they need a model, and the vectors that training makes
        training = traced(ground, *TRAIN)[0]
        training.communicate(timeout=500)
        assert training.returncode in (0, 3)
    started, record = traced(ground, *words)
    _, told = started.communicate(timeout=500)
    assert started.returncode in (0, 3), told
    assert offences(record, ground) == []
    assert list((ground / "home").rglob("*")) == []


def test_the_page_does_not_leave_or_write_elsewhere(ground):
    started, record = traced(ground, "review", "--json", "--port", "0")
    try:
        url = json.loads("".join(started.stdout.readline() for _ in range(3)))["url"]
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        assert browser.open(url, timeout=120).status == 200
        assert browser.open(url.split("?")[0] + "l/library/", timeout=120).status == 200
        time.sleep(1)
    finally:
        os.killpg(started.pid, signal.SIGINT)
        started.communicate()
    assert offences(record, ground) == []


ON_A_CLUSTER = f"""
import subprocess
from pathlib import Path
from tests.simulated.cluster import Cluster

with Cluster(Path("out"), 2) as cluster:
    for words in (["ingest", "card"], ["embed", "--deck", "deck-01"]):
        subprocess.run([{COMMAND!r}, *words, "--engine", "dask", "--dask", cluster.address], check=True)
"""


@pytest.mark.long
def test_a_cluster_on_this_machine_does_not_leave_or_write_elsewhere(ground):
    """The command, its scheduler and its workers, all traced."""
    if importlib.util.find_spec("distributed") is None:
        pytest.skip("Dask is not installed (pip: deck-triage[dask])")
    (ground / "out").mkdir()
    started, record = traced(ground, probe=ON_A_CLUSTER)
    _, told = started.communicate(timeout=500)
    assert started.returncode == 0, told
    assert "127.0.0.1" in record.read_text(errors="replace")
    assert offences(record, ground) == []
    assert list((ground / "home").rglob("*")) == []


@pytest.mark.parametrize(
    "probe",
    [
        "import socket; socket.getaddrinfo('deck-triage.invalid', 80)",
        "import socket; s = socket.socket(); s.settimeout(.1); s.connect(('192.0.2.1', 9))",
        "import socket; s = socket.socket(2, 2); s.sendto(b'x', ('192.0.2.1', 9))",
        "from pathlib import Path; (Path.home() / '.cache').mkdir()",
        "from pathlib import Path; (Path.home() / 'id').write_text('x')",
        "open('/var/lib/deck-triage-id', 'w').write('x')",
    ],
)
def test_the_tracer_catches_whoever_tries(ground, probe):
    """The net has no holes: each of these must be seen."""
    started, record = traced(ground, probe=probe)
    started.communicate(timeout=120)
    Path("/var/lib/deck-triage-id").unlink(missing_ok=True)
    assert offences(record, ground)
