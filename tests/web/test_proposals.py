"""The contact sheet of proposals on the page: one act, exceptions, and what it refuses."""

import pytest

from triage.domain.seeing import PART_PX
from triage.library import queries
from triage.library.records import SHEET, Suggestion
from triage.library.suggestions import keep_suggestions

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
