"""Every single mutation of a page is found, named, and placed where it stands."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

import pytest
from report_made import busy_deck, made

from triage.report.compare import compare_pages, read_page
from triage.report.source import Options
from triage.report.write import make_pack


@pytest.fixture(scope="module")
def page() -> bytes:
    one = made(busy_deck("birch-03"), busy_deck("elm-07"))
    return make_pack(one.summaries, one.source, Options())["report.html"]


def _text_spans(page: bytes) -> list[tuple[int, int]]:
    """Return the spans of words between tags, in the body."""
    start = page.index(b"<body>")
    return [m.span(1) for m in re.finditer(rb">([^<>]*[A-Za-z0-9][^<>]*)<", page) if m.start() > start]


def change_digit(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    spots = [m.start() for s, e in _text_spans(page) for m in re.finditer(rb"(?<!&#)(?<!&#3)\d", page[s:e])]
    spans = [s + m.start() for s, e in _text_spans(page) for m in re.finditer(rb"(?<![&#\d])\d", page[s:e])]
    assert spots
    at = rng.choice(spans)
    return page[:at] + str((int(page[at : at + 1]) + rng.randint(1, 9)) % 10).encode() + page[at + 1 :], at


def change_letter(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    start, end = rng.choice(_text_spans(page))
    letters = [at for at in range(start, end) if page[at : at + 1].isalpha() and b"&" not in page[start:end]]
    if not letters:
        return change_letter(page, rng)
    at = rng.choice(letters)
    other = b"q" if page[at : at + 1] != b"q" else b"z"
    return page[:at] + other + page[at + 1 :], at


def drop_word(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    start, end = rng.choice(_text_spans(page))
    words = [m for m in re.finditer(rb"\S+", page[start:end]) if b"&" not in m.group()]
    if not words:
        return drop_word(page, rng)
    word = rng.choice(words)
    return page[: start + word.start()] + page[start + word.end() :], start + word.start()


def drop_sentence(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    start, end = rng.choice(_text_spans(page))
    return page[:start] + page[end:], start


def drop_row(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    row = rng.choice(list(re.finditer(rb"<(tr|li|dd)\b.*?</\1>", page, re.S)))
    return page[: row.start()] + page[row.end() :], row.start()


def double_row(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    row = rng.choice(list(re.finditer(rb"<(tr|li|article)\b.*?</\1>", page, re.S)))
    return page[: row.end()] + row.group() + page[row.end() :], row.end()


def swap_rows(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    rows = list(re.finditer(rb"<(tr|li)\b[^>]*>.*?</\1>", page, re.S))
    pairs = [
        (a, b)
        for a, b in zip(rows, rows[1:], strict=False)
        if page[a.end() : b.start()].strip() == b"" and a.group() != b.group()
    ]
    one, two = rng.choice(pairs)
    between = page[one.end() : two.start()]
    return page[: one.start()] + two.group() + between + one.group() + page[two.end() :], one.start()


def change_picture(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    uri = rng.choice(list(re.finditer(rb"base64,([A-Za-z0-9+/]+)", page)))
    at = rng.randrange(uri.start(1), uri.end(1))
    return page[:at] + (b"A" if page[at : at + 1] != b"A" else b"B") + page[at + 1 :], at


def move_mark(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    number = rng.choice(list(re.finditer(rb' (?:x|y|cx|cy|x1|y2|width|d|points)="[^"]*?(\d)', page)))
    at = number.start(1)
    return page[:at] + str((int(page[at : at + 1]) + 3) % 10).encode() + page[at + 1 :], at


def change_class(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    name = rng.choice(list(re.finditer(rb'class="[^"]*?([a-z])"', page)))
    at = name.start(1)
    return page[:at] + (b"q" if page[at : at + 1] != b"q" else b"z") + page[at + 1 :], at


def change_style(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    sheet = re.search(rb"<style>(.*?)</style>", page, re.S)
    assert sheet is not None
    at = rng.choice([m.start() for m in re.finditer(rb"\d", sheet.group(1))]) + sheet.start(1)
    return page[:at] + str((int(page[at : at + 1]) + 1) % 10).encode() + page[at + 1 :], at


def hide_part(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    tag = rng.choice(list(re.finditer(rb"<(section|article|table|p)\b", page)))
    return page[: tag.end()] + b" hidden" + page[tag.end() :], tag.start()


def add_sentence(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    _, end = rng.choice(_text_spans(page))
    return page[:end] + b" All is well." + page[end:], end


def add_element(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    tag = rng.choice(list(re.finditer(rb"</(p|ul|table|article)>", page)))
    return page[: tag.end()] + b"<!-- x --><p>Checked.</p>" + page[tag.end() :], tag.end()


def rewrite_space(page: bytes, rng: random.Random) -> tuple[bytes, int]:
    at = rng.choice([m.start() for m in re.finditer(rb"\n", page)])
    return page[:at] + b"\n\n" + page[at + 1 :], at


MUTATIONS: tuple[Callable[[bytes, random.Random], tuple[bytes, int]], ...] = (
    change_digit,
    change_letter,
    drop_word,
    drop_sentence,
    drop_row,
    double_row,
    swap_rows,
    change_picture,
    move_mark,
    change_class,
    change_style,
    hide_part,
    add_sentence,
    add_element,
    rewrite_space,
)


def section_of(page: bytes, at: int) -> str | None:
    """Return the name of the part that a byte stands in, read off the bytes before it; none in the viewer."""
    if 0 <= page.rfind(b"<script") <= at:
        return None
    opened = [m for m in re.finditer(rb'<(?:section|header)\b[^>]*data-k="([^"]*)"', page) if m.start() <= at]
    return opened[-1].group(1).decode() if opened else None


def run(page: bytes, count: int, seed: int) -> None:
    tokens = read_page(page)
    rng = random.Random(seed)
    for number in range(count):
        mutate = MUTATIONS[number % len(MUTATIONS)]
        mutant, at = mutate(page, rng)
        assert mutant != page, mutate.__name__
        found = compare_pages(mutant, page, tokens)
        assert found, (mutate.__name__, page[at - 40 : at + 40])
        assert all(str(one) for one in found)
        part = section_of(page, at)
        if part is not None and mutate not in (rewrite_space, double_row, swap_rows):
            named = [one.where for one in found]
            assert any(part in where for where in named), (mutate.__name__, part, named[:3])


def test_a_hundred_single_mutations_are_named_where_they_stand(page: bytes) -> None:
    run(page, 8 * len(MUTATIONS), seed=11)


@pytest.mark.long
def test_a_thousand_single_mutations_are_named_where_they_stand(page: bytes) -> None:
    run(page, 1005, seed=20)


def test_an_untouched_page_has_no_difference(page: bytes) -> None:
    assert compare_pages(page, page) == []


def test_the_sentence_names_what_the_file_says_and_what_the_library_says(page: bytes) -> None:
    mutant = page.replace(b"joist 4 of 14 from the left", b"joist 5 of 14 from the left", 1)
    (one,) = compare_pages(mutant, page)
    assert "finding 2" in one.where
    assert "birch-03" in one.where
    assert "joist 5 of 14" in one.says
    assert "joist 4 of 14" in one.should


def test_a_page_that_is_no_report_at_all(page: bytes) -> None:
    for other in (b"", b"\xff\xfe\x00", b"<p>hello", b"<" * 500, b"<svg>" * 2000):
        assert compare_pages(other, page)


def test_very_many_differences_are_counted(page: bytes) -> None:
    found = compare_pages(page.replace(b"a", b"e"), page)
    assert "more than are named here" in str(found[-1])
