"""How the library bears size: first screens at a million photos, growth, folding, nothing-new runs, memory.

    python -m tools.bench.scale first --at FOLDER             what people wait for (made once, then kept)
    python -m tools.bench.scale growth                        time and memory against photos, labels, tags
    python -m tools.bench.scale fold --events 100000          appending and folding the log
    python -m tools.bench.scale memory                        peak memory of ingest, 500 and 20,000 photos
    python -m tools.bench.scale presort-memory --model LIBRARY   the same of presort (4 GB on disk)
    python -m tools.bench.scale again --model LIBRARY         presort of 50,000 photos with nothing new
    python -m tools.bench.scale plot FILE.json OUT.svg        growth as a picture

Rows are synthetic (see `scale_rows`). Each part prints JSON. Seconds are given twice: on the wall, and of
the processor, which other work on the same machine disturbs less.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path

import numpy as np
from PIL import Image
from sqlalchemy import select, update

from tools.bench.page import Browser, served
from tools.bench.scale_rows import PEOPLE, deck_of, make_rows, sha_of
from triage.assess.cache.refresh import bring_up, out_of_date
from triage.batching import lots
from triage.features.keep import store_of
from triage.features.store import pack
from triage.library import EventDraft, Library, queries
from triage.library.database import writing
from triage.library.tables import suggestion
from triage.presort.of_library import load_models
from triage.train.types import TagModel

PARTS = ("first", "growth", "fold", "memory", "presort-memory", "again")
COMMAND = [sys.executable, "-m", "triage.cli"]


def timed(act: Callable[[], object]) -> dict[str, float]:
    """Return how long something takes in this process."""
    wall, processor = time.perf_counter(), time.process_time()
    act()
    return {
        "wall_s": round(time.perf_counter() - wall, 3),
        "processor_s": round(time.process_time() - processor, 3),
    }


def command(*words: str) -> dict[str, float]:
    """Return how long a command takes, start included, and its peak memory."""
    before, wall = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    script = (
        "import resource,sys\nfrom triage.cli import run\ncode = run(sys.argv[1:])\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\nsys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 3):
        sys.exit(f"{words}: {done.stderr[-2000:]}")
    used = (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)
    return {
        "wall_s": round(time.perf_counter() - wall, 2),
        "processor_s": round(used, 2),
        "peak_mb": round(int(done.stderr.split()[-1]) / 1024),
    }


def machine() -> dict[str, object]:
    """Return what the figures were measured on, and how busy it was."""
    return {
        "processor": platform.processor() or platform.machine(),
        "cores": os.cpu_count(),
        "load": round(os.getloadavg()[0], 1),
        "date": time.strftime("%Y-%m-%d"),
    }


def first(folder: Path, photos: int) -> dict[str, object]:
    """What a person waits for in a large library."""
    if not (folder / "library.toml").exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        make_rows(folder, photos).close()
    from triage.label.order import questions
    from triage.library.counts import label_count

    found: dict[str, object] = {"library_bytes": (folder / "library.sqlite").stat().st_size}
    where = ("-L", str(folder))
    with Library.open(folder) as library:
        deck = deck_of(photos // 2)
        found["photos"], found["labels"] = queries.photo_count(library), label_count(library)
        stale = len(out_of_date(library))
        found["decks_assessed_for_the_first_time"] = {"decks": stale} | timed(lambda: bring_up(library))
        found["label_ask_new_person"] = timed(lambda: questions(library, by="somebody new"))
        found["label_ask_of_one_deck"] = timed(lambda: questions(library, by="ann", deck=deck))
        word = {"photo": queries.photos(library, deck)[0].sha, "tag": "missing-hanger", "value": "present"}
        found["say_one_label"] = timed(lambda: library.say("label", word, by="ann"))
        found["undo"] = timed(lambda: library.undo("ann"))
    one_word = ("label", "set", f"{deck}/IMG_0003.jpg", "missing-hanger=absent", "--by", PEOPLE[0])
    for name, words in {
        "decks": ("decks",),
        "assess_one_deck": ("assess", deck, "--json"),
        "label_set": one_word,
        "decks_after_one_label": ("decks", "--json"),
        "assess_all": ("assess",),
        "assess_all_json": ("assess", "--json"),
        "photos_of_a_deck": ("photos", "--deck", deck, "--json"),
        "status": ("status", "--json"),
    }.items():
        found[f"command_{name}"] = command(*words, *where)
    for words in (("assess",), ("assess", "--json")):
        found["_".join(["first_line_of", *words]).replace("--", "")] = first_line(*words, *where)
    found["page"] = page(folder, deck)
    return found


def first_line(*words: str) -> dict[str, float]:
    """Return how long a command takes until its first line is there, start included."""
    start = time.perf_counter()
    with subprocess.Popen([*COMMAND, *words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdout is not None
        process.stdout.readline()
        taken = time.perf_counter() - start
        process.kill()
    return {"wall_s": round(taken, 2)}


def page(folder: Path, deck: str) -> dict[str, float]:
    """Return how long the page's screens take to be sent, the first one of a page just started among them."""
    found = {}
    with served(folder.parent) as url:
        browser = Browser(url)
        browser.form("/who", name="ann", next="/")
        lib = f"/l/{folder.name}/"
        for name, where in {
            "first_screen": lib,
            "first_screen_again": lib,
            "last_page_of_decks": f"{lib}?page=9999",
            "one_deck": f"{lib}deck?d={deck}",
            "its_summary": f"{lib}deck/summary?d={deck}",
            "one_photo_after_the_other": f"{lib}queue",
        }.items():
            start = time.perf_counter()
            browser.get(where)
            found[f"{name}_s"] = round(time.perf_counter() - start, 2)
    return found


def growth() -> dict[str, object]:
    """Time and memory against photos, labels and tags, each alone, with fitted exponents."""
    steps: dict[str, list[dict[str, float]]] = {"photos": [], "labels": [], "tags": []}
    with tempfile.TemporaryDirectory() as scratch:
        for number, size in enumerate((2_000, 4_000, 8_000, 16_000)):
            steps["photos"].append({"n": size} | _costs(Path(scratch) / f"p{number}", size, 5, 1.0))
        for number, share in enumerate((0.125, 0.25, 0.5, 1.0)):
            at = Path(scratch) / f"l{number}"
            steps["labels"].append({"n": 8_000 * 5 * share} | _costs(at, 8_000, 5, share))
        for number, tags in enumerate((3, 6, 12, 24)):
            steps["tags"].append({"n": tags} | _costs(Path(scratch) / f"t{number}", 4_000, tags, 1.0))
    return {
        "steps": steps,
        "exponents": {
            name: {key: _exponent(rows, key) for key in rows[0] if key != "n"} for name, rows in steps.items()
        },
    }


def _exponent(rows: list[dict[str, float]], key: str) -> float:
    """Return b of cost = a n^b, by least squares of the logarithms (start-up is part of the cost)."""
    n, cost = (np.log([max(row[name], 1e-9) for row in rows]) for name in ("n", key))
    return round(float(np.polyfit(n, cost, 1)[0]), 2)


def _costs(folder: Path, photos: int, tags: int, labeled: float) -> dict[str, float]:
    make_rows(folder, photos, tags=tags, labeled=labeled).close()
    where = ("-L", str(folder), "--json")
    found: dict[str, float] = {}
    for name, words in {"status": ("status",), "decks": ("decks",), "photos": ("photos",)}.items():
        cost = command(*words, *where)
        found[f"{name}_processor_s"], found[f"{name}_peak_mb"] = cost["processor_s"], cost["peak_mb"]
    found["library_mb"] = (folder / "library.sqlite").stat().st_size / 1e6
    return found


def fold(events: int) -> dict[str, object]:
    """Appending labels, and folding the whole log from nothing."""
    with tempfile.TemporaryDirectory() as scratch, Library.create(Path(scratch) / "library") as library:

        def said() -> Iterator[EventDraft]:
            for number in range(events):
                word = {"photo": f"{number // 5:064x}", "tag": f"t{number % 5}", "value": "absent"}
                yield EventDraft("label", word, "ann")

        def append() -> None:
            for lot in lots(said(), 2000):
                library.say_many(lot)

        appended, folded = timed(append), timed(library.rebuild)
        one = timed(lambda: library.say_many(list(islice(said(), 1))))
        checked = timed(lambda: queries.log_faults(library))
    return {
        "events": events,
        "append_and_fold": appended | {"events_per_processor_s": round(events / appended["processor_s"])},
        "fold_from_nothing": folded | {"events_per_processor_s": round(events / folded["processor_s"])},
        "check_the_chain": checked | {"events_per_processor_s": round(events / checked["processor_s"])},
        "one_more_event": one,
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def memory(sizes: tuple[int, ...]) -> dict[str, object]:
    """Peak memory of taking in so many small photos (400x300): of the program, not of its workers."""
    found: dict[str, object] = {}
    rng = np.random.default_rng(5)
    for size in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            card = Path(scratch) / "card"
            for number in range(size):
                path = card / f"D-{number // 33:04d}" / f"IMG_{number % 33:04d}.jpg"
                path.parent.mkdir(parents=True, exist_ok=True)
                coarse = rng.integers(30, 220, (6, 8, 3), dtype=np.uint8)
                Image.fromarray(coarse).resize((400, 300)).save(path, quality=85)
            subprocess.run([*COMMAND, "new", f"{scratch}/library"], check=True, capture_output=True)
            found[str(size)] = command("ingest", str(card), "--by", "ann", "-L", f"{scratch}/library")
    return found


def lend_model(source: Library, library: Library) -> str:
    """Put the model of one library to use in another; returns its hash."""
    model = str(queries.model_in_use(source))
    shutil.copytree(source.model_dir, library.models_dir / model[:16])
    library.say("trained", {"model": model, "tags": {}}, by="bench")
    return model


def presort_memory(trained: Path, sizes: tuple[int, ...]) -> dict[str, object]:
    """Peak memory of presorting so many photos whose vectors are kept (those of a real library, repeated)."""
    found: dict[str, object] = {}
    for size in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            make_rows(Path(scratch) / "big", size, labeled=0.0).close()
            with Library.open(trained) as source, Library.open(Path(scratch) / "big") as library:
                lend_model(source, library)
                some, store = [photo.sha for photo in queries.photos(source)[:40]], store_of(library)
                vectors = [one for sha in some if (one := store_of(source).get(sha)) is not None]
                for number in range(size):
                    sha = sha_of(number)
                    store.path(sha).parent.mkdir(parents=True, exist_ok=True)
                    store.path(sha).write_bytes(pack(sha, vectors[number % len(vectors)]))
            found[str(size)] = command("presort", "-L", f"{scratch}/big")
            found[f"{size}_nothing_new"] = command("presort", "-L", f"{scratch}/big")
    return found


def again(trained: Path, photos: int) -> dict[str, object]:
    """Presort again with nothing new, by the command; the model is that of a library trained in earnest."""
    with tempfile.TemporaryDirectory() as scratch:
        make_rows(Path(scratch) / "big", photos).close()
        with Library.open(trained) as source, Library.open(Path(scratch) / "big") as library:
            model = lend_model(source, library)
            tags = [tag for tag, one in load_models(library).items() if isinstance(one, TagModel)]
            with writing(library.engine) as base:
                told = sorted(base.execute(select(suggestion.c.tag).distinct()).scalars())
                for old, new in zip(told, tags, strict=False):
                    change = update(suggestion).where(suggestion.c.tag == old)
                    base.execute(change.values(tag=new, model=model))
        found: dict[str, object] = {"photos": photos, "tags": len(tags)}
        found["presort_nothing_new"] = command("presort", "-L", f"{scratch}/big")
    return found


def plot(source: Path, target: Path) -> None:
    """Draw growth: cost against size on logarithmic axes, a panel for each of photos, labels, tags."""
    import matplotlib as mpl

    mpl.use("svg")
    from matplotlib import pyplot as plt

    data = json.loads(source.read_text())
    figure, panels = plt.subplots(1, 3, figsize=(12, 3.8))
    for panel, (name, rows) in zip(panels, data["steps"].items(), strict=True):
        for key in [key for key in rows[0] if key != "n"]:
            slope = data["exponents"][name][key]
            panel.loglog(
                [row["n"] for row in rows],
                [row[key] for row in rows],
                "o-",
                ms=3,
                label=f"{key.replace('_', ' ')}: n^{slope}",
            )
        panel.set_xlabel(name)
        panel.legend(fontsize=6)
    panels[0].set_ylabel("seconds or megabytes")
    figure.tight_layout()
    figure.savefig(target, metadata={"Date": None})


def main() -> int:
    """Parse, measure, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("part", choices=(*PARTS, "plot"))
    parser.add_argument("--model", type=Path, help="A library whose model is used.")
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--at", type=Path, help="Where the large library is kept.")
    parser.add_argument("--photos", type=int, default=1_000_000)
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--sizes", type=int, nargs="*", default=[500, 20_000])
    given = parser.parse_args()
    if given.part == "plot":
        plot(*given.files)
        return 0
    if given.part == "first" and given.at is None:
        parser.error("first needs --at FOLDER")
    parts: dict[str, Callable[[], dict[str, object]]] = {
        "first": lambda: first(given.at, given.photos),
        "growth": growth,
        "fold": lambda: fold(given.events),
        "memory": lambda: memory(tuple(given.sizes)),
        "presort-memory": lambda: presort_memory(given.model, tuple(given.sizes)),
        "again": lambda: again(given.model, min(given.photos, 50_000)),
    }
    json.dump({"part": given.part} | parts[given.part]() | {"machine": machine()}, sys.stdout, indent=2)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
