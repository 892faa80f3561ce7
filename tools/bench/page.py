"""How quick the page is with many photos: first screen, contact sheet, and the next item after an answer.

python -m tools.bench.page --photos 10000 makes a library of synthetic rows (events, labels, suggestions; one
small picture stands for every photo), serves it by the command, and prints one JSON document. Times are from
the request to the last byte over one kept connection: the server's part; the browser's part is in the tests.
"""

from __future__ import annotations

import argparse
import http.client
import io
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from urllib.parse import urlencode, urlsplit

from PIL import Image

from triage.library import EventDraft, Library
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.train.store import save_model
from triage.train.types import TooFew

A_DECK = 33
"""Photos of a deck: 300 decks at ten thousand."""
_LOT = 2000


def make_library(folder: Path, photos: int) -> Library:
    """Make a library of synthetic photos: half of the decks labeled, all suggested."""
    library = Library.create(folder)
    shas = [sha256(f"photo {number}".encode()).hexdigest() for number in range(photos)]
    core = library.vocabulary().core
    said: list[EventDraft] = []
    for number, sha in enumerate(shas):
        deck, place = f"D-{number // A_DECK:04d}", number % A_DECK
        taken = f"2026-05-{1 + number // A_DECK % 28:02d}T10:{place:02d}:00"
        added = {
            "sha": sha,
            "bytes": 3_000_000,
            "width": 4032,
            "height": 3024,
            "orientation": 1,
            "suffix": ".jpg",
            "taken_at": taken,
            "camera": "Invented",
            "focal_mm": 26.0,
            "phash": None,
            "quality": {},
        }
        where = {"sha": sha, "deck": deck, "visit": taken[:10], "name": f"IMG_{place:04d}.jpg", "origin": "x"}
        said += [EventDraft("photo-added", added, "bench"), EventDraft("placed", where, "bench")]
        if number // A_DECK % 2 == 0:
            for spot, tag in enumerate(core):
                value = "present" if (number * 7 + spot) % 61 == 0 else "absent"
                given = {"photo": sha, "tag": tag, "value": value, "asked_by": "deck"}
                said.append(EventDraft("label", given, "bench"))
    for start in range(0, len(said), _LOT):
        library.say_many(said[start : start + _LOT])
    model = make_model(library)
    rows = [
        Suggestion(
            sha, tag, model, 0.1, (number * 31 + spot * 7) % 100 / 100, "unsure", ((0.2, 0.2, 0.1, 0.1),)
        )
        for number, sha in enumerate(shas)
        for spot, tag in enumerate(core)
    ]
    for start in range(0, len(rows), _LOT):
        keep_suggestions(library, rows[start : start + _LOT])
    put_pictures(library, shas)
    return library


def make_model(library: Library) -> str:
    """Store a model that knows no tag and return its hash: the suggestions are made up."""
    models = {
        tag: TooFew(tag, 0, 0, 0, 0, 3, 3, "made up for the bench") for tag in library.vocabulary().core
    }
    library.models_dir.mkdir()
    model = save_model(models, library.models_dir / ".draft")
    (library.models_dir / ".draft").rename(library.models_dir / model[:16])
    library.say("trained", {"model": model, "tags": {}}, by="bench")
    return model


def put_pictures(library: Library, shas: list[str]) -> None:
    """Put one picture of a rendition's usual size in place of every photo's."""
    picture = Image.effect_noise((1600, 1200), 40).convert("RGB")
    data = io.BytesIO()
    picture.save(data, "JPEG", quality=80)
    first = library.renditions.put(shas[0], data.getvalue())
    for sha in shas[1:]:
        path = library.renditions.path(sha)
        path.parent.mkdir(parents=True, exist_ok=True)
        os.link(first, path)


@contextmanager
def served(home: Path) -> Iterator[str]:
    """Serve a home folder by the command itself; yields the address that lets one browser in."""
    words = [sys.executable, "-m", "triage.cli", "review", "--home", str(home), "--no-open", "--json"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        assert server.stdout is not None
        try:
            yield json.loads("".join(iter(server.stdout.readline, "}\n")) + "}")["url"]
        finally:
            server.send_signal(signal.SIGINT)


class Browser:
    """One kept connection with the page's cookie."""

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        self.wire = http.client.HTTPConnection("127.0.0.1", parts.port)
        self.head = {"Host": parts.netloc}
        self.head["Cookie"] = self.ask("GET", f"/?{parts.query}")[1]["set-cookie"].split(";")[0]

    def ask(
        self, method: str, where: str, body: bytes | None = None, kind: str = ""
    ) -> tuple[bytes, dict[str, str]]:
        """Return the body and headers of one answer; a refusal ends the bench."""
        head = {
            **self.head,
            **({"Origin": f"http://{self.head['Host']}", "Content-Type": kind} if body is not None else {}),
        }
        self.wire.request(method, where, body, head)
        answer = self.wire.getresponse()
        data = answer.read()
        if answer.status >= 400:
            sys.exit(f"{method} {where}: {answer.status} {data[:200]!r}")
        return data, {name.lower(): value for name, value in answer.getheaders()}

    def get(self, where: str) -> bytes:
        """Return one page."""
        return self.ask("GET", where)[0]

    def json(self, where: str, given: dict[str, object]) -> bytes:
        """Send JSON."""
        return self.ask("POST", where, json.dumps(given).encode(), "application/json")[0]

    def form(self, where: str, **given: str) -> bytes:
        """Send a form."""
        return self.ask("POST", where, urlencode(given).encode(), "application/x-www-form-urlencoded")[0]


def seconds(act: Callable[[], object]) -> float:
    """Return how long something takes."""
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


def children_cpu_s() -> float:
    """Return the processor's time of the processes that this one started (the server), as Linux counts it."""
    children = Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()
    fields = [Path(f"/proc/{child}/stat").read_text().rpartition(")")[2].split() for child in children]
    return sum(int(one[11]) + int(one[12]) for one in fields) / os.sysconf("SC_CLK_TCK")


def walk(browser: Browser, items: int) -> dict[str, list[float]]:
    """Answer and go to the next question so many times; returns milliseconds of each part."""
    times: dict[str, list[float]] = {"answer": [], "next": [], "picture": [], "answer and next": []}
    one = json.loads(browser.get("/l/big/queue/next?order=dangerous&at=0"))
    for place in range(1, items + 1):
        given = {
            "photo": one["item"]["sha"],
            "tag": one["queue"]["tag"],
            "value": "absent",
            "boxes": [],
            "asked_by": "dangerous",
            "saw_machine": True,
        }
        times["answer"].append(1000 * seconds(lambda given=given: browser.json("/l/big/answer", given)))
        started = time.perf_counter()
        one = json.loads(browser.get(f"/l/big/queue/next?order=dangerous&at={place}"))
        times["next"].append(1000 * (time.perf_counter() - started))
        times["picture"].append(1000 * seconds(lambda one=one: browser.get(one["item"]["picture"])))
        times["answer and next"].append(times["answer"][-1] + times["next"][-1])
    return times


def measure(home: Path, items: int) -> dict[str, object]:
    """Serve the library and measure."""
    with served(home) as url:
        browser = Browser(url)
        browser.form("/who", name="bench", next="/")
        found: dict[str, object] = {"first_screen_s": seconds(lambda: browser.get("/l/big/"))}
        found["all_decks_assessed_s"] = seconds(lambda: wait_for_order(browser))
        found["first_screen_again_s"] = seconds(lambda: browser.get("/l/big/"))
        found["contact_sheet_s"] = seconds(lambda: browser.get("/l/big/deck?d=D-0001"))
        found["close_look_s"] = seconds(lambda: browser.get("/l/big/look?d=D-0001&tag=missing-hanger"))
        found["run_started_s"] = seconds(lambda: browser.get("/l/big/queue?order=dangerous"))
        before = children_cpu_s()
        found["run_started_again_s"] = seconds(lambda: browser.get("/l/big/queue?order=dangerous"))
        found["run_started_again_cpu_s"] = children_cpu_s() - before
        for what, times in walk(browser, items).items():
            name = what.replace(" ", "_")
            found[f"{name}_ms_p50"] = statistics.median(times)
            found[f"{name}_ms_p95"] = statistics.quantiles(times, n=20)[-1]
        found["deck_after_an_answer_s"] = seconds(lambda: browser.get("/l/big/standing?d=D-0001"))
        found["first_screen_after_answers_s"] = seconds(lambda: browser.get("/l/big/"))
    return {key: round(value, 4) if isinstance(value, float) else value for key, value in found.items()}


def wait_for_order(browser: Browser) -> None:
    """Ask for the table until every deck is assessed."""
    while b"data-working" in browser.get("/l/big/order"):
        time.sleep(0.1)


def main() -> None:
    """Run the bench and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=10_000)
    parser.add_argument("--items", type=int, default=200)
    parser.add_argument(
        "--home", type=Path, help="Keep the library here (below it, as 'big') and use it again."
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        home = given.home or Path(scratch)
        home.mkdir(parents=True, exist_ok=True)
        made = 0.0
        if not (home / "big").exists():
            started = time.perf_counter()
            make_library(home / "big", given.photos).close()
            made = round(time.perf_counter() - started, 1)
        found = {"photos": given.photos, "items": given.items, "made_in_s": made, "load": os.getloadavg()[0]}
        print(json.dumps(found | measure(home, given.items), indent=2))


if __name__ == "__main__":
    main()
