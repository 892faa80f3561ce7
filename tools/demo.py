"""The main job on the demo library, by the commands that anybody types.

Every deck, photo and label of the demo library is invented and rendered: it is for trying the tool.
"""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent.parent
SAMPLES = HERE / "sample_photos"
COMMAND = str(Path(sys.executable).parent / "deck-triage")
FINE = (0, 3)


def run(*words: str, out: Path, quiet: bool = True) -> Any:
    """Run one command on the demo's library, show it, and return what it printed as JSON."""
    shown = " ".join(shlex.quote(word) for word in words)
    print(f"$ deck-triage {shown}", flush=True)
    started = time.monotonic()
    environment = {**os.environ, "DECK_TRIAGE_LIBRARY": str(out / "library"), "DECK_TRIAGE_BY": "demo"}
    done = subprocess.run(
        [COMMAND, *words, "--json"], env=environment, capture_output=quiet, text=True, check=False
    )
    if done.returncode not in FINE:
        sys.exit(f"{done.stderr}\nThe command ended with exit code {done.returncode}.")
    print(f"  {time.monotonic() - started:.1f} s", flush=True)
    return json.loads(done.stdout)


def demo(out: Path) -> None:
    """Run the whole line and print the ranked decks."""
    started = time.monotonic()
    out.mkdir(parents=True, exist_ok=True)
    split = tomllib.loads((SAMPLES / "split.toml").read_text(encoding="utf-8"))
    if not (out / "library" / "library.toml").exists():
        run("new", str(out / "library"), out=out)
        shutil.copy(SAMPLES / "firm.toml", out / "library" / "firm.toml")
    run("ingest", str(SAMPLES / "photos"), out=out)
    labels = _labels_of(split["train"], out / "labels-of-most-decks.csv")
    run("label", "read", str(labels), out=out)
    run("facts", "read", str(SAMPLES / "facts.toml"), out=out)
    trained = run("train", out=out)
    run("presort", *[word for deck in split["presort"] for word in ("--deck", deck)], out=out)
    summary = run("assess", out=out)
    files = run("report", "--out", str(out / "report"), out=out)["files"]
    names = {row["photo"]: f"{row['deck']}/{row['name']}" for row in run("photos", out=out)}
    _show(summary["decks"], names, trained, set(split["presort"]))
    report = next(file for file in files if str(file).endswith(".html"))
    print(f"\nThe report: {report}")
    print(
        "All decks are invented, all photos rendered; a model trained on them must not be used on real decks."
    )
    print(f"The demo took {time.monotonic() - started:.0f} seconds.")


def _labels_of(decks: list[str], target: Path) -> Path:
    lines = (SAMPLES / "labels.csv").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines[1:] if line.split("/", 1)[0] in decks]
    target.write_text("\n".join([lines[0], *kept]) + "\n", encoding="utf-8")
    return target


def _show(decks: list[dict[str, Any]], names: dict[str, str], trained: dict[str, Any], new: set[str]) -> None:
    print("\nWhat the model can do, measured on left-out decks of the demo library:")
    for tag, row in trained["tags"].items():
        if row["average_precision"] is not None:
            print(
                f"  {tag}: average precision {row['average_precision']:.2f} ({row['present']} photos show it)"
            )
    print("\nWorst first (* = nobody labelled this deck's photos: its facts, and what the machine suggests):")
    for number, deck in enumerate(decks, 1):
        mark = "*" if deck["deck"] in new else " "
        tier = deck["tier"] or "not enough seen or reviewed to say"
        said = tier if deck["tier_if_true"] == deck["tier"] else f"{tier}; if true: {deck['tier_if_true']}"
        print(f"{number:3}.{mark}{deck['deck']}: {said}; gaps: {deck['gaps']}")
        for concern in deck["concerns"][:1]:
            standing = concern["standing"]
            if concern["photos"]:
                evidence = f"{standing}; {names.get(concern['photos'][0], '')}"
            elif standing == "seen-by-person":
                evidence = "said by a person as a fact of the deck, no photo"
            else:
                evidence = f"{standing}, no photo"
            print(f"       {concern.get('concluded') or concern['rule']} [{evidence}]")


if __name__ == "__main__":
    demo(Path(sys.argv[1]).resolve())
