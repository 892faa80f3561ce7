"""The main job on the demo library, by the commands that anybody types.

    python tools/demo.py [OUT]      OUT: where the library and the report go (default: demo-out)

Needs Python 3.11 or newer and nothing else: it makes the checkout's own environment and runs there.
Every deck, photo and label of the demo library is invented and rendered: it is for trying the tool.
"""

from __future__ import annotations

import csv
import json
import os
import shlex
import shutil
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))
from venv_of_checkout import HERE, need_venv, program

SAMPLES = HERE / "sample_photos"
FINE = (0, 3)


def run(*words: str, out: Path, quiet: bool = True) -> Any:
    """Run one command on the demo's library, show it, and return what it printed as JSON."""
    shown = " ".join(shlex.quote(word) for word in words)
    print(f"$ deck-triage {shown}", flush=True)
    started = time.monotonic()
    environment = {
        **os.environ,
        "DECK_TRIAGE_LIBRARY": str(out / "library"),
        "DECK_TRIAGE_BY": "demo",
        "PYTHONUTF8": "1",
    }
    command = [str(program(need_venv("", "demo.txt"), "deck-triage")), *words, "--json"]
    done = subprocess.run(
        command, env=environment, capture_output=quiet, text=True, encoding="utf-8", check=False
    )
    if done.returncode not in FINE:
        sys.exit(f"{done.stderr}\nThe command ended with exit code {done.returncode}.")
    print(f"  {time.monotonic() - started:.1f} s", flush=True)
    return json.loads(done.stdout)


CONFIRMED = 40
"""How many of the machine's most probable suggestions of defects the demo answers, by the scenes' truth."""


def demo(out: Path) -> None:
    """Run the whole line, answer the machine's top suggestions from truth, and print how the list changed."""
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
    sorted_ = run("presort", *[word for deck in split["presort"] for word in ("--deck", deck)], out=out)
    before = run("assess", out=out)["decks"]
    names = {row["photo"]: f"{row['deck']}/{row['name']}" for row in run("photos", out=out)}
    asked = _top_suggestions(sorted_["photos"])
    answers = _answers(asked, out / "answers-to-suggestions.csv")
    run("label", "read", str(out / "answers-to-suggestions.csv"), out=out)
    after = run("assess", out=out)["decks"]
    to_see = run("assess", "--order", "look", out=out)["decks"]
    files = run("report", "--out", str(out / "report"), out=out)["files"]
    new = set(split["presort"])
    _show(after, names, trained, new)
    _show_tiers(after)
    print("\nGo and see first: " + ", ".join(deck["deck"] for deck in to_see[:10]))
    _show_found(sorted_["photos"], asked, answers)
    _show_changes(before, after, new)
    report = next(file for file in files if str(file).endswith(".html"))
    print(f"\nThe report: {report}")
    print(
        "All decks are invented, all photos rendered; a model trained on them must not be used on real decks."
    )
    print(f"The demo took {time.monotonic() - started:.0f} seconds.")


Suggestion = tuple[float, str, str, str]
"""Probability, deck, photo (deck/name), tag."""


def _top_suggestions(photos: list[dict[str, Any]]) -> list[Suggestion]:
    """Return the machine's most probable suggestions of defects, most probable first."""
    found = [
        (one["probability"], photo["deck"], f"{photo['deck']}/{photo['name']}", one["tag"])
        for photo in photos
        for one in photo["suggestions"]
        if one["pile"] == "likely" and not one["tag"].startswith("shows-")
    ]
    return sorted(found, key=lambda one: (-one[0], one[2], one[3]))[:CONFIRMED]


def _answers(asked: list[Suggestion], target: Path) -> dict[tuple[str, str], str]:
    """Write what a person would answer, by the truth of the scenes, as rows for `label read`."""
    with (SAMPLES / "labels.csv").open(newline="", encoding="utf-8") as file:
        truth = {(row["photo"], row["tag"]): row for row in csv.DictReader(file)}
    with target.open("w", newline="", encoding="utf-8") as file:
        rows = [truth[photo, tag] for _, _, photo, tag in asked]
        writer = csv.DictWriter(file, list(rows[0]) if rows else ["photo", "deck", "tag", "value"])
        writer.writeheader()
        for row in rows:
            writer.writerow({**row, "by": "demo-truth", "asked_by": "machine", "saw_machine": "true"})
    return {(photo, tag): truth[photo, tag]["value"] for _, _, photo, tag in asked}


def _show_tiers(decks: list[dict[str, Any]]) -> None:
    count = Counter(deck["tier"] or "not enough seen or reviewed to say" for deck in decks)
    print("\nDecks by tier: " + ", ".join(f"{tier} {number}" for tier, number in count.most_common()))


def _show_found(
    photos: list[dict[str, Any]], asked: list[Suggestion], answers: dict[tuple[str, str], str]
) -> None:
    likely = Counter(
        one["tag"]
        for photo in photos
        for one in photo["suggestions"]
        if one["pile"] == "likely" and not one["tag"].startswith("shows-")
    )
    print(f"\nWhat the machine found in {len(photos)} photos of decks that nobody had labeled:")
    for tag, number in likely.most_common():
        print(f"  {tag}: suggested on {number} photos")
    given = Counter(answers.values())
    print(
        f"What a person confirmed: the demo answered the {len(asked)} most probable of these from the"
        f" scenes' truth: {given['present']} present, {given['absent']} absent, {given['unclear']} unclear."
    )


def _show_changes(before: list[dict[str, Any]], after: list[dict[str, Any]], new: set[str]) -> None:
    was = {deck["deck"]: (place, deck) for place, deck in enumerate(before, 1)}
    print("\nHow the list changed for those decks:")
    for place, deck in enumerate(after, 1):
        if deck["deck"] in new:
            old_place, old = was[deck["deck"]]
            old_tier, tier = (one["tier"] or "not enough seen or reviewed" for one in (old, deck))
            firm = [one for one in deck["concerns"] if one["standing"] != "possible"]
            leading = next(iter(firm), None) or next(iter(deck["concerns"]), None)
            why = leading["concluded"] if leading else "nothing seen yet"
            if leading and not firm:
                why = f"the machine suggests: {why}"
            print(f"  {deck['deck']}: from {old_place} to {place}; {old_tier} -> {tier}: {why}")


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
    print("\nWorst first (* = nobody labeled this deck's photos: its facts, and what the machine suggests):")
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
    demo(Path(sys.argv[1] if len(sys.argv) > 1 else HERE / "demo-out").resolve())
