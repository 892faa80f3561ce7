"""The phone's sheet in a real browser: 390 px wide, no network, after a reload, with a full store."""

from __future__ import annotations

import re

import pytest

from tests.web.browsing import launched
from triage.library import Library, queries
from triage.structure.field_sheets import read_sheet
from triage.structure.phone_sheet import phone_sheet

KNOWN = {"D-1": {"joist_size": "2x8", "has_guard": True}, "D-2": {}, "D </script><b>3": {}}
SHOTS = {"D-1": ["Ledger, square on.", "Every post, head and foot."]}
PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser():
    """A real browser, one for this module."""
    with launched() as one:
        yield one


@pytest.fixture
def page_file(tmp_path):
    """The sheet as a file, as it lies on a phone."""
    path = tmp_path / "season.html"
    path.write_text(phone_sheet(KNOWN, SHOTS, "2026-11-20T08:00:00Z"), encoding="utf-8")
    return path


@pytest.fixture
def phone(browser, page_file):
    """An opened sheet without a network; asks made of the network are noted in `asked`."""
    context = browser.new_context(viewport=PHONE, offline=True, accept_downloads=True)
    page = context.new_page()
    asked, faults = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(page_file.as_uri())
    yield page
    assert faults == []
    assert {url for url in asked if not url.startswith(("file:", "blob:"))} == set()
    context.close()


def saved(page, folder):
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the file").click()
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path


def test_nothing_in_the_file_could_call_anybody(page_file):
    text = page_file.read_text()
    assert not re.search(
        r"https?:|//[a-z]+\.|fetch\(|XMLHttp|WebSocket|sendBeacon|EventSource|import\(", text
    )
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)[1]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "connect-src" not in policy
    assert "</script><b>" not in text


def test_a_script_that_came_in_later_would_not_run(browser, page_file):
    page = browser.new_page()
    page.goto(page_file.as_uri())
    ran = page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.bad = 1';"
        " document.body.append(s); return window.bad === 1 }"
    )
    page.close()
    assert ran is False


def test_typed_kept_over_a_reload_and_read_back_with_who_when_and_sheet(phone, tmp_path):
    phone.get_by_label("Your name").fill("Ben O'Hara")
    phone.get_by_label(re.compile("How high is the walking")).fill("9' 6\"")
    assert phone.locator("#r-height_above_grade_ft").inner_text() == "Read as 9.5 ft"
    phone.get_by_label(re.compile("Are there stairs")).select_option("no")
    phone.get_by_text("Ledger, square on.").click()
    phone.reload()
    assert phone.get_by_label(re.compile("How high is the walking")).input_value() == "9' 6\""
    assert phone.get_by_role("checkbox").first.is_checked()
    assert "2 answers kept" in phone.locator("#kept").inner_text()
    phone.locator("#deck").select_option("D-2")
    phone.get_by_label(re.compile("What size are the joists")).fill("2x10")
    path = saved(phone, tmp_path)
    with Library.create(tmp_path / "lib") as library:
        read = read_sheet(library, path, by=None)
        assert dict(read.told) == {
            "D-1": {"height_above_grade_ft": 9.5, "has_stairs": False},
            "D-2": {"joist_size": "2x10"},
        }
        fact = queries.facts(library, "D-1")["height_above_grade_ft"]
        assert fact.by == "Ben O'Hara"
        assert fact.visit
        assert fact.at[:10] == fact.visit
        sheets = {event.payload["sheet"] for event in library.events("fact")}
        assert len(sheets) == 1
        assert sheets.pop() in path.name


def test_what_the_phone_reads_from_a_length_is_what_the_library_reads(phone):
    from triage.structure.facts import parse_fact

    for text in ("9ft", "9' 6\"", "9'6", "9-6", "9 1/2 ft", "114 in", "9.5", "9 ft 6 in", "\u00bd ft"):
        phone.locator("#f-height_above_grade_ft").fill(text)
        shown = float(phone.locator("#r-height_above_grade_ft").inner_text().split()[2])
        assert shown == pytest.approx(parse_fact("height_above_grade_ft", text), abs=0.005), text


def test_an_impossible_height_is_said_at_once(phone):
    phone.locator("#f-height_above_grade_ft").fill("900ft")
    assert "not between 0 and 60" in phone.locator("#r-height_above_grade_ft").inner_text()


def test_it_fits_390_pixels_and_the_finger(phone):
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    small = phone.evaluate(
        "[...document.querySelectorAll('main input[type=text], main select, main button')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).map(e => e.id)"
    )
    assert small == []


def test_a_name_is_asked_for_before_anything_is_saved(phone):
    phone.locator("#f-joist_size").fill("2x8")
    phone.get_by_role("button", name="Save the file").click()
    assert "Write your name" in phone.locator("#alarm").inner_text()


def test_a_full_store_is_said_loudly_and_nothing_typed_is_lost(phone, tmp_path):
    phone.get_by_label("Your name").fill("ann")
    phone.evaluate(
        "() => { for (let size = 1 << 20; size > 0; size = size >> 1) for (let n = 0; ; n++)"
        " try { localStorage.setItem('fill' + size + '-' + n, 'x'.repeat(size)) } catch { break } }"
    )
    phone.get_by_label(re.compile("What size are the joists")).fill("2x10 " + " " * 400)
    phone.get_by_label(re.compile("How high is the walking")).fill("11ft")
    assert "storage is full" in phone.locator("#alarm").inner_text()
    text = saved(phone, tmp_path).read_text()
    assert "height_above_grade_ft,11ft,ann" in text
    phone.evaluate(
        "() => { for (const k of Object.keys(localStorage))"
        " if (k.startsWith('fill')) localStorage.removeItem(k) }"
    )
    phone.get_by_label(re.compile("How high is the walking")).fill("12ft")
    assert phone.locator("#alarm").is_hidden()
    phone.reload()
    assert phone.get_by_label(re.compile("How high is the walking")).input_value() == "12ft"


def test_two_phones_merge(browser, page_file, tmp_path):
    files = []
    for name, key, value in (("ann", "joist_size", "2x10"), ("ben", "post_size", "6x6")):
        context = browser.new_context(viewport=PHONE, offline=True, accept_downloads=True)
        page = context.new_page()
        page.goto(page_file.as_uri())
        page.locator("#who").fill(name)
        page.locator(f"#f-{key}").fill(value)
        files.append(saved(page, tmp_path))
        context.close()
    with Library.create(tmp_path / "lib") as library:
        for path in files:
            assert read_sheet(library, path, by=None).set_aside == []
        facts = queries.facts(library, "D-1")
        assert {key: (fact.value, fact.by) for key, fact in facts.items()} == {
            "joist_size": ("2x10", "ann"),
            "post_size": ("6x6", "ben"),
        }
