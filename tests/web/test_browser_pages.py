"""Attacks in a real browser, accessibility of every page, and going everywhere without a mouse."""

from __future__ import annotations

import http.server
import json
import threading
import time
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect

from tests.web.browsing import Visitor
from tests.web.walks import without_deck
from triage.library import queries
from triage.library.records import UNSORTED, Suggestion
from triage.library.suggestions import keep_suggestions

pytestmark = pytest.mark.browser


HOSTILE = "\"><img src=x onerror=window.pwned=1> '-alert(1)-' {{7*7}} \u202egpj.exe"


@pytest.fixture
def hostile(library, photo_maker, tmp_path):
    """A deck, a file, a tag and a note that try to be more than text."""
    from triage.ingest import ingest
    from triage.label.tags import add_tags

    (tmp_path / "own.toml").write_text(
        '[[tag]]\ntag = "evil"\nkind = "defect"\nelement = "ledger"\n'
        'definition = "</script><script>window.pwned=2</script><img src=x onerror=window.pwned=3>"\n'
    )
    add_tags(library, tmp_path / "own.toml")
    photo_maker(tmp_path / "bad" / "x" / f"{HOSTILE[:60].replace('/', '')}.jpg", seed=77)
    ingest(library, [tmp_path / "bad" / "x"], by=HOSTILE, deck=HOSTILE, engine="here")
    photo = next(one for one in queries.photos(library) if one.deck == HOSTILE.replace("\u202e", ""))
    library.say(
        "label",
        {"photo": photo.sha, "tag": "evil", "value": "present"},
        by=HOSTILE,
        private={"note": HOSTILE, "place": HOSTILE},
    )
    library.say("label", {"photo": photo.sha, "tag": "evil", "value": "absent"}, by="ben")
    finding = {"deck": photo.deck, "visit": None, "tier": "watch", "photos": [photo.sha], "how": "seen"}
    library.say("finding", finding, by=HOSTILE, private={"text": HOSTILE, "place": HOSTILE})
    return photo


def test_hostile_names_are_text_on_every_page(browser, running, hostile):
    visitor = Visitor(browser, running, HOSTILE.split("{")[0])
    for where in (
        "",
        "deck?d=",
        "deck/summary?d=",
        "deck/facts?d=",
        "deck/say?d=",
        "deck/history?d=",
        "look?tag=missing-hanger&d=",
        "deck/compare?d=",
        "repairs?d=",
        "ready?d=",
        "disputes",
        "audit",
        "files",
        "tags",
        "waiting",
        "timeline",
        "queue?order=deck&tag=evil",
        "work",
        "add",
        f"photo/{hostile.sha}?tag=evil",
    ):
        from urllib.parse import quote

        page = visitor.go("/l/library/" + where + (quote(hostile.deck) if where.endswith("d=") else ""))
        page.wait_for_timeout(60)
        assert page.evaluate("window.pwned") is None, where
        assert page.locator("img[src=x]").count() == 0, where
    visitor.go(f"/l/library/photo/{hostile.sha}?tag=evil")
    expect(visitor.page.locator("#question")).to_contain_text("onerror=window.pwned")
    visitor.close()


@contextmanager
def other_site(body: str):
    """A page of another site on this machine."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(body.encode())

        def log_message(self, *_args):
            return

    server = http.server.HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_foreign_origin_in_the_same_browser_changes_and_reads_nothing(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    sha = queries.photos(library)[0].sha
    before = library.head()
    ours = f"http://127.0.0.1:{running.port}"
    attack = f"""<iframe name=into></iframe>
      <form id=f method=post target=into action="{ours}/l/library/deck/tier">
      <input name=deck value=D-17>
      <input name=tier value=stop-use><input name=why value=evil></form>
      <img id=i src="{ours}/l/library/picture/{sha}">
      <script>
      window.found = [];
      document.getElementById('f').submit();
      const given = JSON.stringify({{photo: "{sha}", tag: "missing-hanger", value: "present"}});
      const tries = [
        fetch("{ours}/l/library/answer",
          {{method: "POST", credentials: "include", mode: "no-cors", body: given}}),
        fetch("{ours}/l/library/answer", {{method: "POST", credentials: "include", body: given,
          headers: {{"content-type": "application/json"}}}}),
        fetch("{ours}/l/library/item/{sha}", {{credentials: "include"}})
          .then((r) => r.text()).then((t) => window.found.push(t)),
      ];
      navigator.sendBeacon("{ours}/l/library/undo", "{{}}");
      Promise.allSettled(tries).then(() => {{ window.done = document.getElementById("i").naturalWidth; }});
      </script>"""
    with other_site(attack) as where:
        page = visitor.context.new_page()
        page.goto(where)
        page.wait_for_function("window.done !== undefined")
        page.wait_for_timeout(300)
        assert page.evaluate("window.found") == []
        assert page.evaluate("window.done") == 0, "a photo was shown to another site"
        page.close()
    assert library.head() == before
    visitor.context.close()


def test_page_cannot_be_framed(browser, running):
    visitor = Visitor(browser, running, "ann")
    ours = f"http://127.0.0.1:{running.port}/l/library/"
    with other_site(f'<iframe id=f src="{ours}"></iframe>') as where:
        page = visitor.context.new_page()
        page.goto(where)
        page.wait_for_timeout(500)
        assert page.frames[-1].locator("#order").count() == 0
    visitor.context.close()


@pytest.fixture
def peopled(library, monkeypatch):
    """The small library with something on every page."""
    monkeypatch.setattr("triage.presort.of_library.promise_standing", lambda _library: {})
    one, two, three = queries.photos(library, "D-17")
    library.say(
        "label",
        {"photo": one.sha, "tag": "missing-hanger", "value": "present", "boxes": [[0.2, 0.2, 0.3, 0.3]]},
        by="ann",
    )
    library.say("label", {"photo": one.sha, "tag": "missing-hanger", "value": "absent"}, by="ben")
    library.say("label", {"photo": two.sha, "tag": "shows-hanger", "value": "present"}, by="ann")
    library.say(
        "tier",
        {"deck": "D-17", "tier": "stop-use", "visit": "2026-05-04"},
        by="ann",
        private={"why": "it moves"},
    )
    library.say(
        "warned",
        {"deck": "D-17", "told_at": "2026-05-04T16:30"},
        by="ann",
        private={"told": "owner", "how": "by phone"},
    )
    library.say(
        "fact",
        {"deck": "D-17", "visit": "2026-05-04", "key": "joist_size", "value": "2x8", "photos": []},
        by="ann",
    )
    model = "m" * 64
    library.say("trained", {"model": model, "tags": {}}, by="ann")
    keep_suggestions(
        library,
        [
            Suggestion(photo.sha, "rusted-connector", model, 0.7, 0.7, "likely", ((0.5, 0.5, 0.2, 0.2),))
            for photo in (two, three)
        ],
    )
    return library


PAGES = (
    "/",
    "/l/library/",
    "/l/library/deck?d=D-17",
    "/l/library/deck/summary?d=D-17",
    "/l/library/deck/facts?d=D-17",
    "/l/library/deck/say?d=D-17",
    "/l/library/deck/history?d=D-17",
    "/l/library/look?d=D-17&tag=missing-hanger",
    "/l/library/waiting",
    "/l/library/timeline",
    "/l/library/queue",
    "/l/library/queue?order=places",
    "/l/library/disputes",
    "/l/library/model",
    "/l/library/add",
    "/l/library/work",
    "/l/library/next",
    "/l/library/unlikely?tag=missing-hanger",
    "/l/library/?q=17&only=open&sort=name",
    "/l/library/audit",
    "/l/library/files",
    "/l/library/tags",
    "/l/library/deck/compare?d=D-17",
    "/l/library/repairs",
    "/l/library/repairs?d=D-17",
    "/l/library/ready",
    "/l/library/deck?d=nothing",
)


def test_every_page_is_accessible_by_axe_and_fits_a_small_laptop(browser, running, peopled):
    visitor = Visitor(browser, running, "ann", size=(1024, 640))
    photo = queries.photos(peopled, "D-17")[0]
    found = {}
    here = f"/l/library/photo/{photo.sha}"
    for where in (*PAGES, here, f"{here}/measure", f"{here}/blackout"):
        page = visitor.go(where)
        for menu in page.locator("details:not(.menu)").all():
            menu.evaluate("menu => { menu.open = true; }")
        if faults := visitor.axe():
            found[where] = faults
        if page.evaluate("document.documentElement.scrollWidth") > 1024:
            found[where] = [*found.get(where, []), "it is wider than the screen"]
    assert found == {}, json.dumps(found, indent=1)
    visitor.context.close()


def test_every_page_fits_a_telephone(browser, running, peopled):
    visitor = Visitor(browser, running, "ann", size=(390, 844))
    photo = f"/l/library/photo/{queries.photos(peopled, 'D-17')[0].sha}"
    wide = {}
    for where in (*PAGES, photo, f"{photo}/measure", f"{photo}/blackout"):
        page = visitor.go(where)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 390:
            wide[where] = width
        if where == "/l/library/":
            page.locator("details.plan").wait_for(state="attached")
            assert page.locator("details.plan[open]").count() == 0, "the decks come first"
        if "photo" in where or "queue" in where:
            for frame in page.locator("#frame").all():
                assert frame.bounding_box()["height"] > 300, "the photo has room"
    assert wide == {}
    visitor.context.close()


def test_every_control_is_reached_by_the_tab_key(visitor, peopled):
    for where in ("/l/library/deck?d=D-17", "/l/library/look?d=D-17&tag=missing-hanger", "/l/library/queue"):
        page = visitor.go(where)
        page.wait_for_timeout(200)
        reachable = page.evaluate(
            """() => [...document.querySelectorAll(
                'button, a[href], input:not([type=hidden]), select, summary, textarea')].filter((one) =>
                one.checkVisibility() && !one.disabled && !one.closest('dialog:not([open])')).length"""
        )
        reached = page.evaluate_handle("new Set()")
        for _ in range(reachable + 12):
            page.keyboard.press("Tab")
            reached.evaluate("set => set.add(document.activeElement)")
        inside = reached.evaluate(
            """set => [...set].filter(
                (one) => one.matches('button, a[href], input, select, summary, textarea')).length"""
        )
        assert inside == reachable, where


def test_contact_sheet_without_a_mouse(visitor, library):
    page = visitor.go("/l/library/deck?d=D-17")
    page.locator(".pick input").first.focus()
    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Space")
    expect(page.locator("#chosen")).to_have_text("2 chosen.")
    page.locator("[data-part=ledger]").focus()
    page.keyboard.press("Enter")
    visitor.said("2 photos show the ledger.")
    page.locator("body").press("u")
    visitor.said("Took back 2 answers of one act.")
    assert queries.labels(library) == []


def test_chosen_photos_stay_for_a_further_part_and_the_next_click_chooses_anew(visitor, library):
    page = visitor.go("/l/library/deck?d=D-17")
    pictures = page.locator(".pick img")
    pictures.nth(0).click()
    pictures.nth(1).click(modifiers=["Shift"])
    for part in ("ledger", "hanger"):
        page.locator(f"[data-part={part}]").click()
        visitor.said(f"2 photos show the {part}.")
    pictures.nth(2).click()
    expect(page.locator("#chosen")).to_have_text("1 chosen.")
    page.locator("[data-part=beam]").click()
    visitor.said("1 photo shows the beam.")
    one, two, three = (photo.sha for photo in queries.photos(library, "D-17"))
    said = {(label.photo, label.tag) for label in queries.labels(library)}
    shown = {(sha, f"shows-{part}") for sha in (one, two) for part in ("ledger", "hanger")}
    assert said == shown | {(three, "shows-beam")}


def test_two_pages_in_one_browser_do_not_know_each_others_visitor(browser, library, tmp_path):
    """Cookies of 127.0.0.1 are shared by all ports: each page has one of its own name."""
    from triage.library import Library
    from triage.web.server import Running

    (tmp_path / "elsewhere").mkdir()
    Library.create(tmp_path / "elsewhere" / "theirs").close()
    with Running(tmp_path) as ours, Running(tmp_path / "elsewhere") as theirs:
        visitor = Visitor(browser, ours, "ann")
        other = visitor.context.new_page()
        other.goto(theirs.url)
        other.fill("main .who input[name=name]", "ben")
        with other.expect_navigation():
            other.click("main .who button")
        expect(other.locator("main")).to_contain_text("theirs")
        page = visitor.go("/l/library/deck?d=D-17")  # still let in, still ann, still our own libraries
        expect(page.locator(".speaker summary")).to_contain_text("ann")
        other.reload()
        expect(other.locator(".speaker summary")).to_contain_text("ben")
        names = {cookie["name"] for cookie in visitor.context.cookies()}
        assert names == {f"deck-triage-{ours.port}", f"deck-triage-{theirs.port}"}
        key = next(one["value"] for one in visitor.context.cookies() if one["name"].endswith(str(ours.port)))
        other.context.clear_cookies()
        other.context.add_cookies(
            [{"name": f"deck-triage-{theirs.port}", "value": key, "domain": "127.0.0.1", "path": "/"}]
        )
        refused = other.goto(f"http://127.0.0.1:{theirs.port}/")
        assert refused is not None
        assert refused.status == 401, "one page's key opens no other page"
        visitor.context.close()


def test_machines_word_is_hidden_until_the_person_decided(browser, running, peopled, monkeypatch):
    monkeypatch.setattr("triage.web.items.is_hidden", lambda *_: True)
    visitor = Visitor(browser, running, "cy")
    page = visitor.go("/l/library/queue")
    expect(page.locator("#machine")).to_contain_text("kept back on this one until you have decided")
    assert page.locator(".mark.machine").count() == 0
    page.keyboard.press("Enter")
    visitor.said("kept back on this one")
    page.keyboard.press("a")
    visitor.said("The machine had said: likely")
    ends = time.monotonic() + 5
    while (
        not (rows := [label for label in queries.labels(peopled) if label.by == "cy"])
        and time.monotonic() < ends
    ):
        time.sleep(0.05)
    assert [(row.value, row.saw_machine, row.asked_by) for row in rows] == [("absent", False, "dangerous")]
    visitor.close()


def test_enter_takes_the_machines_place(browser, running, peopled, monkeypatch):
    monkeypatch.setattr("triage.web.items.is_hidden", lambda *_: False)
    with (peopled.path / "library.toml").open("a") as file:
        file.write('\n[page]\nmachine_word = "before-answer"\n')
    visitor = Visitor(browser, running, "cy")
    page = visitor.go("/l/library/queue")
    expect(page.locator("#machine")).to_contain_text("Machine: likely")
    page.keyboard.press("Enter")
    expect(page.locator("#where")).to_contain_text("2 of 2")
    ends = time.monotonic() + 5
    while (
        not (rows := [label for label in queries.labels(peopled) if label.by == "cy"])
        and time.monotonic() < ends
    ):
        time.sleep(0.05)
    (row,) = rows
    assert (row.value, row.saw_machine, row.boxes) == ("present", True, ((0.5, 0.5, 0.2, 0.2),))
    visitor.close()


def test_next_photo_is_there_before_the_key_is_up(visitor, library):
    page = visitor.go(f"/l/library/photo/{queries.photos(library, 'D-17')[0].sha}")
    page.wait_for_load_state("networkidle")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.keyboard.down("n")
    expect(page.locator("#where")).to_contain_text("2 of 3")
    page.keyboard.up("n")
    second = queries.photos(library, "D-17")[1].sha
    assert not [one for one in asked if f"/item/{second}" in one or f"/picture/{second}" in one]


def test_long_work_is_followed_and_stopped_in_the_bar(browser, running, library):
    from tests.web.test_jobs import hold

    visitor = Visitor(browser, running, "ann")
    job = hold(running, running.site.home.library("library"))
    page = visitor.go("/l/library/")
    expect(page.locator("#job")).to_contain_text("holding")
    page.click("#job button")
    expect(page.locator("#job")).to_contain_text("stopped")
    assert job.state == "stopped"
    visitor.close()


def test_page_says_when_the_server_is_gone(browser, library, tmp_path):
    from triage.web.server import Running

    with Running(tmp_path) as running:
        visitor = Visitor(browser, running, "ann")
        page = visitor.go(f"/l/library/photo/{queries.photos(library)[0].sha}")
        page.wait_for_load_state("networkidle")
    page.keyboard.press("p")
    visitor.said("did not answer")
    visitor.context.close()


def test_closing_the_page_from_the_page(browser, library, tmp_path):
    from triage.web.server import Running

    with Running(tmp_path) as running:
        visitor = Visitor(browser, running, "ann")
        visitor.go("/")
        visitor.page.click("text=Close the page for good")
        expect(visitor.page.locator("h1", has_text="The page is closed")).to_be_visible()
        ends = time.monotonic() + 10
        while running._thread.is_alive() and time.monotonic() < ends:
            time.sleep(0.05)
        assert not running._thread.is_alive()
        visitor.context.close()


def test_another_browser_is_let_in_by_its_own_address(browser, running, library):
    visitor = Visitor(browser, running, "ann")
    visitor.go("/")
    visitor.page.click("text=Let another browser in")
    address = visitor.page.input_value("input[readonly]")
    second = browser.new_context().new_page()
    second.goto(address)
    expect(second.locator("h1")).to_have_text("Libraries")
    visitor.close()


def test_a_run_of_photos_that_wait_is_sorted_by_two_clicks(visitor, library, photo_maker, tmp_path):
    without_deck(library, photo_maker, tmp_path, count=6)
    page = visitor.go("/l/library/")
    page.click("text=Sort them >> nth=0")
    expect(page.locator(".lead")).to_contain_text("6 photos belong to no deck yet")
    assert visitor.axe() == []
    tiles = page.locator(".tile")
    tiles.nth(0).locator(".pick").click()
    tiles.nth(3).locator(".pick").click(modifiers=["Shift"])
    expect(page.locator("#chosen")).to_contain_text("4 chosen")
    page.fill("[name=to]", "D-17")
    page.fill("[name=why]", "the same stairs")
    with page.expect_navigation():
        page.click("text=Move them")
    expect(page.locator(".told")).to_contain_text("4 photos moved to D-17")
    assert len(queries.photos(library, UNSORTED)) == 2
    assert set(queries.reasons(library, "D-17").values()) == {"the same stairs"}
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    with page.expect_navigation():
        page.keyboard.press("u")
    expect(page.locator(".lead")).to_contain_text("6 photos belong to no deck yet")
