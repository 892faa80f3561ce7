"""An issued report has its evidence, and a numbered file its event, whatever breaks."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from common import answer_everything
from killing import killed_at_every_step
from long_runs import cases

from triage.errors import Damaged, NotWritten
from triage.imaging.kept import rendition_of
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.report import Issue, write_report

COMMAND = str(Path(sys.executable).parent / "deck-triage")
ISSUE = Issue("Ann", "visual", "none", "dry")
MISSING = "cannot be shown"


@pytest.fixture
def cited(library):
    """A library in which a report cites one photo of each deck."""
    for deck in ("D-17", "D-18"):
        give_labels(library, [(queries.photos(library, deck)[0], {"missing-hanger": "present"})], by="ann")
    answer_everything(library)
    for photo in queries.photos(library):
        rendition_of(library, photo.sha)
    return library


def issue(library, out):
    from triage.assess import assess_library

    return write_report(library, assess_library(library), out, issue=ISSUE)


def test_pictures_that_were_cut_to_nothing_are_made_again(cited, tmp_path):
    for photo in queries.photos(cited):
        cited.renditions.path(photo.sha).write_bytes(b"")
    cited.close()
    words = ["report", "--issue", "--signer", "Ann", "--scope", "all", "--limits", "none", "--weather", "dry"]
    done = subprocess.run(
        [COMMAND, *words, "--out", str(tmp_path / "out"), "-L", str(cited.path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "report.html").read_text()
    assert MISSING not in page
    assert page.count("data:image/jpeg") >= 2


def test_a_picture_that_was_exchanged_is_not_printed(cited, tmp_path):
    """A cached picture is not evidence: an issued report shows what the original shows."""
    first, other = queries.photos(cited, "D-17")[:2]
    cited.renditions.path(first.sha).write_bytes(cited.renditions.path(other.sha).read_bytes())
    issue(cited, tmp_path / "out")
    changed = (tmp_path / "out" / "report.html").read_text()
    assert cited.renditions.get(first.sha) != cited.renditions.get(other.sha)
    issue(cited, tmp_path / "again")
    again = (tmp_path / "again" / "report.html").read_text()
    assert sorted(pictures(changed)) == sorted(pictures(again))


def pictures(page: str) -> list[str]:
    return [part.split('"')[0] for part in page.split("data:image/jpeg;base64,")[1:]]


@pytest.mark.parametrize("how", ["missing", "changed"])
def test_no_report_is_issued_without_the_original_that_it_cites(cited, tmp_path, how):
    photo = queries.photos(cited, "D-17")[0]
    original = cited.original(photo.sha)
    original.chmod(0o600)
    original.unlink() if how == "missing" else original.write_bytes(b"\xff\xd8 other \xff\xd9")
    with pytest.raises(Damaged, match="nothing was issued") as caught:
        issue(cited, tmp_path / "out")
    assert photo.path_name in str(caught.value)
    assert queries.statements(cited, "issued") == []
    assert not list(tmp_path.glob("out/*"))


def test_an_issue_that_cannot_be_written_is_written_again(cited, tmp_path, monkeypatch):
    from triage.report import issuing

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(issuing, "write_pack", full)
    with pytest.raises(NotWritten, match="is issued, but its files could not be written") as caught:
        issue(cited, tmp_path / "out")
    monkeypatch.undo()
    (event,) = queries.statements(cited, "issued")
    number = event.payload["number"]
    assert f"report --again {number}" in caught.value.hint
    words = ["report", "--again", number, "--out", str(tmp_path / "out"), "-L", str(cited.path), "--json"]
    done = subprocess.run([COMMAND, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert len(json.loads(done.stdout)["files"]) == len(event.payload["files"]) + 1
    check = subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=tmp_path / "out", check=False)
    assert check.returncode == 0


def test_killed_while_issuing_no_numbered_file_is_without_its_event(cited, tmp_path):
    cited.close()
    written = 0
    for copy in killed_at_every_step("issue", cited.path, tmp_path / "copies", stride=cases(11, 1)):
        files = [path for path in Path(f"{copy}-out").rglob("*") if path.is_file()]
        with Library.open(copy) as library:
            issued = queries.statements(library, "issued")
        assert issued or not files, files
        written += bool(files)
    assert written
