"""Lists in and out, open formats, cards, other libraries and tags: the page does what the commands do."""

from __future__ import annotations

import io
import json
import re
import time
import zipfile
from urllib.parse import quote

import pytest
from common import answer_everything
from playwright.sync_api import expect

from triage.library import Library, queries

CSV = "text/csv; charset=utf-8"


def send(page, kind, name, data, *, mapping=None, dry=False):
    """Send a list as the page's script does."""
    upload = page.json("/l/library/files/begin", {}).json["upload"]
    for file, content in ((name, data), *((("map.toml", mapping),) if mapping else ())):
        put = page.ask("POST", f"/l/library/files/{upload}/file?name={quote(file)}", content.encode())
        if put.status != 200:
            return put
    given = {
        "upload": upload,
        "kind": kind,
        "name": name,
        "mapping": "map.toml" if mapping else "",
        "try": dry,
    }
    return page.json("/l/library/files/take", given)


def start(page, running, kind, **fields):
    """Start a job by its form and wait for its end."""
    assert page.form("/l/library/work/start", kind=kind, **fields).status == 303
    job = running.site.jobs.last("library")[0]
    ends = time.monotonic() + 60
    while job.state == "running" and time.monotonic() < ends:
        time.sleep(0.05)
    assert job.state == "done", job.told.lines
    return job


def test_labels_are_taken_in_once_and_come_out_again(page, library, tmp_path):
    text = (
        "photo,deck,tag,value\nIMG_0410.jpg,D-17,missing-hanger,present\nIMG_0411.jpg,D-17,nonsense,absent\n"
    )
    tried = send(page, "labels", "mine.csv", text, dry=True).json
    assert "1 new" in tried["told"]
    assert "nothing was stored" in tried["told"]
    assert queries.labels(library) == []
    told = send(page, "labels", "mine.csv", text).json
    assert "2 rows: 1 new, 0 known, 1 set aside." in told["told"]
    (why,) = told["set_aside"]
    assert why.startswith("Row 3: ")
    assert "nonsense" in why
    assert "1 known" in send(page, "labels", "mine.csv", text).json["told"]
    (label,) = queries.labels(library)
    assert (label.tag, label.value, label.by) == ("missing-hanger", "present", "ann")
    out = page.get("/l/library/files/labels.csv")
    assert (out.headers["content-type"], out.text.count("\n")) == (CSV, 2)
    assert "attachment" in out.headers["content-disposition"]
    assert "0 set aside" in send(page, "labels", "out.csv", out.text).json["told"]
    assert [(one.photo, one.value, one.by) for one in queries.labels(library)] == [
        (label.photo, "present", "ann")
    ]
    assert not list((library.caches / "uploads").iterdir()), "a list that was read is not kept"


def test_categories_of_another_tool_are_mapped(page, library):
    photo = queries.photos(library, "D-17")[0]
    coco = {
        "images": [{"id": 1, "file_name": photo.path_name, "width": photo.width, "height": photo.height}],
        "categories": [{"id": 1, "name": "no hanger"}],
        "annotations": [{"id": 1, "image_id": 1, "category_id": 1, "bbox": [10, 10, 50, 40]}],
    }
    mapping = '[categories]\n"no hanger" = "missing-hanger"\n'
    told = send(page, "labels", "coco.json", json.dumps(coco), mapping=mapping)
    assert "1 new" in told.json["told"], told.text
    assert queries.labels(library)[0].tag == "missing-hanger"


def test_facts_go_round(page, library):
    text = (
        'deck,visit,key,value\nD-17,2026-05-04,joist_size,2x8\nD-17,2026-05-04,concealed,"flashing, ledger"\n'
    )
    assert "2 facts for 1 deck" in send(page, "facts", "facts.csv", text).json["told"]
    before = {key: fact.value for key, fact in queries.facts(library, "D-17").items()}
    assert before["joist_size"] == "2x8"
    out = page.get("/l/library/files/facts.csv").text
    events = queries.event_count(library)
    send(page, "facts", "again.csv", out)
    assert queries.event_count(library) == events
    assert {key: fact.value for key, fact in queries.facts(library, "D-17").items()} == before


def test_crews_sheet_goes_out_and_back(page, library):
    sha = queries.photos(library, "D-17")[0].sha
    page.json(
        "/l/library/answer", {"photo": sha, "tag": "missing-hanger", "value": "present", "place": "joist 4"}
    )
    out = page.get("/l/library/files/repairs.csv").text
    assert "joist 4" in out
    told = send(page, "repairs", "crew.csv", out)
    assert told.status == 200, told.text
    assert not queries.closings(library, "D-17"), "a sheet closes nothing"


def test_what_is_no_list_is_refused_without_a_path_of_this_machine(page, library, tmp_path):
    head = library.head()
    for kind, name, data in (
        ("labels", "x.csv", "no,such,columns\n1,2,3\n"),
        ("labels", "x.json", "{"),
        ("facts", "x.toml", "nonsense = ["),
        ("facts", "x.csv", "deck,key,value\nD-17,joist_size,99x99\n"),
        ("tags", "x.toml", '[[tag]]\ntag = "Bad Name"\n'),
        ("nothing", "x.csv", "a\n"),
        ("labels", "../../evil.csv", "a\n"),
        ("labels", "photo.exe", "a\n"),
    ):
        done = send(page, kind, name, data)
        assert done.status == 400, (kind, name)
        assert str(tmp_path) not in done.text
    assert (
        page.json("/l/library/files/take", {"upload": "0" * 16, "kind": "labels", "name": "a.csv"}).status
        == 400
    )
    assert page.get("/l/library/files/passwords.csv").status == 400
    assert library.head() == head


def test_library_is_exported_as_one_zip(page, running, library):
    job = start(page, running, "export", **{"as": "coco", "split": "50 50", "seed": "7", "pseudonyms": "1"})
    assert "Split by seed 7" in job.told.lines[0]
    done = page.ask("GET", job.told.where)
    assert done.headers["content-type"] == "application/zip"
    names = zipfile.ZipFile(io.BytesIO(done.body)).namelist()
    assert any(name.endswith(".json") for name in names)
    assert sum(name.endswith(".jpg") for name in names) == 6
    assert page.form("/l/library/work/start", kind="export", **{"as": "csv", "split": "a b"}).status == 400


def test_cards_of_known_and_new_decks_are_drawn(page, running, library):
    job = start(page, running, "cards", decks="D-17", more="D-99\n", paper="a4", closing="1")
    done = page.ask("GET", job.told.where)
    assert done.body.startswith(b"%PDF")
    assert "4 cards" in job.told.lines[0]
    assert page.form("/l/library/work/start", kind="cards").status == 400


def test_another_library_is_taken_over(page, running, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    photo_maker(tmp_path / "more" / "E-1" / "a.jpg", seed=4711)
    with Library.create(tmp_path / "other") as other:
        ingest(other, [tmp_path / "more"], by="ben", engine="here")
    assert "other" in page.get("/l/library/files").text
    start(page, running, "merge", other="other")
    assert "E-1" in queries.decks(library)
    assert page.form("/l/library/work/start", kind="merge", other="library").status == 400
    assert page.form("/l/library/work/start", kind="merge", other="../other").status in (400, 404)


def test_own_tag_is_added_by_its_form_and_checked(page, library):
    good = {"tag": "loose-handrail", "kind": "defect", "element": "guard", "definition": "It moves by hand."}
    assert page.form("/l/library/tags/add", **good).status == 303
    assert library.vocabulary().tags["loose-handrail"].element == "guard"
    assert "It moves by hand." in page.get("/l/library/tags").text
    assert page.form("/l/library/tags/add", **good).status == 303  # the same one is there already
    for wrong in ({"tag": "Loose Rail"}, {"definition": "Something else."}, {"element": "roof"}):
        done = page.form("/l/library/tags/add", **{**good, **wrong})
        assert done.status == 400
        assert 'role="alert"' in done.text
        assert "tmp" not in re.search(r'role="alert">(.*?)<', done.text).group(1)
        assert "It moves by hand." in done.text
    sha = queries.photos(library, "D-17")[0].sha
    given = {"photo": sha, "tag": "loose-handrail", "value": "present"}
    assert page.json("/l/library/answer", given).status == 200


def test_issued_report_is_checked_and_a_changed_one_named(page, running, library):
    sha = queries.photos(library, "D-17")[0].sha
    page.json("/l/library/answer", {"photo": sha, "tag": "missing-hanger", "value": "absent"})
    before = page.get("/l/library/work/ready").text
    assert re.search(r"Core questions that nobody has answered: <strong>\d", before)
    assert "from=ready" in before, "each leads to where it is mended, and back"
    answer_everything(library)
    assert "Nothing is left" in page.get("/l/library/work/ready").text
    said = {"signer": "ann", "scope": "all decks", "limits": "none", "weather": "dry"}
    job = start(page, running, "report", issue="1", **said)
    answered = page.ask("GET", job.told.where)
    text = answered.text
    shown = page.get("/l/library/work").text
    number = queries.statements(library, "issued")[0].payload["number"]
    assert re.search(rf"Report {number}, issued \d{{4}}-\d\d-\d\d by <bdi>ann</bdi>", shown)
    assert shown.index("Open the report") < shown.index("Ready to issue?") < shown.index("Write the report")
    script = re.search(r"script-src ('sha256-[^']+')", answered.headers["content-security-policy"])[1]
    assert f"script-src {script}" in text, "the one script that may run is the one in the report"
    told = send(page, "report", "report.html", text)
    assert told.status == 200, told.text
    assert told.json["told"] == "Every sentence of this report is as the library has it."
    told = send(page, "report", "report.html", text.replace("D-17", "D-71")).json
    assert told["count"] > 0
    assert "not as the library has it" in told["told"]


@pytest.mark.browser
def test_list_is_taken_in_by_mouse(visitor, library, tmp_path):
    path = tmp_path / "labels.csv"
    path.write_text(
        "photo,deck,tag,value\nIMG_0410.jpg,D-17,missing-hanger,present\nnone.jpg,D-17,missing-hanger,present\n"
    )
    page = visitor.go("/l/library/files")
    page.set_input_files("#sheet", path)
    page.click("text=Take it in")
    expect(page.locator("#came")).to_contain_text("2 rows: 1 new, 0 known, 1 set aside.")
    expect(page.locator("#came li")).to_contain_text("Row 3")
    assert visitor.axe() == []
    assert len(queries.labels(library)) == 1
    with page.expect_download() as got:
        page.locator("a.button", has_text="Labels").click()
    assert got.value.suggested_filename == "labels.csv"


def test_backup_becomes_a_library_again_and_nothing_else_does(page, running, library, tmp_path):
    job = start(page, running, "backup")
    data = page.ask("GET", job.told.where).body
    before = set(tmp_path.iterdir())
    for name, body, status in (
        ("library", data, 400),
        ("../out", data, 400),
        ("again", b"no backup", 400),
        ("again", data[: len(data) // 2], 400),
    ):
        done = page.ask("POST", f"/restore?library={quote(name)}", body)
        assert done.status == status, done.text
        assert str(tmp_path) not in done.text
    assert set(tmp_path.iterdir()) == before
    done = page.ask("POST", "/restore?library=again", data)
    assert done.json == {"where": "/l/again/"}
    assert "each checked against its hash" in page.get("/l/again/").text
    with Library.open(tmp_path / "again") as again:
        assert [photo.sha for photo in queries.photos(again)] == [
            photo.sha for photo in queries.photos(library)
        ]


@pytest.mark.browser
def test_backup_is_restored_by_mouse(visitor, running, library, tmp_path):
    from triage.library.backup import backup

    backup(library, tmp_path / "kept.zip")
    page = visitor.go("/")
    page.click("text=From a backup")
    page.fill("#restore input[name=library]", "again")
    page.set_input_files("#restore input[type=file]", tmp_path / "kept.zip")
    page.click("text=Restore it")
    expect(page.locator(".told")).to_contain_text("Restored")
    expect(page.locator(".libname")).to_have_text("again")


def test_a_phones_sheet_comes_in_with_the_phones_author_and_what_differs_is_set_aside(page, library):
    head = "deck,visit,key,value,by,at,sheet,was\n"
    row = "D-17,2026-11-20,joist_size,{},{},2026-11-20T09:30:00-05:00,abc123,\n"
    assert send(page, "facts", "ben.csv", head + row.format("2x8", "ben")).status == 200
    fact = queries.facts(library, "D-17")["joist_size"]
    assert (fact.value, fact.by, fact.visit) == ("2x8", "ben", "2026-11-20")
    second = send(page, "facts", "cy.csv", head + row.format("2x10", "cy"))
    assert queries.facts(library, "D-17")["joist_size"].value == "2x8"
    assert "2x8 by ben" in second.text


@pytest.mark.parametrize("name", ["site-sheet.html", "site-sheet.csv", "site-sheet-print.html"])
def test_the_site_sheet_is_given_out(page, name):
    given = page.get(f"/l/library/files/{name}")
    assert given.status == 200
    assert "D-17" in given.text
    assert "height_above_grade_ft" in given.text or "How high is the walking surface" in given.text


def test_what_another_library_removed_is_removed_here_only_when_accepted(page, running, library, tmp_path):
    from triage.exchange import merge_libraries
    from triage.ingest.moving import forget
    from triage.library import Library

    with Library.create(tmp_path / "other") as other:
        merge_libraries(other, [library.path])
        forget(other, [queries.photos(other)[0]], by="ben")
    count = queries.photo_count(library)
    job = start(page, running, "merge", other="other")
    assert "Nothing was taken over yet" in job.told.lines[0]
    assert queries.photo_count(library) == count
    text = page.get("/l/library/files").text
    assert "Remove 1 photo here too" in text
    start(page, running, "merge", other="other", accept_removals="yes")
    assert queries.photo_count(library) == count - 1
