"""The contact sheet of proposals on the page: one act, exceptions, and what it refuses."""

import json
import re

import pytest

from triage.cli import run
from triage.domain.seeing import PART_PX
from triage.label.rows import give_labels
from triage.library import queries
from triage.library.records import SHEET, Suggestion
from triage.library.suggestions import keep_suggestions
from triage.presort import sheets

LEDGER = "shows-ledger"


@pytest.fixture
def proposed(library):
    """A model that proposes which photos of D-17 show the ledger: yes, in doubt, no."""
    library.say("trained", {"model": "m"}, by="ann")
    photos = queries.photos(library, "D-17")
    rows = zip(photos, (0.9, 0.3, 0.02), strict=True)
    keep_suggestions(library, [Suggestion(one.sha, LEDGER, "m", 0.0, p, "unsure") for one, p in rows])
    return [one.sha for one in photos]


def rows(shas, shown=PART_PX, **clicked):
    proposals = ("present", "", "absent")
    return [
        {
            "photo": sha,
            "proposed": said,
            "value": clicked.get(f"p{place}", ""),
            "shown": shown,
            "opened": False,
        }
        for place, (sha, said) in enumerate(zip(shas, proposals, strict=True))
    ]


def confirm(page, photos, model="m"):
    return page.json(
        "/l/library/proposals/confirm", {"deck": "D-17", "tag": LEDGER, "model": model, "photos": photos}
    )


def test_a_sheet_is_confirmed_in_one_act_and_leads_on(page, library, proposed):
    assert "Does the photo show the ledger?" in page.get("/l/library/proposals?d=D-17").text
    told = confirm(page, rows(proposed, p2="unclear")).json
    assert told["told"].startswith("2 photos answered for shows ledger")
    said = {label.photo: (label.value, label.asked_by) for label in queries.labels(library)}
    assert said == {proposed[0]: ("present", SHEET), proposed[2]: ("unclear", SHEET)}
    page.json("/l/library/undo", {})
    assert queries.labels(library) == []


def test_a_page_without_a_sheet_says_nothing_that_is_not_known(page, library):
    """Nothing was trained, or nothing presorted: neither means that every photo is answered."""
    text = page.get("/l/library/proposals").text
    assert "no model is trained" in text
    library.say("trained", {"model": "m"}, by="ann")
    for address in ("/l/library/proposals", "/l/library/proposals?d=D-17"):
        text = page.get(address).text
        assert "Photos that were not presorted with the model in use have no proposals" in text
        assert "is answered" not in text


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda photos: [dict(one, shown=PART_PX - 1) for one in photos], "not shown large enough"),
        (lambda photos: photos[:1], "changed meanwhile"),
        (lambda photos: [dict(one, shown=True) for one in photos], "not known"),
        (lambda photos: [], "No photo was looked at"),
    ],
)
def test_what_was_not_shown_is_not_answered(page, library, proposed, change, message):
    done = confirm(page, change(rows(proposed)))
    assert done.status == 400
    assert message in done.json["error"]
    assert queries.labels(library) == []


def test_a_sheet_of_another_model_is_refused(page, library, proposed):
    assert "changed meanwhile" in confirm(page, rows(proposed), model="older").json["error"]
    assert queries.labels(library) == []


BEAM = "shows-beam"


@pytest.fixture
def across(library):
    """A model that proposes the ledger and the beam at both decks."""
    library.say("trained", {"model": "m"}, by="ann")
    photos = queries.photos(library)
    assert len({photo.deck for photo in photos}) > 1
    keep_suggestions(
        library,
        [
            Suggestion(one.sha, tag, "m", 0.0, (0.9, 0.3, 0.02)[place % 3], "unsure")
            for tag in (LEDGER, BEAM)
            for place, one in enumerate(photos)
        ],
    )
    return photos


def shown_on(text):
    """The photos of a sheet as the page names them, and what it proposes for each."""
    found = re.findall(r'data-sha="([0-9a-f]+)" data-long="\d+" data-proposed="(\w*)"', text)
    return [
        {"photo": sha, "proposed": said, "value": "", "shown": PART_PX, "opened": False}
        for sha, said in found
    ]


def across_decks(page, photos, tag=LEDGER):
    return page.json("/l/library/proposals/confirm", {"deck": "", "tag": tag, "model": "m", "photos": photos})


def test_a_sheet_across_decks_answers_photos_of_several_decks_in_one_act(page, library, across):
    text = page.get("/l/library/proposals").text
    photos = shown_on(text)
    assert {one["photo"] for one in photos} == {photo.sha for photo in across}
    assert "All of these: no" in text
    done = across_decks(page, photos).json
    deck_of = {photo.sha: photo.deck for photo in across}
    labels = queries.labels(library)
    assert {deck_of[label.photo] for label in labels} == {photo.deck for photo in across}
    assert {label.asked_by for label in labels} == {SHEET}
    assert f"tag={BEAM}" in done["next"], "what is in doubt does not hold the person at one part"
    page.json("/l/library/undo", {})
    assert queries.labels(library) == []


def test_a_heap_holds_so_many_photos_and_the_next_one_the_others(page, library, across, monkeypatch):
    monkeypatch.setattr(sheets, "A_HEAP", 2)
    first = shown_on(page.get(f"/l/library/proposals?tag={LEDGER}").text)
    assert len(first) == 2
    done = across_decks(page, [dict(one, value="present") for one in first]).json
    assert f"tag={LEDGER}" in done["next"]
    second = shown_on(page.get(f"/l/library/proposals?tag={LEDGER}").text)
    assert not {one["photo"] for one in first} & {one["photo"] for one in second}


def test_across_decks_nothing_is_answered_that_was_not_proposed_so_or_not_shown(page, library, across):
    photos = shown_on(page.get("/l/library/proposals").text)
    small = [dict(one, shown=PART_PX - 1) for one in photos]
    assert "not shown large enough" in across_decks(page, small).json["error"]
    turned = [dict(one, proposed="present") for one in photos]
    assert "changed meanwhile" in across_decks(page, turned).json["error"]
    unknown = [dict(photos[0], photo="0" * 64)]
    assert across_decks(page, unknown).status in (400, 404)
    assert queries.labels(library) == []


def test_the_list_of_decks_says_how_many_proposals_wait(page, library, across):
    list_ = page.get("/l/library/order").text
    photos = sum(photo.deck == "D-17" for photo in across)
    assert "Proposed parts" in list_
    assert f'aria-label="{2 * photos} proposed parts of D-17">{2 * photos}</a>' in list_
    for photo in across:
        give_labels(library, [(photo, {LEDGER: "present", BEAM: "absent"})], by="ann")
    assert "Proposed parts" not in page.get("/l/library/order").text


def test_what_waits_is_listed_for_scripts(library, across, tmp_path, capsys):
    photos = sum(photo.deck == "D-17" for photo in across)
    where = ["-L", str(library.path)]
    assert run(["presort", "--sheets", "--json", *where]) == 0
    assert {"deck": "D-17", "tag": LEDGER, "photos": photos} in json.loads(capsys.readouterr().out)
    out = tmp_path / "waiting.csv"
    assert run(["presort", "--sheets", "--deck", "D-17", "--csv", str(out), *where]) == 0
    assert out.read_text().splitlines() == [
        "deck,tag,photos",
        f"D-17,{LEDGER},{photos}",
        f"D-17,{BEAM},{photos}",
    ]
    assert run(["presort", "--csv", str(out), *where]) == 2
    assert run(["presort", "--sheets", "--deck", "D-99", *where]) == 1
