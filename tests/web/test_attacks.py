"""What the page must refuse, each test named after the attack."""

from __future__ import annotations

import contextlib
import http.client
import socket
import time

import pytest

from tests.web.browserless import Client
from triage.library import queries
from triage.web import held
from triage.web.bodies import MAX_BODY_BYTES
from triage.web.guard import POLICY


@pytest.fixture
def sha(library):
    return queries.photos(library)[0].sha


def answer_of(sha, **more):
    return {"photo": sha, "tag": "missing-hanger", "value": "present", **more}


def test_dns_rebinding_a_wrong_host_is_refused(page):
    for host in (
        "evil.example",
        f"evil.example:{page.running.port}",
        "127.0.0.1",
        f"127.0.0.1:{page.running.port + 1}",
        "",
    ):
        assert page.ask("GET", "/", headers={"Host": host}).status == 421


def test_dns_rebinding_a_missing_or_second_host_is_refused(page):
    assert page.ask("GET", "/", bare=True).status in (400, 421)
    with socket.create_connection(("127.0.0.1", page.running.port)) as wire:
        wire.sendall(f"GET / HTTP/1.1\r\nHost: {page.host}\r\nHost: evil.example\r\n\r\n".encode())
        assert b" 4" in wire.recv(100)


def test_cross_site_request_forgery_a_foreign_origin_is_refused(page, library, sha):
    before = library.head()
    for origin in ("http://evil.example", "null", f"https://{page.host}", "http://127.0.0.1:1", ""):
        headers = {"Origin": origin, "Content-Type": "application/json"}
        done = page.ask("POST", "/l/library/answer", b"{}", headers)
        assert done.status == 403, origin
    assert library.head() == before


def test_cross_site_request_forgery_without_an_origin_is_refused(page, library):
    done = page.ask("POST", "/l/library/undo", b"{}", {"Origin": None, "Content-Type": "application/json"})
    assert done.status == 403


def test_cross_site_request_forgery_by_fetch_metadata_is_refused(page):
    for site in ("cross-site", "same-site"):
        assert page.ask("GET", "/l/library/", headers={"Sec-Fetch-Site": site}).status == 403
    assert page.ask("GET", "/l/library/", headers={"Sec-Fetch-Site": "same-origin"}).status == 200
    assert page.ask("GET", "/l/library/", headers={"Sec-Fetch-Site": "none"}).status == 200


def test_a_form_of_another_site_that_pretends_to_be_json_is_refused(page, sha):
    done = page.ask("POST", "/l/library/answer", b'{"photo": "x"}', {"Content-Type": "text/plain"})
    assert done.status == 400


def test_missing_token_every_address_is_closed(running, sha):
    stranger = Client(running)
    for where in ("/", "/l/library/", f"/l/library/picture/{sha}", "/static/x/page.css", "/l/library/order"):
        assert stranger.get(where).status == 401, where
    assert stranger.form("/new", library="theirs").status == 401
    assert stranger.json("/l/library/answer", answer_of(sha)).status == 401


def test_replayed_token_lets_nobody_in_twice(running):
    url = running.url
    where = url.split(str(running.port), 1)[1]
    first, second = Client(running), Client(running)
    assert first.ask("GET", where).status == 303
    assert second.ask("GET", where).status == 401


def test_guessed_token_or_cookie_is_refused(running):
    stranger = Client(running)
    assert stranger.ask("GET", "/?token=guess").status == 401
    for cookie in (
        "x",
        "",
        "deck-triage-1=x",
        f"deck-triage-{running.port}=",
        f'deck-triage-{running.port}="\\',
    ):
        stranger.cookie = cookie
        assert stranger.get("/").status == 401


def test_stolen_cookie_by_script_or_other_site_is_prevented_by_its_flags(running):
    where = running.url.split(str(running.port), 1)[1]
    cookie = Client(running).ask("GET", where).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie


def test_leaked_token_is_not_in_any_address_afterward(running):
    where = running.url.split(str(running.port), 1)[1]
    done = Client(running).ask("GET", where)
    assert done.headers["location"] == "/"
    assert done.headers["referrer-policy"] == "same-origin"
    assert done.headers["cache-control"] == "no-store"


def test_injected_script_is_stopped_by_the_policy(page):
    for where in ("/", "/l/library/", "/l/library/deck?d=D-17", "/nothing/here"):
        done = page.get(where)
        assert done.headers["content-security-policy"] == POLICY
        assert done.headers["x-content-type-options"] == "nosniff"
        assert done.headers["x-frame-options"] == "DENY"
    assert "unsafe" not in POLICY
    assert "data:" not in POLICY


def test_no_page_needs_an_inline_script_or_style(page, sha):
    for where in (
        "/",
        "/l/library/",
        "/l/library/deck?d=D-17",
        f"/l/library/photo/{sha}",
        "/l/library/deck/summary?d=D-17",
    ):
        text = page.get(where).text
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick=" not in text
        assert text.count("<script") == text.count('<script type="module" src="/static/')


TRAVERSALS = [
    "/static/x/../app.py",
    "/static/x/..%2fapp.py",
    "/static/x/%2e%2e/guard.py",
    "/static/x/page.css/../../app.py",
    "/l/..%2f..%2fetc/",
    "/l/%2e%2e/",
    "/l/.ssh/",
    "/l/library%2f..%2flibrary/",
    "/l/library/picture/..%2f..%2flibrary.toml",
    "/l/library/picture/library.toml",
    "/l/library/thumb/" + "0" * 64,
    "/l/library/full/" + "A" * 64,
    "/l/library/photo/%00",
    "/l/card/",
    "//etc/passwd",
    "/l//deck",
    "/l/library/originals/",
]


def test_path_traversal_leads_nowhere(page):
    for where in TRAVERSALS:
        done = page.ask("GET", where)
        assert done.status in (400, 404), done.text
        assert b"format =" not in done.body
        assert b"import" not in done.body


@pytest.mark.parametrize(
    "name",
    [
        "../outside",
        "a/b",
        "..",
        ".",
        ".hidden",
        "",
        "a" * 65,
        "con",
        "a\\b",
        "a\0b",
        "~",
        "x/../y",
        "nul.txt",
        "é",
        "a..b",
        "end.",
    ],
)
def test_path_traversal_by_a_librarys_name_is_refused(page, name, tmp_path):
    before = {one.name for one in tmp_path.parent.iterdir()} | {one.name for one in tmp_path.iterdir()}
    assert page.form("/new", library=name).status == 400
    assert {one.name for one in tmp_path.parent.iterdir()} | {
        one.name for one in tmp_path.iterdir()
    } == before


def test_symbolic_link_out_of_the_home_folder_is_no_library(page, tmp_path_factory, tmp_path):
    from triage.library import Library

    elsewhere = tmp_path_factory.mktemp("elsewhere") / "secret"
    Library.create(elsewhere).close()
    (tmp_path / "linked").symlink_to(elsewhere)
    assert page.get("/l/linked/").status == 404
    assert "linked" not in page.get("/").text


def test_library_of_another_user_is_not_opened(page, tmp_path, monkeypatch):
    monkeypatch.setattr("os.getuid", lambda: 54321)
    page.running.site.home._open.clear()
    assert page.get("/l/library/").status == 404


def test_open_redirect_after_saying_a_name_stays_here(page):
    for away in (
        "//evil.example",
        "https://evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "/\tx",
        "evil",
    ):
        assert page.form("/who", name="ann", next=away).headers["location"] == "/"
    assert (
        page.form("/who", name="ann", next="/l/library/deck?d=D-17").headers["location"]
        == "/l/library/deck?d=D-17"
    )


def test_oversized_body_is_refused_before_it_is_read(page):
    headers = {"Content-Type": "application/json", "Content-Length": str(50_000_000_000)}
    connection = http.client.HTTPConnection("127.0.0.1", page.running.port, timeout=10)
    connection.putrequest("POST", "/l/library/answer", skip_host=True)
    for name, value in {
        "Host": page.host,
        "Cookie": page.cookie,
        "Origin": page.origin,
        **headers,
    }.items():
        connection.putheader(name, value)
    connection.endheaders()
    assert connection.getresponse().status == 413
    connection.close()


def test_oversized_chunked_body_that_hides_its_size_is_refused(page):
    def wire():
        for _ in range(MAX_BODY_BYTES // 65536 + 4):
            yield b"x" * 65536

    connection = http.client.HTTPConnection("127.0.0.1", page.running.port, timeout=10)
    given = {
        "Host": page.host,
        "Cookie": page.cookie,
        "Origin": page.origin,
        "Content-Type": "application/json",
    }
    with contextlib.suppress(BrokenPipeError, ConnectionResetError):
        connection.request("POST", "/l/library/answer", body=wire(), headers=given, encode_chunked=True)
    assert connection.getresponse().status == 413
    connection.close()


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"{",
        b'{"photo": NaN}',
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"photo": 7}',
        b'{"photo": {"a": 1}}',
        b'{"photo": "%s"}' % (b"a" * 64),
    ],
)
def test_malformed_json_is_refused_in_one_sentence(page, body, library):
    before = library.head()
    done = page.ask("POST", "/l/library/answer", body, {"Content-Type": "application/json"})
    assert done.status in (400, 404)
    assert done.json["error"]
    assert library.head() == before


@pytest.mark.parametrize(
    "more",
    [
        {"value": "maybe"},
        {"tag": "no-such-tag"},
        {"tag": ["x"]},
        {"boxes": [[0, 0, 2, 2]]},
        {"boxes": [[1, 2]]},
        {"boxes": "x"},
        {"boxes": [[0, 0, True, 0]]},
        {"boxes": [[0, 0, 1e999, 0]]},
        {"count": -1},
        {"count": 1.5},
        {"count": "many"},
        {"asked_by": "oracle"},
        {"place": "x" * 500},
        {"note": 7},
    ],
)
def test_malformed_answer_stores_nothing(page, library, sha, more):
    before = library.head()
    assert page.json("/l/library/answer", answer_of(sha, **more)).status == 400
    assert library.head() == before


def test_anonymous_words_are_refused(running, library, sha):
    nobody = Client(running).enter()
    before = library.head()
    done = nobody.json("/l/library/answer", answer_of(sha))
    assert done.status == 403
    assert done.json["need_name"]
    assert library.head() == before


def test_cross_site_scripting_hostile_names_are_inert(page, library, photo_maker, tmp_path):
    from triage.ingest import ingest

    hostile = '"><img src=x onerror=alert(1)> {{7*7}} <script>alert(2)<'
    folder = tmp_path / "hostile" / "x"
    photo_maker(folder / f"{hostile.replace('/', '')}.jpg", seed=9)
    ingest(library, [folder], by=hostile, deck=hostile, engine="here")
    page.name(hostile.replace("{", "[")[:80])
    sha = next(one.sha for one in queries.photos(library) if one.deck == hostile)
    assert page.json("/l/library/answer", answer_of(sha, note=hostile, place=hostile)).status == 200
    library.say(
        "fact",
        {"deck": hostile, "visit": None, "key": "species", "value": "redwood", "photos": []},
        by=hostile,
    )
    for where in (
        "/",
        "/l/library/",
        "/l/library/order",
        f"/l/library/photo/{sha}",
    ):
        text = page.get(where).text
        assert "<img src=x" not in text
        assert "<script>alert" not in text
        assert "49" not in text.replace("7*7", "") or "{{7*7}}" in text or where == "/"
    for where in ("deck", "deck/summary", "deck/history"):
        text = page.get(f"/l/library/{where}", d=hostile).text
        assert "<img src=x" not in text
        assert "<script>alert" not in text


def test_unknown_method_is_refused(page):
    for method in ("PUT", "DELETE", "TRACE", "PATCH", "OPTIONS"):
        assert page.ask(method, "/l/library/").status == 405


def test_web_socket_upgrade_opens_none(page):
    headers = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "eA==",
    }
    assert page.ask("GET", "/l/library/", headers=headers).status != 101


def test_a_thousand_silent_connections_lock_nobody_out(page):
    wires = []
    with contextlib.ExitStack() as stack:
        for _ in range(1000):
            with contextlib.suppress(OSError):
                wires.append(
                    stack.enter_context(socket.create_connection(("127.0.0.1", page.running.port), 5))
                )
        started = time.monotonic()
        assert page.get("/l/library/").status == 200
        assert time.monotonic() - started < 2
        alive = sum(1 for one in wires if is_open(one))
        assert alive <= held.MAX_CONNECTIONS
    assert page.get("/l/library/").status == 200


def is_open(wire: socket.socket) -> bool:
    wire.setblocking(False)
    try:
        return wire.recv(1) != b""
    except BlockingIOError:
        return True
    except OSError:
        return False


def test_slow_connection_that_asks_nothing_is_closed(library, tmp_path, monkeypatch):
    from triage.web.server import Running

    monkeypatch.setattr(held, "FIRST_REQUEST_S", 0.3)
    with Running(tmp_path) as running, socket.create_connection(("127.0.0.1", running.port), 5) as wire:
        wire.sendall(b"GET / HT")
        wire.settimeout(5)
        with contextlib.suppress(ConnectionResetError):
            assert wire.recv(10) == b""


def test_listens_on_loopback_only(running):
    assert running.socket.getsockname()[0] == "127.0.0.1"


def test_small_answers_do_not_wait_for_an_acknowledgement(running):
    """asyncio sets TCP_NODELAY only where the protocol is named; without it every answer took 40 ms more."""
    assert running.socket.proto == socket.IPPROTO_TCP


def test_error_pages_tell_no_path_and_no_traceback(page, library, monkeypatch):
    done = page.get("/l/library/deck", d="no such deck")
    assert done.status == 400
    assert "Traceback" not in done.text
    assert str(library.path) not in done.text


def test_connection_in_use_is_kept(library, tmp_path, monkeypatch):
    from triage.web.server import Running

    monkeypatch.setattr(held, "FIRST_REQUEST_S", 0.2)
    with Running(tmp_path) as running:
        client = Client(running).enter()
        wire = http.client.HTTPConnection("127.0.0.1", running.port, timeout=5)
        for _ in range(3):
            wire.request("GET", "/", headers={"Host": client.host, "Cookie": client.cookie})
            answer = wire.getresponse()
            assert answer.status == 200
            answer.read()
            time.sleep(0.15)
        wire.close()
