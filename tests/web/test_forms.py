"""Facts, findings, acts, disputes, moves: every form stores what the command would store."""

from __future__ import annotations

import html
import re
from urllib.parse import urlencode

import pytest

from triage.ingest.moving import move
from triage.library import queries
from triage.report.fact_words import length_words
from triage.structure import run_checks


def test_facts_are_stored_with_units_and_checked(page, library):
    done = page.form(
        "/l/library/deck/facts",
        **{
            "deck": "D-17",
            "fact.joist_size": "2x8",
            "fact.joist_span_ft": "10 ft 6 in",
            "fact.joist_spacing_in": "16",
            "fact.species": "southern-pine",
            "fact.attached": "true",
            "fact.concealed": ["", "flashing", "ledger"],
        },
    )
    assert done.status == 303
    facts = {key: fact.value for key, fact in queries.facts(library, "D-17").items()}
    assert facts["joist_span_ft"] == 10.5
    assert facts["attached"] is True
    assert list(facts["concealed"]) == ["flashing", "ledger"]
    assert {fact.visit for fact in queries.facts(library, "D-17").values()} == {"2026-05-04"}
    text = page.get("/l/library/deck/facts", d="D-17").text
    assert "6 facts stored" in text
    assert "6 facts stored" not in page.get("/l/library/deck/facts", d="D-17").text
    span = next(check for check in run_checks(facts) if check.check == "joist-span")
    assert f"Joist span: {span.verdict}" in text
    assert f"10 ft 6 in of {length_words(span.capacity)}" in text
    first = re.search(r'<p class="lead">(.*?)</p>', text[text.index("Checks</h2>") :])[1]
    assert "cannot be said yet" in first
    verdicts = re.findall(r'class="check check-([a-z-]+)"', text)
    assert verdicts == sorted(verdicts, key=("over", "cannot-say", "within").index)


def test_only_changed_facts_are_told_and_an_emptied_one_is_taken_away(page, library):
    form = {"deck": "D-17", "fact.joist_size": "2x8", "fact.joist_span_ft": "10.5"}
    page.form("/l/library/deck/facts", **form)
    before = queries.event_count(library)
    page.form("/l/library/deck/facts", **form)
    assert queries.event_count(library) == before
    page.form("/l/library/deck/facts", **{**form, "fact.joist_size": ""})
    assert set(queries.facts(library, "D-17")) == {"joist_span_ft"}


def test_wrong_fact_stores_nothing_and_keeps_what_was_typed(page, library):
    before = library.head()
    done = page.form(
        "/l/library/deck/facts", **{"deck": "D-17", "fact.joist_size": "2x8", "fact.joist_span_ft": "lots"}
    )
    assert done.status == 400
    assert "joist_span_ft" in done.text
    assert 'value="lots"' in done.text
    assert 'value="2x8"' in done.text
    assert library.head() == before
    assert page.form("/l/library/deck/facts", **{"deck": "D-17", "fact.nonsense": "1"}).status == 400


def test_missing_facts_are_linked_to_their_fields(page):
    page.form("/l/library/deck/facts", **{"deck": "D-17", "fact.joist_size": "2x8"})
    text = page.get("/l/library/deck/facts", d="D-17").text
    for key in re.findall(r'href="#f-([a-z_]+)"', text):
        assert f'id="f-{key}"' in text or f'name="fact.{key}"' in text
    assert "asked for" in text


def test_finding_tier_private_and_warning(page, library):
    one = queries.photos(library, "D-17")[0]
    page.form(
        "/l/library/deck/finding",
        deck="D-17",
        tier="stop-use",
        text="ledger moves",
        how="probed",
        place="left",
        photo=[one.sha],
    )
    (finding,) = queries.findings(library, "D-17")
    assert (finding.tier, finding.text, finding.how, finding.photos, finding.by) == (
        "stop-use",
        "ledger moves",
        "probed",
        (one.sha,),
        "ann",
    )
    page.form("/l/library/deck/tier", deck="D-17", tier="watch", why="propped")
    assert queries.person_tier(library, "D-17").why == "propped"
    page.form("/l/library/deck/private", deck="D-17", address="1 Invented Way", client="")
    assert queries.deck_private(library, "D-17") == {"address": "1 Invented Way"}
    page.form("/l/library/deck/warn", deck="D-17", who="the owner", how="by telephone", at="2026-05-04T16:30")
    assert queries.warnings(library, "D-17")[0].told == "the owner"
    refused = page.form("/l/library/deck/lift", deck="D-17", why="new ledger", after=one.sha)
    assert refused.status == 400
    assert "still open at stop-use" in refused.text
    assert queries.lifts(library, "D-17") == []
    text = page.get("/l/library/deck/say", d="D-17").text
    for words in ("ledger moves", "propped", "the owner"):
        assert words in text
    assert "1 Invented Way" not in page.get("/l/library/deck/summary", d="D-17").text


def test_last_act_is_taken_back_whatever_it_was(page, library):
    page.form("/l/library/deck/finding", deck="D-17", tier="watch", text="it creaks", how="seen")
    page.form("/l/library/deck/facts", **{"deck": "D-17", "fact.joist_size": "2x8"})
    for left, told in ((1, "Took back facts"), (0, "Took back a finding")):
        assert page.form("/l/library/deck/undo", deck="D-17").status == 303
        assert told in page.get("/l/library/deck/history", d="D-17").text
        assert (len(queries.findings(library, "D-17")), len(queries.facts(library, "D-17"))) == (left, 0)
    assert page.form("/l/library/deck/undo", deck="D-17").status == 400


def test_concern_is_closed_with_photos_before_and_after(page, library):
    one, two, _ = queries.photos(library, "D-17")
    page.json(
        "/l/library/answer",
        {"photo": one.sha, "tag": "missing-hanger", "value": "present", "place": "joist 4"},
    )
    text = page.get("/l/library/deck/say", d="D-17").text
    where = html.unescape(re.search(r'href="([^"]+deck/closing[^"]+)"', text).group(1))
    rule = re.search(r"rule=([^&]+)", where).group(1)
    side = page.ask("GET", where).text
    assert f'value="{one.sha}" checked' in side  # the evidence stands on the left, nothing on the right yet
    assert side.count('" checked>') == 1
    same = page.form(
        "/l/library/deck/close",
        deck="D-17",
        rule=rule,
        place="joist 4",
        before=one.sha,
        after=one.sha,
        why="x",
    )
    assert same.status == 400
    assert "the same photo" in same.text
    move(library, [two], "D-17", by="ann", visit="2026-09-01")
    for tag, value in (("missing-hanger", "absent"), ("shows-hanger", "present")):
        page.json("/l/library/answer", {"photo": two.sha, "tag": tag, "value": value, "place": "joist 4"})
    done = page.form(
        "/l/library/deck/close",
        deck="D-17",
        rule=rule,
        place="joist 4",
        before=one.sha,
        after=two.sha,
        why="hung",
    )
    assert done.status == 303, done.text
    assert queries.closings(library, "D-17")[0].rule == rule
    assert page.ask("GET", where).status == 400  # it is not open any more


def test_forms_refuse_what_is_missing(page, library):
    before = library.head()
    one = queries.photos(library, "D-17")[0]
    for act, fields in (
        ("finding", {"tier": "watch"}),
        ("finding", {"tier": "awful", "text": "x"}),
        ("tier", {"tier": "watch"}),
        ("warn", {"who": "x", "how": "y", "at": "yesterday"}),
        ("lift", {"why": "x"}),
        ("close", {"rule": "x"}),
        ("finding", {"tier": "watch", "text": "x", "photo": "0" * 64}),
        ("finding", {"tier": "watch", "text": "x" * 5000}),
        ("lift", {"why": "x", "after": queries.photos(library, "D-18")[0].sha}),
        ("move", {"to": "D-19"}),
        ("forget", {"photos": one.sha}),
        ("finding", {"tier": "watch", "text": "x", "visit": "May"}),
    ):
        assert page.form(f"/l/library/deck/{act}", deck="D-17", **fields).status in (400, 404), (act, fields)
    assert library.head() == before


def test_chosen_photos_are_moved_and_undone(page, library):
    one, two, _ = (photo.sha for photo in queries.photos(library, "D-17"))
    done = page.form("/l/library/deck/move", deck="D-17", to="D-19", photos=f"{one},{two}")
    assert done.status == 303
    assert {photo.sha for photo in queries.photos(library, "D-19")} == {one, two}
    assert "2 photos moved to D-19" in page.get("/l/library/deck", d="D-17").text
    page.json("/l/library/undo", {})
    assert len(queries.photos(library, "D-17")) == 3


def test_removing_needs_the_tick_and_is_for_good(page, library):
    one = queries.photos(library, "D-17")[0].sha
    page.form("/l/library/deck/forget", deck="D-17", photos=one, sure="yes")
    assert one not in {photo.sha for photo in queries.photos(library)}


def test_dispute_is_listed_and_settled(page, library):
    one = queries.photos(library, "D-17")[0].sha
    assert "Nobody disagrees" in page.get("/l/library/disputes").text
    library.say("label", {"photo": one, "tag": "missing-hanger", "value": "present"}, by="ben")
    page.json("/l/library/answer", {"photo": one, "tag": "missing-hanger", "value": "absent"})
    text = page.get("/l/library/disputes").text
    assert "1 dispute" in text
    assert "ben" in text
    page.form(
        "/l/library/disputes/settle", photo=one, tag="missing-hanger", value="present", why="toe nails only"
    )
    assert queries.words(library)[one, "missing-hanger"].settled
    assert "Nobody disagrees" in page.get("/l/library/disputes").text
    page.json("/l/library/answer", {"photo": one, "tag": "missing-hanger", "value": "absent"})
    assert "1 dispute" in page.get("/l/library/disputes").text


def test_the_facts_form_shows_the_short_sheet_first_in_words_and_units(page, library):
    from triage.structure.site_sheet import more_lines, short_lines

    text = page.get("/l/library/deck/facts", d="D-17").text
    places = [text.index(f'name="fact.{line.key.key}"') for line in short_lines()]
    assert places == sorted(places)
    assert max(places) < text.index("<h3>More</h3>")
    assert all(text.index(f'name="fact.{line.key.key}"') > max(places) for line in more_lines())
    done = page.form("/l/library/deck/facts", **{"deck": "D-17", "fact.height_above_grade_ft": "9' 6\""})
    assert done.status == 303
    assert queries.facts(library, "D-17")["height_above_grade_ft"].value == 9.5


def in_place(page, where, **fields):
    """Send a form as the page's own script does: the answer says where to go, or what is wrong where."""
    return page.ask(
        "POST",
        where,
        urlencode(fields, doseq=True).encode(),
        {"Content-Type": "application/x-www-form-urlencoded", "X-Form": "fields"},
    )


REPORT_FIELDS = {"signer", "scope", "limits", "weather", "amends"}


@pytest.mark.parametrize(
    ("where", "fields", "wrong"),
    [
        ("deck/finding", {"text": "", "tier": "", "visit": "May"}, {"text", "tier", "visit"}),
        ("deck/tier", {"tier": "bad", "why": ""}, {"tier", "why"}),
        ("deck/warn", {"who": "", "how": "", "at": "noon"}, {"who", "how", "at"}),
        ("deck/close", {"rule": "hanger-missing", "place": ""}, {"before", "after", "place", "why"}),
        ("deck/move", {"to": "", "visit": "May", "photos": "x"}, {"to", "visit"}),
        ("work/start", {"kind": "report", "issue": "1", "amends": "7"}, REPORT_FIELDS),
        ("work/start", {"kind": "sample", "confidence": "lots", "margin": "x"}, {"confidence", "margin"}),
        ("work/start", {"kind": "export", "as": "csv", "split": "70 20"}, {"split"}),
        ("work/start", {"kind": "cards", "visit": "May"}, {"more", "visit"}),
        ("waiting/sort", {"to": "", "visit": "May"}, {"to", "visit"}),
        ("tags/add", {"tag": "Loose Rail", "kind": "defect", "definition": "x"}, {"tag"}),
    ],
)  # fmt: skip
def test_every_wrong_value_is_said_at_its_field(page, library, where, fields, wrong):
    before = library.head()
    done = in_place(page, f"/l/library/{where}", deck="D-17", **fields)
    assert done.status == 400
    assert set(done.json["fields"]) == wrong
    assert all(words and "deck-triage" not in words for words in done.json["fields"].values())
    assert library.head() == before


def test_a_form_that_is_taken_says_where_to_go(page):
    done = in_place(page, "/l/library/deck/tier", deck="D-17", tier="watch", why="It bounces.")
    assert (done.status, done.json) == (200, {"where": "/l/library/deck/say?d=D-17"})
