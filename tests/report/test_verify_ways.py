"""Each way of writing a report is checked: clean it matches, changed the change is named."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest
from common import answer_everything

from triage.assess import assess_library
from triage.library import Library
from triage.report import Issue, verify_report, write, write_report

PDF = find_spec("weasyprint") is not None
ISSUE = Issue("Ann", "visual", "no ladder", "dry")


@pytest.fixture
def lib(library: Library) -> Library:
    answer_everything(library)
    return library


@pytest.mark.parametrize("issue", [None, ISSUE], ids=["working copy", "issued"])
def test_every_file_of_a_report_matches_and_a_changed_one_is_named(
    lib: Library, tmp_path: Path, issue: Issue | None
) -> None:
    out = tmp_path / "out"
    for file in write_report(lib, assess_library(lib), out, letter=True, issue=issue):
        if file.name == "SHA256SUMS":
            continue
        assert verify_report(lib, file) == [], file.name
        if file.suffix in (".csv", ".json"):
            file.write_bytes(file.read_bytes() + b"D-99\n")
            assert verify_report(lib, file) != [], file.name


def test_a_draft_matches_too(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = write_report(library, assess_library(library), tmp_path / "out", pdf=PDF)
    # each PDF is drawn once more, then remembered for the other files' turns
    monkeypatch.setattr(write, "to_pdf", cache(write.to_pdf))
    assert [one.name for one in files if verify_report(library, one)] == []
