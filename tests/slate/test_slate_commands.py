"""`slate`, `measure` and `ingest --deck-from slate`, as scripts see them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from flat_card import beside, card_photo, plain_photo, save_photo

from triage.cli import run
from triage.errors import BadPhoto
from triage.library import Library, queries
from triage.slate.card import Card, library_code


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with an empty library, named in the environment."""
    Library.create(tmp_path / "library").close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DECK_TRIAGE_LIBRARY", str(tmp_path / "library"))
    return tmp_path


def card_of(home: Path, deck: str, closing: bool = False, visit: str | None = "2026-05-04") -> Card:
    with Library.open(home / "library") as library:
        return Card(library_code(library.id), deck, visit, closing)


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, object, str]:
    code = run([*words, "--json"])
    captured = capsys.readouterr()
    return code, json.loads(captured.out) if captured.out else None, captured.err


def heap(home: Path) -> Path:
    """One phone's folder: deck A with START and END card, then a photo after a pause, then deck B."""
    folder = home / "heap"
    shots = [
        ("10:00:00", card_photo(card_of(home, "A"), 1)),
        ("10:00:20", plain_photo(2)),
        ("10:09:00", plain_photo(3)),
        ("10:09:30", card_photo(card_of(home, "A", closing=True), 4)),
        ("10:30:00", plain_photo(5)),
        ("10:40:00", card_photo(card_of(home, "B"), 6)),
        ("10:40:30", plain_photo(7)),
    ]
    for number, (time, rgb) in enumerate(shots, start=1):
        save_photo(folder / f"IMG_{number:04d}.jpg", rgb, f"2026:05:04 {time}")
    (folder / "IMG_0099.jpg").write_bytes(b"no photo")
    return folder


def test_a_heap_is_sorted_by_its_cards_and_what_stays_open_is_listed(home: Path, capsys) -> None:
    folder = heap(home)
    code, told, _ = said(capsys, "ingest", str(folder), "--deck-from", "slate", "--by", "ann")
    assert code == 3
    assert (told["decks"], told["waiting"]) == ({"A": 4, "B": 2}, 1)
    reasons = {Path(row["file"]).name: row["reason"] for row in told["set_aside"]}
    assert reasons["IMG_0005.jpg"].startswith("comes after the END card of A: placed at 'unsorted'")
    assert "IMG_0099.jpg" in reasons
    with Library.open(home / "library") as library:
        assert {photo.visit for photo in queries.photos(library, "A")} == {"2026-05-04"}
        why = {event.payload["name"]: event.payload.get("why") for event in library.events("placed")}
    assert why["IMG_0003.jpg"] == "between the START and the END card of A"


def test_a_second_run_adds_nothing_and_forgets_nothing(home: Path, capsys) -> None:
    folder = heap(home)
    said(capsys, "ingest", str(folder), "--deck-from", "slate", "--by", "ann")
    code, told, _ = said(capsys, "ingest", str(folder), "--deck-from", "slate", "--by", "ann")
    assert (told["added"], told["known"]) == (0, 7)
    assert code == 3  # the file that is no photo


def test_across_a_photo_that_cannot_be_looked_at_nothing_follows_from_an_earlier_card(
    home: Path, capsys, monkeypatch
) -> None:
    """A broken photo may have been the next deck's card: what comes after it is open, not the last deck's."""
    folder = home / "heap"
    shots = [
        card_photo(card_of(home, "A"), 1),
        plain_photo(2),
        card_photo(card_of(home, "B"), 3),
        plain_photo(4),
    ]
    for number, rgb in enumerate(shots, start=1):
        save_photo(folder / f"IMG_{number:04d}.jpg", rgb, f"2026:05:04 10:00:{10 * number:02d}")
    torn = folder / "IMG_0003.jpg"
    torn.write_bytes(torn.read_bytes()[: torn.stat().st_size // 2])
    code, told, _ = said(capsys, "ingest", str(folder), "--deck-from", "slate", "--by", "ann")
    assert (code, told["decks"], told["waiting"]) == (3, {"A": 2}, 1)
    reasons = {Path(row["file"]).name: row["reason"] for row in told["set_aside"]}
    assert reasons.keys() == {"IMG_0003.jpg", "IMG_0004.jpg"}
    assert "comes after a card that cannot be used: the photo could not be checked" in reasons["IMG_0004.jpg"]


def test_a_photo_whose_look_fails_once_is_looked_at_again_and_one_that_fails_twice_is_listed(
    home: Path, capsys, monkeypatch
) -> None:
    from triage.ingest import by_slate

    folder, seen = home / "heap", []
    shots = [card_photo(card_of(home, "A"), 1), plain_photo(2), plain_photo(3)]
    for number, rgb in enumerate(shots, start=1):
        save_photo(folder / f"IMG_{number:04d}.jpg", rgb, f"2026:05:04 10:00:{10 * number:02d}")
    true_look = by_slate.look

    def look(task):
        name = task.offered.path.name
        seen.append(name)
        if name == "IMG_0003.jpg" or (name == "IMG_0001.jpg" and seen.count(name) == 1):
            raise BadPhoto("took longer than 60 s to read")
        return true_look(task)

    monkeypatch.setattr(by_slate, "look", look)
    _, told, _ = said(
        capsys, "ingest", str(folder), "--deck-from", "slate", "--by", "ann", "--engine", "here"
    )
    assert (told["decks"], told["waiting"]) == ({"A": 2}, 1)
    (row,) = told["set_aside"]
    assert (Path(row["file"]).name, "may show a card" in row["reason"]) == ("IMG_0003.jpg", True)


def test_what_was_left_open_is_moved_with_one_command(home: Path, capsys) -> None:
    said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--by", "ann")
    name = "unsorted/IMG_0005.jpg"
    code, told, _ = said(capsys, "move", "--from", name, "--to", name, "--deck", "B", "--by", "ann")
    assert code == 0
    assert len(told["photos"]) == 1
    with Library.open(home / "library") as library:
        assert len(queries.photos(library, "B")) == 3


def test_photos_without_a_deck_are_no_deck_and_are_said_with_the_command_that_sorts_them(
    home: Path, capsys
) -> None:
    said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--by", "ann")
    _, status, _ = said(capsys, "status")
    assert (status["decks"], status["photos"], status["waiting"]) == (2, 7, 1)
    assert "photos --deck unsorted" in status["next"]
    for command in ("decks", "assess"):
        code, told, err = said(capsys, command)
        rows = told["decks"] if command == "assess" else told
        assert (code, {row["deck"] for row in rows}) == (0, {"A", "B"})
        assert "1 photo is not assigned to a deck yet; totals leave it out" in err
        assert "deck-triage move --from FIRST --to LAST --deck DECK" in err
    code, _, err = said(capsys, "assess", "unsorted")
    assert (code, "no deck 'unsorted'" in err) == (1, True)
    _, photos, _ = said(capsys, "photos", "--deck", "unsorted")
    assert [row["name"] for row in photos] == ["IMG_0005.jpg"]
    assert said(capsys, "report", "--out", str(home / "report"))[0] == 0
    page = (home / "report" / "report.html").read_text()
    told = json.loads((home / "report" / "assessment.json").read_text())
    assert told["photos_waiting_for_a_deck"] == 1
    assert "unsorted" not in page
    said(capsys, "move", "unsorted/IMG_0005.jpg", "--deck", "B", "--by", "ann")
    _, status, _ = said(capsys, "status")
    assert (status["photos"], status["waiting"]) == (7, 0)


def test_a_label_on_a_photo_without_a_deck_trains_nothing(home: Path, capsys) -> None:
    said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--by", "ann")
    assert run(["label", "set", "unsorted/IMG_0005.jpg", "missing-hanger=present", "--by", "ann"]) == 0
    capsys.readouterr()
    assert run(["train"]) == 1
    assert "There are no labels to train on" in capsys.readouterr().err


def test_a_dry_run_says_the_same_and_stores_nothing(home: Path, capsys) -> None:
    _, told, _ = said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--by", "ann", "--dry-run")
    assert (told["decks"], told["waiting"]) == ({"A": 4, "B": 2}, 2)
    with Library.open(home / "library") as library:
        assert queries.photos(library) == []


def test_a_deck_and_its_card_are_not_named_both(home: Path, capsys) -> None:
    code, _, err = said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--deck", "A")
    assert code == 2
    assert "do not go together" in err


def test_cards_are_written_for_known_and_new_decks(home: Path, capsys) -> None:
    code, told, _ = said(
        capsys, "slate", "A", "B", "--out", "cards.pdf", "--closing", "--visit", "2026-05-04"
    )
    assert code == 0
    assert told == {"files": ["cards.pdf"]}
    assert (home / "cards.pdf").read_bytes().startswith(b"%PDF")


def test_a_deck_whose_code_is_its_address_gets_no_card(home: Path, capsys) -> None:
    said(capsys, "ingest", str(heap(home)), "--deck-from", "slate", "--by", "ann")
    said(capsys, "deck", "set", "A", "--address", "a", "--by", "ann")
    code, _, err = said(capsys, "slate", "A", "--out", "cards.pdf")
    assert code == 1
    assert "is its address" in err


def _measured_library(home: Path) -> None:
    save_photo(home / "A" / "card.jpg", card_photo(card_of(home, "A")), "2026:05:04 10:00:00")
    save_photo(home / "A" / "wrong.jpg", card_photo(card_of(home, "B")), "2026:05:04 10:01:00")
    save_photo(home / "A" / "none.jpg", plain_photo(1), "2026:05:04 10:02:00")
    run(["ingest", str(home / "A"), "--by", "ann"])


def test_a_length_becomes_a_fact_with_its_photo_as_evidence(home: Path, capsys) -> None:
    _measured_library(home)
    capsys.readouterr()
    points = ["--points", f"{beside(300, 60)} {beside(400, 60)}"]
    code, told, err = said(
        capsys, "measure", "A/card.jpg", *points, "--fact", "ledger_fastener_spacing_in", "--by", "ann"
    )
    assert code == 0
    (row,) = told["lengths_in"]
    assert set(row) == {"from", "to", "inches", "low", "high"}
    assert row["low"] <= 100 / 25.4 <= row["high"]
    assert "plane" in err
    with Library.open(home / "library") as library:
        fact = queries.facts(library, "A")["ledger_fastener_spacing_in"]
        assert fact.value == pytest.approx(100 / 25.4, abs=0.05)
        assert fact.photos == (queries.find_photo(library, "A/card.jpg").sha,)


@pytest.mark.parametrize(
    ("photo", "words"),
    [
        ("A/none.jpg", "No card is seen in this photo"),
        ("A/wrong.jpg", "The card is of deck B, but the photo stands at A"),
    ],
)
def test_what_cannot_be_measured_ends_with_one_sentence(home: Path, capsys, photo: str, words: str) -> None:
    _measured_library(home)
    capsys.readouterr()
    code, told, err = said(capsys, "measure", photo, "--points", "0.1,0.1", "--points", "0.2,0.2")
    assert (code, told) == (1, None)
    assert words in err


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--points", "here"), "'here' is no point"),
        (("--fact", "ledger_edge_in", "--by", "ann"), "a fact needs a length"),
        (("--points", "0.1,0.1 0.2,0.2", "--fact", "joist_count", "--by", "ann"), "joist_count is no length"),
        (("--points", "0.1,0.1 0.2,0.2", "--fact", "ledger_edge_in"), "Nobody is named"),
        (("--points", "0.1,0.1"), "needs two points"),
    ],
)
def test_wrong_usage_is_told_before_anything_is_kept(home: Path, capsys, words, sentence: str) -> None:
    _measured_library(home)
    capsys.readouterr()
    code, _, err = said(capsys, "measure", "A/card.jpg", *words)
    assert code == 2
    assert sentence.casefold() in err.casefold()


def test_without_points_round_things_are_offered_and_no_fact_is_made(home: Path, capsys) -> None:
    _measured_library(home)
    capsys.readouterr()
    code, told, _ = said(capsys, "measure", "A/card.jpg")
    assert code == 0
    assert told["lengths_in"] == []
    assert isinstance(told["rounds"], list)
    assert told["fact"] == {}
