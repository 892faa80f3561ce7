"""The words beside the photo, the panel at several sizes, and the end of the questions."""

import asyncio

import pytest
from test_labeling import shown

from triage.cli import run
from triage.domain.seeing import DEFECT_PX, PART_PX
from triage.domain.vocabulary import load_vocabulary
from triage.label.examples import example_of
from triage.label.order import questions
from triage.label.rows import give_labels
from triage.library import queries
from triage.terminal import panel
from triage.terminal.ask import AskApp
from triage.terminal.photo_widget import PhotoWidget
from triage.terminal.session import Session

NAILS = "nail-only-ledger"


@pytest.mark.parametrize(
    ("tag", "shown_px", "zoom", "small"),
    [
        (NAILS, (54, 40), 1.0, True),
        (NAILS, (DEFECT_PX, 200), 1.0, False),
        (NAILS, (54, 40), 8.0, False),
        ("shows-ledger", (PART_PX - 1, 40), 1.0, True),
        ("shows-ledger", (PART_PX, 40), 1.0, False),
        (NAILS, (0, 0), 1.0, False),
    ],
)
def test_a_photo_that_is_shown_small_says_so(tag, shown_px, zoom, small):
    assert bool(panel.small_words(tag, shown_px, zoom)) is small


@pytest.mark.parametrize("rows", range(1, 60))
def test_the_meaning_fits_into_the_rows_that_are_left_and_begins_with_the_definition(rows):
    tag = load_vocabulary().tags[NAILS]
    text = panel.meaning_text(tag, 25, rows)
    assert panel.rows_of((text.plain,), 25) <= rows
    if rows >= 6:
        assert text.plain.replace("\n", " ").startswith(tag.definition[:20])


def test_every_core_tag_has_an_example_and_a_look_alike_in_words():
    vocabulary = load_vocabulary()
    for tag in vocabulary.core:
        assert vocabulary.tags[tag].looks_alike_but_is_not
    assert example_of(vocabulary.tags[NAILS])


def test_the_panel_follows_the_size_of_the_terminal(library):
    app = AskApp(Session(library, "ann", questions(library, by="ann")), settle_s=0)

    async def look():
        async with app.run_test(size=(80, 24)) as pilot:
            await shown(app, pilot)
            await pilot.pause(0.1)
            assert app.query_one("#side").size.width < panel.NARROW
            assert "shown small" in str(app.query_one("#question").content)
            assert "In the stretch of ledger" in str(app.query_one("#meaning").content)
            assert app.query_one("#example", PhotoWidget).has_class("absent")
            await pilot.resize_terminal(160, 60)
            await pilot.pause(0.3)
            assert app.query_one("#side").size.width > panel.NARROW
            assert "Not:" in str(app.query_one("#meaning").content)
            assert not app.query_one("#example", PhotoWidget).has_class("absent")

    asyncio.run(look())
    assert queries.labels(library) == []


def test_nothing_left_to_ask_is_good_news(library, capsys):
    for photo in queries.photos(library):
        give_labels(library, [(photo, dict.fromkeys(library.vocabulary().core, "absent"))], by="ann")
    assert run(["label", "ask", "--no-elements", "--by", "ann", "-L", str(library.path)]) == 0
    told = capsys.readouterr()
    assert "ann has answered everything that would be asked." in told.out
    assert "Error" not in told.out + told.err
