"""Uploads and long work: taken in as the command does, followed, stopped, gone on with after a kill."""

from __future__ import annotations

import http.client
import io
import json
import threading
import time
import zipfile

import pytest
from sqlalchemy import insert

from tests.web.browserless import Client
from triage.errors import BadInput
from triage.ingest.questions import left_out, open_questions
from triage.library import queries
from triage.library.database import writing
from triage.library.log import now
from triage.library.tables import job as job_table
from triage.web import uploads
from triage.web.jobs import JobResult, Jobs, cut_off


def wait(running, name="library", seconds=60):
    ends = time.monotonic() + seconds
    while running.site.jobs.running(name) is not None:
        assert time.monotonic() < ends, "the job did not end"
        time.sleep(0.02)
    return running.site.jobs.last(name)[0]


def send(page, files, **more):
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    for name, data in files.items():
        done = page.ask("POST", f"/l/library/add/{upload}/file?name={name}", data)
        assert done.status == 200, done.text
    done = page.json("/l/library/add/take", {"upload": upload, **more})
    assert done.status == 200, done.text
    return wait(page.running), upload


@pytest.fixture
def jpeg(photo_maker, tmp_path):
    def make(seed, **exif):
        return photo_maker(tmp_path / "made" / f"{seed}.jpg", seed=seed, exif=exif).read_bytes()

    return make


def test_dropped_folder_becomes_decks(page, library, jpeg):
    files = {"card/D-20/a.jpg": jpeg(1), "card/D-20/b.jpg": jpeg(2), "card/D-21/sub/a.jpg": jpeg(3)}
    job, upload = send(page, files)
    assert job.state == "done"
    assert "3 photos taken in" in job.told.lines[0]
    assert [photo.path_name for photo in queries.photos(library, "D-20")] == ["D-20/a.jpg", "D-20/b.jpg"]
    assert [photo.name for photo in queries.photos(library, "D-21")] == ["sub/a.jpg"]
    assert not (library.caches / "uploads" / upload).exists()
    assert {event.by for event in library.events("placed")} == {"ann"}


def test_dropped_zip_and_single_photos(page, library, jpeg):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("D-30/one.jpg", jpeg(4))
        archive.writestr("../outside.jpg", jpeg(5))
    job, _ = send(page, {"batch.zip": packed.getvalue()})
    assert [photo.deck for photo in queries.photos(library, "D-30")] == ["D-30"]
    assert any("leads out" in reason for _, reason in job.told.set_aside)
    job, _ = send(page, {"lonely.jpg": jpeg(6)}, deck="D-31", visit="2026-05-06")
    assert [(photo.path_name, photo.visit) for photo in queries.photos(library, "D-31")] == [
        ("D-31/lonely.jpg", "2026-05-06")
    ]


def test_single_photos_without_a_time_or_a_name_wait(page, library, jpeg):
    job, _ = send(page, {"lonely.jpg": jpeg(6)})
    assert job.state == "done"
    assert [photo.name for photo in queries.photos(library, "unsorted")] == ["lonely.jpg"]
    assert "1 photo without a usable capture time" in page.get("/l/library/add").text


def only_question(library):
    (question,) = open_questions(library)
    return question


def test_folder_with_the_name_of_a_deck_that_is_here_asks_first(page, library, jpeg):
    job, upload = send(page, {"D-17/new.jpg": jpeg(7), "D-17/new2.jpg": jpeg(8)})
    assert job.state == "done"
    assert not (library.caches / "uploads" / upload).exists()
    assert len(queries.photos(library, "D-17")) == 3
    question = only_question(library)
    send(page, {"D-45/other.jpg": jpeg(11)})  # the next batch, and every reload, keeps the question
    text = page.get("/l/library/add").text
    assert "is this the deck D-17 that is here already?" in text
    assert "--deck" not in text
    assert str(library.path) not in text
    assert question.id in page.get("/l/library/waiting").text
    done = page.form(
        "/l/library/add/settle", question=question.id, beside="D-17", how="same", visit="2026-05-09"
    )
    assert done.status == 303
    assert {photo.visit for photo in queries.photos(library, "D-17")} == {"2026-05-04", "2026-05-09"}
    assert open_questions(library) == []
    page.json("/l/library/undo", {})
    assert only_question(library) == question


def test_folder_of_another_house_gets_a_name_of_its_own(page, library, jpeg):
    send(page, {"card/D-17/new.jpg": jpeg(7), "card/D-44/x.jpg": jpeg(9)})
    page.form("/l/library/add/settle", question=only_question(library).id, how="other", name="D-17b")
    assert [photo.path_name for photo in queries.photos(library, "D-17b")] == ["D-17b/new.jpg"]
    assert len(queries.photos(library, "D-17")) == 3
    assert len(queries.photos(library, "D-44")) == 1


def test_a_file_that_was_set_aside_stays_listed_until_somebody_strikes_it_off(page, library, jpeg):
    send(page, {"D-46/good.jpg": jpeg(12), "D-46/half.jpg": jpeg(13)[:2000]})
    send(page, {"D-47/next.jpg": jpeg(14)})
    (left,) = left_out(library)
    text = page.get("/l/library/add").text
    assert "half.jpg" in text
    assert str(library.path) not in text
    assert page.form("/l/library/add/strike", file=left.id).status == 303
    assert left_out(library) == []
    assert "half.jpg: " not in page.get("/l/library/waiting").text


def test_path_traversal_in_an_uploaded_name_is_refused(page, library, tmp_path):
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    names = (
        "../../../evil.jpg",
        "/etc/evil.jpg",
        "a/../../evil.jpg",
        "..%2Fevil.jpg",
        "C:/evil.jpg",
        "C%3A%5Cevil.jpg",
        "%5C%5Chost%5Cevil.jpg",
        "a%00.jpg/..",
        ".hidden.jpg",
        "a/.git/b.jpg",
        "x" * 200 + ".jpg",
        "",
        "evil.exe",
        "a/b/c/d/e/f/g/h/i/j.jpg",
        "evil.jpg/",
        "evil.php%00.php",
    )
    for name in names:
        done = page.ask("POST", f"/l/library/add/{upload}/file?name={name}", b"x")
        if name != "evil.jpg/":  # a plain name once the closing stroke is gone
            assert done.status == 400, name
    folder = library.caches / "uploads" / upload / "files"
    assert [one.name for one in folder.iterdir()] == ["evil.jpg"]
    assert not list(tmp_path.rglob("evil*.exe"))
    assert not [one for one in tmp_path.rglob("evil.jpg") if "uploads" not in one.parts]


def test_unknown_upload_is_refused(page):
    for upload in ("0" * 16, "..", "x", "../../../x", "%2e%2e"):
        assert page.ask("POST", f"/l/library/add/{upload}/file?name=a.jpg", b"x").status in (400, 404, 405)
        assert page.json("/l/library/add/take", {"upload": upload}).status == 400


def test_oversized_photo_is_refused_and_leaves_nothing(page, library, monkeypatch):
    monkeypatch.setattr(uploads, "MAX_PHOTO_BYTES", 1000)
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    assert page.ask("POST", f"/l/library/add/{upload}/file?name=big.jpg", b"x" * 2000).status == 413
    assert page.ask("POST", f"/l/library/add/{upload}/file?name=small.jpg", b"x" * 900).status == 200
    names = [one.name for one in (library.caches / "uploads" / upload / "files").iterdir()]
    assert names == ["small.jpg"]


def test_upload_that_breaks_off_leaves_nothing(page, library):
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    connection = http.client.HTTPConnection("127.0.0.1", page.running.port, timeout=10)
    connection.putrequest("POST", f"/l/library/add/{upload}/file?name=half.jpg", skip_host=True)
    for name, value in {
        "Host": page.host,
        "Cookie": page.cookie,
        "Origin": page.origin,
        "Content-Length": "1000",
    }.items():
        connection.putheader(name, value)
    connection.endheaders()
    connection.send(b"x" * 500)
    connection.close()
    folder = library.caches / "uploads" / upload / "files"
    ends = time.monotonic() + 5
    while list(folder.iterdir()) and time.monotonic() < ends:
        time.sleep(0.02)
    assert list(folder.iterdir()) == []


def test_full_disk_is_said_in_a_sentence(page, monkeypatch):
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    monkeypatch.setattr(uploads, "KEEP_FREE_BYTES", 10**18)
    done = page.ask("POST", f"/l/library/add/{upload}/file?name=a.jpg", b"x")
    assert done.status == 413
    assert "disk is nearly full" in done.json["error"]


def hold(running, library):
    """Start work that goes on until it is stopped."""
    started = threading.Event()

    def work(progress, cancel):
        from triage.batch import check_cancel

        for number in range(10_000):
            progress("holding", number, 10_000)
            started.set()
            check_cancel(cancel)
            time.sleep(0.01)
        return JobResult(["never"])

    job = running.site.jobs.start("library", library, "hold", "holding", work, by="ann")
    assert started.wait(5)
    return job


def test_progress_is_followed_by_events_and_stopped(page, library):
    job = hold(page.running, page.running.site.home.library("library"))
    connection = http.client.HTTPConnection("127.0.0.1", page.running.port, timeout=10)
    connection.request(
        "GET", f"/l/library/work/events?job={job.id}", headers={"Host": page.host, "Cookie": page.cookie}
    )
    stream = connection.getresponse()
    assert stream.getheader("content-type").startswith("text/event-stream")
    first = next_event(stream)
    assert (first["state"], first["what"], first["total"]) == ("running", "holding", 10_000)
    assert "Stopping" in page.json("/l/library/work/stop", {}).json["told"]
    seen = first
    while seen["state"] == "running":
        seen = next_event(stream)
    assert seen["state"] == "stopped"
    connection.close()
    assert wait(page.running).state == "stopped"


def next_event(stream):
    while not (line := stream.readline()).startswith(b"data: "):
        assert line, "the stream ended early"
    return json.loads(line[6:])


def test_one_piece_of_work_at_a_time(page, library):
    hold(page.running, page.running.site.home.library("library"))
    done = page.form("/l/library/work/start", kind="verify")
    assert done.status == 400
    assert "busy" in done.text
    page.json("/l/library/work/stop", {})


def test_work_that_was_cut_off_is_seen_and_goes_on(page, library, jpeg):
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    page.ask("POST", f"/l/library/add/{upload}/file?name=card/D-50/a.jpg", jpeg(11))
    given = {"upload": upload, "deck": "", "visit": "", "only": ""}
    row = {
        "id": "cut",
        "kind": "add photos",
        "state": "running",
        "done": 1,
        "total": 9,
        "started_at": now(),
        "detail": {"pid": 2**22 + 1, "words": "taking in 9 files", "given": given},
    }
    with writing(library.engine) as connection:
        connection.execute(insert(job_table).values(**row))
    assert "was cut off" in page.get("/l/library/add").text
    page.form("/l/library/add/again", job="cut", how="go")
    wait(page.running)
    assert len(queries.photos(library, "D-50")) == 1
    assert cut_off(library) == []
    assert "was cut off" not in page.get("/l/library/add").text


def test_slip_in_a_job_ends_it_with_a_sentence(library):
    jobs = Jobs()

    def broken(_progress, _cancel):
        raise ZeroDivisionError("x")

    job = jobs.start("library", library, "x", "trying", broken, by="ann")
    job.thread.join(5)
    assert job.state == "failed"
    assert "failed unexpectedly (ZeroDivisionError" in job.told.lines[0]
    entry = job.told.lines[1].removesuffix(".").split()[-1]
    assert entry in (library.path / "logs" / "triage.log").read_text()

    def refused(_progress, _cancel):
        raise BadInput("There are no labels.", "Run: deck-triage label ask. Label some photos.")

    job = jobs.start("library", library, "x", "trying", refused, by="ann")
    job.thread.join(5)
    assert job.told.lines == ["There are no labels. Label some photos."]


def test_report_is_written_and_shown_with_no_script_but_the_viewer(page, library):
    page.form("/l/library/work/start", kind="report", per_deck="1")
    job = wait(page.running, seconds=120)
    assert job.state == "done", job.told.lines
    shown = page.get(job.told.where)
    assert shown.status == 200
    assert "sandbox" in shown.headers["content-security-policy"]
    policy = shown.headers["content-security-policy"]
    (scripts,) = (part.split()[1:] for part in policy.split(";") if part.strip().startswith("script-src"))
    assert len(scripts) == 1
    assert scripts[0].startswith("'sha256-")
    assert "allow-same-origin" not in policy
    table = page.get(job.told.where.replace("report.html", "decks.csv"))
    assert "attachment" in table.headers["content-disposition"]
    for away in ("../library.toml", "..%2f..%2flibrary.sqlite", "report.exe"):
        assert page.ask("GET", job.told.where.replace("report.html", away)).status == 404


def test_check_and_backup(page, library, tmp_path):
    page.form("/l/library/work/start", kind="verify")
    assert "all as they were recorded" in wait(page.running).told.lines[0]
    page.form("/l/library/work/start", kind="backup")
    job = wait(page.running)
    data = page.get(job.told.where).body
    (tmp_path / "copy.zip").write_bytes(data)
    from triage.library import Library
    from triage.library.backup import restore

    restore(tmp_path / "copy.zip", tmp_path / "restored")
    with Library.open(tmp_path / "restored") as copy:
        assert copy.head() == library.head()


def test_training_without_labels_is_refused_in_words(page):
    page.form("/l/library/work/start", kind="train")
    assert wait(page.running).state == "failed"
    assert "no labels to train on" in page.get("/l/library/work").text


def test_stranger_starts_no_work(running):
    nobody = Client(running).enter()
    assert nobody.form("/l/library/work/start", kind="verify").status == 403


def test_heap_of_photos_is_sorted_by_the_cards_in_it(page, library, tmp_path):
    from tests.slate.flat_card import card_photo, plain_photo, save_photo
    from triage.slate.card import Card, library_code

    code = library_code(library.id)
    shots = (
        card_photo(Card(code, "D-30", "2026-05-04", False)),
        plain_photo(1),
        card_photo(Card(code, "D-30", "2026-05-04", True), 2),
    )
    for number, rgb in enumerate(shots):
        save_photo(tmp_path / "heap" / f"IMG_{number}.jpg", rgb, f"2026:05:04 10:00:{20 * number:02d}")
    files = {path.name: path.read_bytes() for path in (tmp_path / "heap").iterdir()}
    upload = page.json("/l/library/add/begin", {}).json["upload"]
    for name, data in files.items():
        assert page.ask("POST", f"/l/library/add/{upload}/file?name={name}", data).status == 200
    both = {"upload": upload, "by_cards": True, "deck": "D-9"}
    assert page.json("/l/library/add/take", both).status == 400
    assert page.json("/l/library/add/take", {"upload": upload, "by_cards": True}).status == 200
    job = wait(page.running)
    assert job.state == "done", job.told.lines
    assert {photo.name for photo in queries.photos(library, "D-30")} == set(files)
