"""Element by element: acts on a selection, each stored as the commands would, undone as a whole."""

from __future__ import annotations

from triage.domain.vocabulary import SHOWS
from triage.library import queries


def shas(library, deck="D-17"):
    return [photo.sha for photo in queries.photos(library, deck)]


def test_these_show_hangers_is_one_act(page, library):
    one, two, three = shas(library)
    given = {
        "deck": "D-17",
        "element": "hanger",
        "value": "present",
        "photos": [one, two],
        "count": 3,
        "place": "left end",
    }
    told = page.json("/l/library/parts", given).json
    assert told["told"] == "2 photos show the hanger."
    assert set(told["captions"]) == {one, two, three}
    rows = {label.photo: label for label in queries.labels(library, tag="shows-hanger")}
    assert {(sha, row.value, row.count, row.place, row.asked_by) for sha, row in rows.items()} == {
        (one, "present", 3, "left end", "deck"),
        (two, "present", 3, "left end", "deck"),
    }
    page.json("/l/library/undo", {})
    assert queries.labels(library) == []


def test_rest_answers_parts_only_and_overwrites_nobody(page, library):
    one, two, three = shas(library)
    page.json("/l/library/parts", {"deck": "D-17", "element": "hanger", "value": "present", "photos": [one]})
    library.say("label", {"photo": two, "tag": "shows-ledger", "value": "unclear"}, by="ben")
    page.json("/l/library/parts/rest", {"deck": "D-17", "photos": [one, two, three]})
    words = queries.words(library, "D-17")
    assert words[one, "shows-hanger"].value == "present"
    assert words[two, "shows-ledger"].value == "unclear"
    assert words[three, "shows-hanger"].value == "absent"
    assert all(tag.startswith(SHOWS) for _, tag in words), "no defect is answered by marking parts"


def test_rest_is_refused_when_photos_came_in_meanwhile(page, library):
    before = library.head()
    done = page.json("/l/library/parts/rest", {"deck": "D-17", "photos": shas(library)[:2]})
    assert done.status == 400
    assert "changed meanwhile" in done.json["error"]
    assert library.head() == before


def test_looked_at_all_missing_in_this_one(page, library):
    one, two, three = shas(library)
    answers = [
        {"photo": one, "value": "absent", "boxes": []},
        {"photo": two, "value": "present", "boxes": [[0.4, 0.4, 0, 0], [0.1, 0.1, 0.2, 0.3]]},
        {"photo": three, "value": "unclear", "boxes": []},
    ]
    told = page.json("/l/library/looked", {"deck": "D-17", "tag": "missing-hanger", "answers": answers}).json
    assert told["told"] == "Looked at 3: 1 yes, 1 no, 1 cannot tell."
    assert told["open"] == 0, "'cannot tell' is an answer: nobody is led back to it"
    assert "tag=" in told["next"]
    rows = {label.photo: label for label in queries.labels(library)}
    assert {sha: row.value for sha, row in rows.items()} == {one: "absent", two: "present", three: "unclear"}
    assert rows[two].boxes == ((0.4, 0.4, 0.0, 0.0), (0.1, 0.1, 0.2, 0.3))
    assert {(row.asked_by, row.saw_machine, row.by) for row in rows.values()} == {("deck", False, "ann")}
    page.json("/l/library/undo", {})
    assert queries.labels(library) == []


def test_absent_never_spreads_to_a_photo_that_was_not_named(page, library):
    one, two, _ = shas(library)
    page.json(
        "/l/library/looked",
        {"deck": "D-17", "tag": "missing-hanger", "answers": [{"photo": one, "value": "absent"}]},
    )
    assert {label.photo for label in queries.labels(library)} == {one}
    assert (two, "missing-hanger") not in queries.words(library)


def test_looked_refuses_what_does_not_fit(page, library):
    one, *_ = shas(library)
    foreign = shas(library, "D-18")[0]
    before = library.head()
    bad = [
        {"answers": []},
        {"answers": "all"},
        {"answers": [1]},
        {"answers": [{"photo": foreign, "value": "absent"}]},
        {"answers": [{"photo": one, "value": "absent", "boxes": [[0.1, 0.1, 0, 0]]}]},
        {"answers": [{"photo": one, "value": "fine"}]},
        {"answers": [{"photo": one}, {"photo": one}]},
        {"answers": [{"photo": one, "value": "absent"}], "tag": "nothing"},
        {"answers": [{"photo": one, "value": "absent"}], "deck": "D-99"},
    ]
    for more in bad:
        done = page.json("/l/library/looked", {"deck": "D-17", "tag": "missing-hanger", **more})
        assert done.status in (400, 404), more
    assert library.head() == before


def test_close_look_shows_marked_photos_first_and_no_machine(page, library):
    one, two, three = shas(library)
    page.json(
        "/l/library/parts", {"deck": "D-17", "element": "hanger", "value": "present", "photos": [three]}
    )
    text = page.get("/l/library/look", d="D-17", tag="missing-hanger").text
    assert text.index(three) < text.index(one) < text.index(two)
    assert "1 photo that show" in text
    assert "probability" not in text


def test_dispute_made_by_a_close_look_is_told(page, library):
    one, *_ = shas(library)
    library.say("label", {"photo": one, "tag": "missing-hanger", "value": "present"}, by="ben")
    given = {"deck": "D-17", "tag": "missing-hanger", "answers": [{"photo": one, "value": "absent"}]}
    assert "On 1 photo people disagree" in page.json("/l/library/looked", given).json["told"]


def test_deck_that_is_answered_leads_to_its_summary_and_the_next_deck(page, library):
    core = library.vocabulary().core
    for tag in core:
        answers = [{"photo": sha, "value": "unclear", "boxes": []} for sha in shas(library)]
        told = page.json("/l/library/looked", {"deck": "D-17", "tag": tag, "answers": answers}).json
        assert ("tag=" in told["next"]) == (tag != core[-1] or bool(told["open"])), told
    text = page.get("/l/library/deck/summary", d="D-17").text
    assert "Next deck with open questions: <bdi>D-18</bdi>" in text
    for sha in (photo.sha for photo in queries.photos(library, "D-18")):
        for tag in core:
            page.json("/l/library/answer", {"photo": sha, "tag": tag, "value": "absent"})
    page.get("/l/library/deck/summary", d="D-18")
    assert "Next deck with open questions" not in page.get("/l/library/deck/summary", d="D-17").text
