"""Text for paper and spreadsheets: laws over any text."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.report.render import css_string
from triage.report.text import and_list, cell, clean, clock, count_of, moment, uncell

calm = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@calm
@given(st.text())
def test_clean_text_is_one_line_without_controls_and_stays_itself(text: str) -> None:
    once = clean(text)
    assert clean(once) == once
    assert not [char for char in once if unicodedata.category(char) in ("Cc", "Cs", "Zl", "Zp")]
    assert not set(once) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069\u200b\ufeff")


def test_joiners_that_scripts_need_stay() -> None:
    assert clean("می\u200cخواهم") == "می\u200cخواهم"
    assert clean("👩\u200d🔧") == "👩\u200d🔧"


@calm
@given(st.text())
def test_a_cell_is_inert_and_comes_back(text: str) -> None:
    written = cell(text)
    assert not written.startswith(("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20"))
    assert uncell(written) == clean(text)


@pytest.mark.parametrize(
    ("value", "written"), [(None, ""), (True, "true"), (3, "3"), (-2.5, "-2.5"), ("-x", "'-x"), ("", "")]
)
def test_numbers_stay_numbers(value: object, written: str) -> None:
    assert cell(value) == written


@calm
@given(st.text())
def test_a_css_string_cannot_end_itself(text: str) -> None:
    # CSS Syntax Level 3, 4.3.5: a string ends at its quotation mark or a newline; < ends the style element
    assert not set(css_string(text)) & set("\"'<>\n\r\f&{}")


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (None, "the camera gave no time"),
        ("2026-05-03T10:22:31", "camera clock 2026-05-03 10:22:31 (no zone given)"),
        ("2026-05-03T10:22:31.250+02:00", "camera clock 2026-05-03 10:22:31 (zone +02:00)"),
        ("2026-05-03T10:22:31-05:00", "camera clock 2026-05-03 10:22:31 (zone -05:00)"),
        ("2026-05-03T10:22:31Z", "camera clock 2026-05-03 10:22:31 (UTC)"),
        ("2026-05-03", "camera clock 2026-05-03"),
    ],
)
def test_the_camera_clock_is_told_as_it_was_and_no_zone_is_guessed(at: str | None, words: str) -> None:
    assert clock(at) == words


def test_small_words() -> None:
    assert moment("2026-05-04T08:00:00.123456+00:00") == "2026-05-04 08:00:00 +00:00"
    assert (and_list([]), and_list(["a"]), and_list(["a", "b", "c"])) == ("", "a", "a, b and c")
    assert (count_of(1, "photo"), count_of(0, "photo")) == ("1 photo", "0 photos")
