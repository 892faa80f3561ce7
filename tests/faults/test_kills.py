"""Killed at any moment: the next command works without repair, and nothing acknowledged is lost.

Seven kills in the everyday run, five hundred with `tools/test --long`; moments are drawn over the measured
length of a whole run, so that they fall into the work and not only into the start.
"""

import json
import random
import shutil
import time

import pytest
import warm
from long_runs import LONG, cases

from triage.assess import assess_library
from triage.library import Library

PARTS = 10 if LONG else 1
KILLS = cases(7, 50)
"""In each part; the library goes from part to part."""


def call(*words, fine=(0, 3)):
    done = warm.call(*words)
    assert done.returncode in fine, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def ground(tmp_path_factory, embedded_library):
    """A library with labels, a card to take in, and how long each command takes.

    Six photos have no vectors yet, so that a kill of `train` meets the network as well as the learning.
    """
    folder = tmp_path_factory.mktemp("ground")
    shutil.copytree(embedded_library, folder / "library")
    with Library.open(folder / "library") as library:
        vectors = sorted(path for path in (library.caches / "vectors").rglob("*") if path.is_file())
    assert len(vectors) > 50
    for path in vectors[:6]:
        path.unlink()
    from common import draw_photo

    for number in range(24):
        draw_photo(
            folder / "card" / f"E-{number % 4}" / f"{number:02}.jpg", seed=3000 + number, size=(900, 700)
        )
        if number < 4:
            draw_photo(folder / "others" / f"F-{number % 2}" / f"{number}.jpg", seed=4000 + number)
    call("new", folder / "elsewhere", "--json")
    call("ingest", folder / "others", "-L", folder / "elsewhere", "--json")
    for row in call("photos", "-L", folder / "elsewhere", "--json"):
        words = ("label", "set", row["photo"], "missing-hanger=present", "--by", "lee")
        call(*words, "-L", folder / "elsewhere", "--json")
    photo = call("photos", "-L", folder / "library", "--json")[0]["photo"]
    lines = {
        "ingest": ("ingest", folder / "card"),
        "label": ("label", "set", photo, "missing-hanger=present", "--by", "kim"),
        "train": ("train", "--tag", "shows-flashing", "--tag", "shows-hanger"),
        "presort": ("presort", "--deck", "E-0", "--again"),
        "assess": ("assess",),
        "report": ("report", "--out", folder / "report"),
        "backup": ("backup", folder / "b.backup"),
        "merge": ("ingest", "--from-library", folder / "elsewhere"),
    }
    spans = {}
    trial = folder / "trial"
    shutil.copytree(folder / "library", trial)
    for name, words in lines.items():
        begun = time.monotonic()
        call(*words, "-L", trial, "--json")
        spans[name] = time.monotonic() - begun
    print(spans)
    return folder, lines, spans


@pytest.mark.parametrize("part", range(PARTS))
def test_kills_at_random_moments_lose_nothing(ground, part):
    folder, lines, spans = ground
    library = folder / "library"
    draw = random.Random(7 + part)
    killed = dict.fromkeys(lines, 0)
    acknowledged = {row["photo"] for row in call("photos", "-L", library, "--json")}
    said = call("status", "-L", library, "--json")["labels"]
    for number in range(4 * KILLS):
        if sum(killed.values()) == KILLS:
            break
        name = list(lines)[number % len(lines)]
        (folder / "b.backup").unlink(missing_ok=True)
        begun = time.monotonic()
        process = warm.start(*lines[name], "-L", library)
        try:
            process.wait(draw.uniform(0.1, 1.0) * spans[name])
            spans[name] = time.monotonic() - begun  # it is quicker now: the next kill falls into the work
        except TimeoutError:
            process.kill()
            killed[name] += 1
        status = call("status", "-L", library, "--json")
        assert status["labels"] >= said, name
        said = status["labels"]
        here = {row["photo"] for row in call("photos", "-L", library, "--json")}
        assert acknowledged <= here, name
        acknowledged = here
        if (folder / "b.backup").exists():
            shutil.rmtree(folder / "again", ignore_errors=True)
            call("restore", folder / "b.backup", folder / "again", "--json")
    checked = call("verify", "-L", library, "--json")
    assert (checked["damaged"], checked["missing"]) == ([], [])
    for name in ("ingest", "train", "presort", "assess"):
        call(*lines[name], "-L", library, "--json")
    kept = call("assess", "-L", library, "--json")["decks"]
    with Library.open(library) as opened:
        again = assess_library(opened)
    assert [(one["deck"], one["tier"], one["unreviewed"]) for one in kept] == [
        (one.deck, one.tier, one.unreviewed) for one in again
    ]
    call(*lines["merge"], "-L", library, "--json")
    assert {f"F-{number}" for number in range(2)} <= {
        row["deck"] for row in call("photos", "-L", library, "--json") if row["labels"]
    }
    whole = call("ingest", folder / "card", "-L", library, "--json")
    assert (whole["added"], whole["known"]) == (0, 24)
    print(f"killed before the end: {killed}")
    assert sum(killed.values()) == KILLS
