"""The built package works where there is no checkout: labels, trains, presorts."""

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from common import ROOT, SAMPLES


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The wheel, built and unpacked into a folder of its own, beside nothing of the checkout."""
    base = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    built = base / "dist"
    subprocess.run([*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", built, ROOT], check=True)
    (wheel,) = (base / "dist").glob("deck_triage-*.whl")
    subprocess.run([*pip, "install", "--no-deps", "--target", base / "site", wheel], check=True)
    return base / "site"


def test_the_wheel_labels_trains_and_presorts_without_a_checkout(installed, tmp_path, demo_rows):
    alone = {**os.environ, "PYTHONPATH": str(installed)}

    def run(*words, fine=(0,)):
        environment = {**alone, "DECK_TRIAGE_LIBRARY": str(tmp_path / "lib")}
        done = subprocess.run(
            [sys.executable, "-m", "triage.cli", *map(str, words)],
            cwd=tmp_path,
            env=environment,
            capture_output=True,
            text=True,
        )
        assert done.returncode in fine, done.stderr
        return json.loads(done.stdout) if "--json" in words else done.stdout

    where = subprocess.run(
        [sys.executable, "-c", "import triage, triage.features as e; print(triage.__file__, e.models_dir())"],
        cwd=tmp_path,
        env=alone,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert all(path.startswith(str(installed)) for path in where), where

    asked = [row for row in demo_rows if row["tag"] == "shows-flashing"]
    rows = [row for row in asked if row["value"] in ("present", "absent")]
    first = {(row["deck"], row["value"]): row for row in rows}
    present = [row for row in first.values() if row["value"] == "present"][:7]
    absent = [row for row in first.values() if row["value"] == "absent"][:6]
    run("new", tmp_path / "lib")
    for row in present + absent:
        run("ingest", SAMPLES / "photos" / row["photo"], "--deck", row["deck"])
    with (tmp_path / "labels.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "deck", "tag", "value"])
        kept = (*present[:6], *absent)
        writer.writerows([row["photo"], row["deck"], row["tag"], row["value"]] for row in kept)
    read = run("label", "read", tmp_path / "labels.csv", "--by", "ann", "--json")
    assert read["new"] == 12
    trained = run("train", "--tag", "shows-flashing", "--json", fine=(0, 3))
    assert trained["tags"]["shows-flashing"]["present"] == 6
    sorted_ = run("presort", "--deck", present[6]["deck"], "--json")
    said = {row["name"]: row["suggestions"] for row in sorted_["photos"]}
    (one,) = said[present[6]["photo"].split("/", 1)[1]]
    assert one["tag"] == "shows-flashing"
    assert 0 <= one["probability"] <= 1
    assert run("tags", "--json")
    assert run("assess", "--json")["decks"]
