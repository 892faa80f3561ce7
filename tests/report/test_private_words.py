"""A report names nobody but its signer: not in the why of a concern, not by a phone number."""

import pytest

from triage.assess import assess_library
from triage.assess.said import add_finding
from triage.report import write_report
from triage.report.people import without_numbers


def test_who_found_something_and_whose_phone_rang_stay_out(library, tmp_path):
    add_finding(library, "D-17", tier="stop-use", text="bounces", by="Planted Finder")
    library.say(
        "warned",
        {"deck": "D-17", "told_at": "2026-05-04T10:00"},
        by="Planted Warner",
        private={"told": "Planted Told", "how": "by phone, 555 0100 99"},
    )
    files = write_report(library, assess_library(library), tmp_path / "out", per_deck=True, full=True)
    text = b"".join(path.read_bytes() for path in files)
    assert b"Seen on site by reviewer" in text
    assert b"Planted" not in text
    assert b"555 0100" not in text


@pytest.mark.parametrize(
    ("said", "written"),
    [
        ("called 555 0100 99 twice", "called (number kept private) twice"),
        ("+1 (555) 010-0123", "(number kept private)"),
        ("letter of 2026-05-04, 10:00", "letter of 2026-05-04, 10:00"),
        ("knocked at the door of 12", "knocked at the door of 12"),
    ],
)
def test_numbers_that_ring_are_left_out_and_days_stay(said, written):
    assert without_numbers(said) == written
