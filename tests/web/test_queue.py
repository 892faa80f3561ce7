"""One by one: orders, the machine's word kept back for a sample, second looks, places; the model page."""

from __future__ import annotations

import numpy as np
import pytest
from playwright.sync_api import expect
from sklearn.metrics import precision_score, recall_score

from tests.web.browserless import Client
from tests.web.browsing import Visitor
from triage.label.order import questions
from triage.library import queries
from triage.library.look_lines import LookLine, keep_lines
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.web.items import HIDDEN_ONE_IN, is_hidden

MODEL = "m" * 64
URGENT = ("missing-hanger", "nail-only-ledger", "side-bolted-beam")


@pytest.fixture
def suggested(library, monkeypatch):
    """The small library with made-up suggestions of a made-up model that promises nothing."""
    monkeypatch.setattr("triage.presort.of_library.promise_standing", lambda _library: {})
    library.say("trained", {"model": MODEL, "tags": {}}, by="ann")
    rows = []
    for number, photo in enumerate(queries.photos(library)):
        for place, tag in enumerate(library.vocabulary().core):
            chance = (7 * number + 3 * place) % 20 / 20
            pile = "likely" if chance >= 0.5 else "unsure"
            rows.append(Suggestion(photo.sha, tag, MODEL, chance, chance, pile, ((0.1, 0.2, 0.3, 0.4),)))
    keep_suggestions(library, rows)
    return library


def run_of(page, **query):
    first = page.get("/l/library/queue/next", at=0, **query).json
    total = first["queue"]["total"]
    rest = [page.get("/l/library/queue/next", at=place, **query).json for place in range(1, total)]
    return [(one["item"]["sha"], one["queue"]["tag"]) for one in [first, *rest]], first


def test_orders_are_those_of_the_terminal(page, suggested):
    for order in ("dangerous", "doubtful", "learning", "deck", "taken"):
        keys, first = run_of(page, order=order)
        assert keys == [(one.photo.sha, one.tag) for one in questions(suggested, by="ann", order=order)]
        assert first["queue"]["asked_by"] == order


def test_machines_word_is_kept_back_for_a_fixed_sample():
    keys = [
        (f"{number:064x}", tag) for number in range(500) for tag in ("missing-hanger", "rusted-connector")
    ]
    hidden = [is_hidden(sha, tag, MODEL) for sha, tag in keys]
    assert hidden == [is_hidden(sha, tag, MODEL) for sha, tag in keys]
    share = sum(hidden) / len(hidden)
    assert abs(share - 1 / HIDDEN_ONE_IN) < 4 * (0.2 * 0.8 / len(hidden)) ** 0.5
    assert hidden != [is_hidden(sha, tag, "another model") for sha, tag in keys]


def test_item_says_what_is_kept_back(page, suggested):
    photo = queries.photos(suggested)[0]
    item = page.get(f"/l/library/item/{photo.sha}").json
    for question in item["questions"]:
        if question["machine"]:
            assert question["hidden"] == is_hidden(photo.sha, question["tag"], MODEL)


def test_run_without_a_model_says_why(page):
    text = page.get("/l/library/queue").text
    assert "no suggestions to order by" in text
    assert "deck-triage presort" not in text
    assert "trained on your labels" in text


def test_answered_questions_leave_the_next_run_only(page, suggested):
    keys, _ = run_of(page, order="dangerous")
    sha, tag = keys[0]
    page.json("/l/library/answer", {"photo": sha, "tag": tag, "value": "absent", "asked_by": "dangerous"})
    assert run_of(page, order="dangerous")[0] == keys
    page.get("/l/library/queue", order="dangerous")
    assert run_of(page, order="dangerous")[0] == keys[1:]
    assert queries.labels(suggested)[0].asked_by == "dangerous"


def test_undo_leads_back_to_the_question(page, suggested):
    keys, _ = run_of(page, order="dangerous")
    sha, tag = keys[3]
    back = page.get("/l/library/queue/next", order="dangerous", photo=sha, tag_of=tag).json
    assert back["queue"]["at"] == 3


def test_second_look_shows_nobodys_words(page, running, suggested):
    photo = queries.photos(suggested)[0]
    page.json(
        "/l/library/answer",
        {"photo": photo.sha, "tag": "missing-hanger", "value": "present", "note": "secret"},
    )
    ben = Client(running).enter().name("ben")
    found = ben.get("/l/library/queue/next", order="second-look", at=0).json
    assert found["item"]["sha"] == photo.sha
    assert "secret" not in str(found)
    assert "ann" not in str(found["item"]["questions"])
    question = next(one for one in found["item"]["questions"] if one["tag"] == "missing-hanger")
    assert (question["value"], question["others"], question["machine"]) == (None, [], None)
    given = {"photo": photo.sha, "tag": "missing-hanger", "value": "absent", "asked_by": "second-look"}
    assert "ann said yes" in ben.json("/l/library/answer", given).json["told"]


def test_places_asks_for_my_unmarked_yes_only(page, suggested):
    one, two, three = queries.photos(suggested, "D-17")
    for photo, box in ((one, []), (two, [[0.5, 0.5, 0, 0]])):
        page.json(
            "/l/library/answer",
            {"photo": photo.sha, "tag": "missing-hanger", "value": "present", "boxes": box},
        )
    suggested.say("label", {"photo": three.sha, "tag": "missing-hanger", "value": "present"}, by="ben")
    keys, _ = run_of(page, order="places")
    assert keys == [(one.sha, "missing-hanger")]


def test_unknown_order_deck_or_tag_is_refused(page, suggested):
    for query in ({"order": "random"}, {"tag": "nothing"}, {"at": "9999"}, {"at": "-1", "order": "nope"}):
        assert page.get("/l/library/queue/next", **query).status in (400, 404), query
    assert "no deck" in page.get("/l/library/queue", deck="D-99").text


def test_model_page_without_and_with_a_broken_model(page, library):
    assert "Nothing was trained" in page.get("/l/library/model").text
    library.say("trained", {"model": MODEL, "tags": {}}, by="ann")
    broken = page.get("/l/library/model")
    assert broken.status == 200
    assert "Traceback" not in broken.text


def test_operating_points_agree_with_scikit_learn():
    from triage.train.operating import THRESHOLDS, operating_points
    from triage.train.types import Calibration

    rng = np.random.default_rng(5)
    raw = rng.normal(0, 2, 200)
    present = (rng.random(200) < 1 / (1 + np.exp(-raw))).astype(float)

    class Model:
        calibration = Calibration("raw")
        held_out = {f"{n}": (raw[n], present[n], 1.0) for n in range(200)}  # noqa: RUF012

    chance = 1 / (1 + np.exp(-raw))
    rows = operating_points(Model())
    assert [row["threshold"] for row in rows] == list(THRESHOLDS)
    for row in rows:
        flagged = chance >= row["threshold"]
        assert row["flagged"] == flagged.sum()
        assert row["precision"] == pytest.approx(precision_score(present, flagged))
        assert row["recall"] == pytest.approx(recall_score(present, flagged))


def test_next_step_of_the_first_screen_follows_the_library(page, suggested, library):
    assert "Review one by one</a>" in page.get("/l/library/order").text
    page.form("/new", library="empty")
    assert "Add photos</a>" in page.get("/l/empty/").text


def test_what_would_change_the_order_most_is_what_the_command_says(page, suggested):
    from triage.assess.next_look import next_best_of_library

    text = page.get("/l/library/next").text
    looks = next_best_of_library(suggested, 15)
    assert looks
    for one in looks:
        assert one.deck in text
        if one.kind == "fact":
            assert f"#f-{one.what}" in text
        if one.kind == "label" and one.photo:
            assert f"/l/library/photo/{one.photo}" in text


@pytest.mark.parametrize("order", ["dangerous", "deck"])
def test_a_deck_that_is_found_gives_way_and_no_question_vanishes(page, suggested, order):
    """As in the terminal: its other urgent photos come behind the lists. Other orders stay as they are."""
    keep_lines(suggested, MODEL, {tag: LookLine(tag, 0.1, 0, 0, 0.0) for tag in URGENT})
    page.get("/l/library/queue", order=order)
    keys, first = run_of(page, order=order)
    deck_of = {photo.sha: photo.deck for photo in queries.photos(suggested)}
    at = next(place for place, (_, tag) in enumerate(keys) if tag in URGENT)
    sha, tag = keys[at]
    given = {"photo": sha, "tag": tag, "asked_by": order, "run": {**first["queue"]["run"], "at": at}}
    assert page.json("/l/library/answer", {**given, "value": "absent"}).json["put_off"] == 0
    assert run_of(page, order=order)[0] == keys, "what is not there moves nothing"
    told = page.json("/l/library/answer", {**given, "value": "present"}).json
    now, _ = run_of(page, order=order)
    assert now[: at + 1] == keys[: at + 1], "what was passed keeps its place"
    assert sorted(now) == sorted(keys), "no question vanishes, none comes twice"
    if order != "dangerous":
        assert (told["put_off"], now) == (0, keys)
        return
    others = [key for key in now[at + 1 :] if key[0] != sha]
    mine = [place for place, (photo, _) in enumerate(others) if deck_of[photo] == deck_of[sha]]
    assert told["put_off"] == 2
    assert "its other 2 photos come after the lists" in told["told"]
    assert min(mine) == len(others) - len(mine), "the other deck's photos come first"
    assert page.json("/l/library/answer", {**given, "value": "present"}).json["put_off"] == 0, "once"
    page.get("/l/library/queue", order=order)
    assert sorted(run_of(page, order=order)[0]) == sorted(set(keys) - {(sha, tag)})


def test_a_run_that_is_gone_or_another_photo_at_its_place_moves_nothing(page, suggested):
    keep_lines(suggested, MODEL, {tag: LookLine(tag, 0.1, 0, 0, 0.0) for tag in URGENT})
    keys, first = run_of(page, order="dangerous")
    sha = keys[0][0]
    other = next(place for place, key in enumerate(keys) if key[0] != sha)
    for run in (
        {**first["queue"]["run"], "at": other},
        {"order": "doubtful", "deck": "", "tag": "", "at": 0},
    ):
        given = {"photo": sha, "tag": URGENT[0], "value": "present", "run": run}
        assert page.json("/l/library/answer", given).json["put_off"] == 0
    assert run_of(page, order="dangerous")[0] == keys
    wrong = {"photo": sha, "tag": URGENT[0], "value": "absent", "run": {**first["queue"]["run"], "at": "0"}}
    assert page.json("/l/library/answer", wrong).status == 400


def test_what_the_page_fetched_ahead_of_a_found_deck_is_not_shown_next(browser, running, suggested):
    tag = "side-bolted-beam"
    keep_lines(suggested, MODEL, {one: LookLine(one, 0.1, 0, 0, 0.0) for one in URGENT})
    asked = questions(suggested, by="cy", tags=(tag,), order="dangerous", urgent=URGENT)
    first, second, third = (one.photo for one in asked[:3])
    assert (first.deck, second.deck, third.deck) == ("D-17", "D-17", "D-18"), "the case that is tested"
    visitor = Visitor(browser, running, "cy")
    page = visitor.go(f"/l/library/queue?order=dangerous&tag={tag}")
    expect(page.locator("#where")).to_contain_text(f"1 of 6 · {first.path_name}")
    page.wait_for_load_state("networkidle")
    page.keyboard.press("p")
    expect(page.locator("#where")).to_contain_text(f"2 of 6 · {third.path_name}")
    visitor.said("This deck is found: its other 2 photos come after the lists.")
    visitor.close()
