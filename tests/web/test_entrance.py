"""The key of the page stands on no command line: a private file leads the browser in."""

import os
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.web.browserless import Client
from triage.library import queries
from triage.web.entrance import entrance_file

COMMAND = str(Path(sys.executable).parent / "deck-triage")


@pytest.mark.browser
def test_a_browser_comes_in_by_the_private_file(browser, running):
    with entrance_file(running.site.home.folder, running.url) as file:
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        context = browser.new_context()
        window = context.new_page()
        window.goto(file.absolute().as_uri())
        window.wait_for_url(f"http://127.0.0.1:{running.port}/")
        assert "needs the address" not in window.content()
        assert "token" not in window.url
        again = context.browser.new_context().new_page()
        again.goto(file.absolute().as_uri())  # the key let one browser in
        again.wait_for_url(f"http://127.0.0.1:{running.port}/**")
        assert "was used already" in again.content()
        context.close()
    assert not file.exists()


@pytest.mark.parametrize("mode", [("navigate", "iframe"), ("no-cors", "image"), ("cors", "empty")])
def test_another_site_cannot_use_a_key_but_by_opening_the_page(running, mode):
    where = running.url.split(str(running.port), 1)[1]
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": mode[0], "Sec-Fetch-Dest": mode[1]}
    assert Client(running).ask("GET", where, headers=headers).status == 403


def test_a_page_opened_from_another_site_without_a_key_is_refused(running):
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    assert Client(running).ask("GET", "/", headers=headers).status == 403


def test_the_key_is_on_no_command_line(tmp_path):
    """`review` starts a browser that only writes down its own words."""
    spy = tmp_path / "browser"
    spy.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/words\ncat "${{1#file://}}" > {tmp_path}/page\n')
    spy.chmod(0o700)
    running = subprocess.Popen(
        [COMMAND, "review", "--home", str(tmp_path / "home")],
        env={**os.environ, "BROWSER": f"{spy} %s"},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        url = running.stdout.readline().strip()
        for _ in range(300):
            if (tmp_path / "page").exists() and "</p>" in (tmp_path / "page").read_text():
                break
            time.sleep(0.1)
    finally:
        running.terminate()
        running.communicate()
    key = url.split("token=")[1]
    words = (tmp_path / "words").read_text()
    assert words.startswith("file://")
    assert key not in words
    assert key in (tmp_path / "page").read_text()


def test_a_browser_keeps_no_photo(page, library):
    sha = queries.photos(library)[0].sha
    for kind in ("thumb", "picture", "full"):
        done = page.get(f"/l/library/{kind}/{sha}")
        assert done.status == 200
        assert done.headers["cache-control"] == "no-store"
