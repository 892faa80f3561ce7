"""The list of decks: search, filters, order, disputes; steps and pictures of a firm's own tags."""

from __future__ import annotations

import re

from common import ROOT
from PIL import Image

from triage.label.tags import add_tags
from triage.library import queries
from triage.web.items import tags_json


def names(page, **query):
    text = page.get("/l/library/order", **query).text
    return re.findall(r'class="named"><a[^>]*><bdi>([^<]+)</bdi>', text)


def test_the_list_is_searched_filtered_and_sorted(page, library):
    photo = queries.photos(library, "D-18")[0]
    for by, value in (("ann", "present"), ("ben", "absent")):
        library.say("label", {"photo": photo.sha, "tag": "missing-hanger", "value": value}, by=by)
    assert sorted(names(page)) == ["D-17", "D-18"]
    assert names(page, q="18") == ["D-18"]
    assert names(page, only="disputed") == ["D-18"]
    assert names(page, sort="name") == ["D-17", "D-18"]
    assert names(page, q="none like this") == []
    text = page.get("/l/library/order").text
    assert "People disagree on 1 answer." in text
    assert "1 dispute" in text


def test_a_switch_leads_from_danger_to_where_to_look_first(page, library):
    from triage.assess.cache.lines import standings

    photo = queries.photos(library, "D-17")[0]
    library.say("label", {"photo": photo.sha, "tag": "missing-hanger", "value": "present"}, by="ann")
    for deck, height_ft in (("D-17", 2.0), ("D-18", 14.0)):
        said = {"deck": deck, "visit": "2026-05-04", "key": "height_above_grade_ft", "value": height_ft}
        library.say("fact", said, by="ann")
    for order in ("danger", "look"):
        assert names(page, order=order) == [line.deck for line in standings(library, order=order).lines]
    assert names(page) == ["D-17", "D-18"], "a missing hanger, low above the ground"
    assert names(page, order="look") == ["D-18", "D-17"], "nothing known, high above it"
    text = page.get("/l/library/order", order="look").text
    assert re.search(r'order=look"[^>]*aria-current="true">Go and see first', text)
    assert 'name="order" value="look"' in text, "a search keeps the order"
    assert "Show all" not in text


def test_a_long_name_stays_in_its_column(page, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    name = "the deck behind the garage of the invented Applewood Court apartments " * 2
    photo_maker(tmp_path / "x" / "p.jpg", seed=4)
    ingest(library, [tmp_path / "x"], by="ann", deck=name.strip(), engine="here")
    assert name.strip() in names(page)
    before = page.get("/l/library/deck", d=name.strip()).text
    assert 'aria-label="Previous deck: D-18"' in before


def test_own_tag_with_pictures_becomes_a_step_of_every_deck(page, library, tmp_path):
    Image.new("RGB", (900, 600), (200, 30, 30)).save(tmp_path / "is.png")
    (tmp_path / "own.toml").write_text(
        '[[tag]]\ntag = "loose-handrail"\nkind = "defect"\nelement = "stair"\n'
        'definition = "The handrail moves by hand."\npicture = "is.png"\n'
    )
    add_tags(library, tmp_path / "own.toml")
    (tmp_path / "is.png").unlink()
    shown = page.get("/l/library/tagpicture/loose-handrail/is")
    assert (shown.status, shown.headers["content-type"]) == (200, "image/jpeg")
    assert page.get("/l/library/tagpicture/loose-handrail/not").status == 404
    assert "Pictures of your own" in page.get("/l/library/tags").text
    assert "Loose handrail" not in page.get("/l/library/deck", d="D-17").text
    page.form("/l/library/tags/step", tag="loose-handrail", on="yes")
    assert "Loose handrail" in page.get("/l/library/deck", d="D-17").text
    page.form("/l/library/tags/step", tag="loose-handrail", on="no")
    assert "Loose handrail" not in page.get("/l/library/deck", d="D-17").text


def test_core_tags_and_those_that_decks_were_drawn_with_have_two_rendered_pictures(page, library):
    text = page.get("/l/library/tags").text
    static = ROOT / "triage" / "web" / "static"
    names = (file.name for file in static.glob("example-*-is.jpg"))
    shown = {name.removeprefix("example-").removesuffix("-is.jpg") for name in names}
    drawn = {tag for tag in shown if not tag.startswith("shows-")}
    core = library.vocabulary().core
    assert drawn > set(core)
    for tag in drawn:
        assert re.search(rf"example-{tag}-is\.jpg", text), tag
        assert re.search(rf"example-{tag}-not\.jpg", text), tag
    assert "Shows it too poorly to judge: cannot tell" in text
    assert "Rendered pictures of invented decks." in text
    without = [one for one in tags_json(library.vocabulary(), library).values() if not one["examples"]]
    assert without, "no picture claims to show what no deck was drawn with"
    assert all("go by the words" in one["no_picture"] for one in without)


def test_what_hangs_on_a_part_that_does_not_show_is_answered_by_one_click(page, library):
    """Only where the part is said not to show, without dispute; kept as such; an answer of anybody stays."""
    one, two, three = (photo.sha for photo in queries.photos(library, "D-17"))
    for sha, value in ((one, "present"), (two, "absent"), (three, "absent")):
        library.say("label", {"photo": sha, "tag": "shows-hanger", "value": value}, by="ann")
    library.say("label", {"photo": three, "tag": "shows-hanger", "value": "present"}, by="ben")
    page.json("/l/library/parts/rest", {"deck": "D-17", "photos": [one, two, three], "hanging": True})
    said = {label.photo: label for label in queries.labels(library, tag="missing-hanger")}
    assert set(said) == {two}
    assert said[two].value == "absent"
    assert said[two].note == "By the part: the photo does not show the hanger."
    page.json("/l/library/undo", {})
    assert queries.labels(library, tag="missing-hanger") == []


def test_by_part_is_refused_where_the_part_shows(page, library):
    sha = queries.photos(library, "D-17")[0].sha
    library.say("label", {"photo": sha, "tag": "shows-hanger", "value": "present"}, by="ben")
    answers = [{"photo": sha, "value": "absent", "by_part": True}]
    done = page.json("/l/library/looked", {"deck": "D-17", "tag": "missing-hanger", "answers": answers})
    assert done.status == 400
    assert queries.labels(library, tag="missing-hanger") == []
