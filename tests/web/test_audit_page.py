"""The audit on the page shows the figures of the commands, and its open questions can be answered there."""

from __future__ import annotations

import pytest

from tests.web.test_files import start
from triage.audit import agree, missed
from triage.library import queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions


@pytest.fixture
def judged(library, monkeypatch):
    """Two people on the photos of both decks, who disagree on one; a model that calls all photos unlikely."""
    for number, photo in enumerate(queries.photos(library)):
        for by in ("ann", "ben"):
            value = "present" if number % 2 and (number != 1 or by == "ann") else "absent"
            library.say("label", {"photo": photo.sha, "tag": "missing-hanger", "value": value}, by=by)
    monkeypatch.setattr("triage.audit.of_library._promises", lambda _library: {})  # no model file is here
    model = "m" * 64
    library.say("trained", {"model": model, "tags": {}}, by="ann")
    keep_suggestions(
        library,
        [
            Suggestion(photo.sha, "rusted-connector", model, 0.01, 0.01, "unlikely")
            for photo in queries.photos(library)
        ],
    )
    return library


def test_agreement_is_the_one_of_the_command(page, running, judged):
    start(page, running, "agree")
    row = agree(judged)["missing-hanger"]
    text = page.get("/l/library/audit").text
    assert "1 dispute to settle" in text
    assert f"{100 * row.observed:.1f} %" in text
    assert f"{row.alpha:.2f}" in text
    assert row.low is None  # two decks are too few for an interval
    assert "5 decks or more" in text


def test_doubts_are_listed_with_their_photos(page, running, judged):
    from triage.audit import doubts
    from triage.ingest.moving import move

    move(judged, [queries.photos(judged, "D-17")[0], queries.photos(judged, "D-18")[1]], "D-19", by="ann")
    job = start(page, running, "doubts", tag="missing-hanger")
    found = doubts(judged, ["missing-hanger"])
    assert job.told.lines == [f"{found.compared} labels compared; {len(found.ranked)} to look at again."]
    text = page.get("/l/library/audit").text
    for one in found.ranked:
        assert f"photo/{one.photo}" in text


def test_sample_can_be_drawn_again_from_its_seed(page, running, judged):
    start(page, running, "sample", confidence="95", margin="40", seed="7")
    first = page.get("/l/library/audit").text
    assert "seed 7" in first
    start(page, running, "sample", confidence="95", margin="40", seed="7")
    second = page.get("/l/library/audit").text
    part = [text[text.index('id="sample"') : text.index('id="missed"')] for text in (first, second)]
    assert part[0] == part[1]
    assert page.form("/l/library/work/start", kind="sample", confidence="lots").status == 400


def test_audit_of_missed_defects_asks_takes_answers_and_ends(page, running, judged):
    start(page, running, "missed", seed="9", n="4", tag="rusted-connector")
    text = page.get("/l/library/audit").text
    (draw,) = judged.events("audit-drawn")  # whole decks are drawn, and the draw is on record first
    drawn = sum(len(queries.photos(judged, deck)) for deck in draw.payload["decks"])
    assert f"Answer the {drawn} questions left" in text
    assert page.get("/l/library/audit/sheet").text.count("rusted-connector") == drawn
    seen = []
    for _ in range(drawn):
        run = page.get("/l/library/queue", order="audit")
        assert "kept back" not in run.text
        one = page.get("/l/library/queue/next", order="audit", at=0).json
        assert (one["queue"]["tag"], one["queue"]["asked_by"]) == ("rusted-connector", "audit")
        assert not one["queue"]["machine"], "the machine's word is not shown first"
        seen.append(one["item"]["sha"])
        given = {"photo": seen[-1], "tag": "rusted-connector", "value": "absent", "asked_by": "audit"}
        assert page.json("/l/library/answer", given).status == 200
    assert len(set(seen)) == drawn >= 4
    start(page, running, "missed", seed="9", n="4", tag="rusted-connector")
    (row,) = missed(judged, 4, seed="9", tags=["rusted-connector"], record=False).values()
    assert row.drawn == drawn
    text = page.get("/l/library/audit").text
    assert f"(0.0 % to {100 * row.high:.1f} %)" in text
    assert [event.payload["tag"] for event in judged.events("audited")] == ["rusted-connector"]


def test_audit_without_a_model_or_a_second_person_says_so(page, running, library):
    page.form("/l/library/work/start", kind="agree")
    ends = 0
    while running.site.jobs.running("library") is not None and ends < 200:
        ends += 1
        import time

        time.sleep(0.05)
    job = running.site.jobs.last("library")[0]
    assert job.state == "failed"
    assert "no model yet" in page.get("/l/library/audit").text
    assert page.get("/l/library/audit/sheet").status == 400
    assert page.get("/l/library/queue", order="audit").status == 200


def test_a_withdrawal_is_lifted_with_a_reason_and_stands_in_the_register(page, judged):
    said = {"tag": "rusted-connector", "model": "m" * 64, "seed": "7", "contradicts": True}
    judged.say("audited", said, by="ann")
    assert "Lift it, because" in page.get("/l/library/audit").text
    assert page.form("/l/library/audit/lift", tag="rusted-connector", why=" ").status == 400
    assert page.form("/l/library/audit/lift", tag="rusted-connector", why="one builder only").status == 303
    assert "Lift it, because" not in page.get("/l/library/audit").text
    text = page.get("/l/library/audit/register").text
    assert "withdrawal of a promise lifted" in text
    assert "one builder only" not in text
    assert "one builder only" in page.get("/l/library/audit/register", names="1").text
    assert "one builder only" not in page.get("/l/library/audit/register/register.csv").text
    assert "Head of the log" in page.get("/l/library/audit/register/register.html").text
    assert page.get("/l/library/audit/register/else.csv").status == 400


def test_a_name_spelled_otherwise_is_asked_about_before_anything_is_stored(page, judged):
    before = queries.event_count(judged)
    page.form("/who", name="ANN", next="/l/library/")
    fact = {"deck": "D-17", "fact.joist_size": "2x8"}
    asked = page.form("/l/library/deck/facts", **fact)
    assert asked.status == 403
    assert "One person: ann" in asked.text
    assert queries.event_count(judged) == before
    answer = {"known": "ann", "name": "ANN", "next": "/l/library/deck/facts?d=D-17"}
    assert page.form("/l/library/people", **answer).status == 400
    assert page.form("/l/library/people", **answer, same="yes").status == 303
    assert page.form("/l/library/deck/facts", **fact).status == 303
    assert queries.facts(judged, "D-17")["joist_size"].by == "ann"
