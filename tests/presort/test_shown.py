"""What the terminal shows of a presort: the share of a tag in the batch, and that it changes nothing."""

from triage.cli.presort import SHARES, _show
from triage.library.records import Photo, Suggestion
from triage.presort.of_library import PresortResult
from triage.presort.piles import HOLDS, Standing


def presorted(prevalence):
    photo = Photo("a" * 64, "D-17", None, "one.jpg", 4, 3, 1, 10, None, None)
    said = Suggestion(photo.sha, "missing-hanger", "m" * 64, 0.1, 0.52, "likely", ())
    promise = {"missing-hanger": Standing(HOLDS), "rusted-connector": Standing(HOLDS)}
    return PresortResult("m" * 64, 1, promise, [photo], {photo.sha: [said]}, prevalence=prevalence)


def test_the_share_in_the_batch_is_shown_and_said_to_be_never_applied(capsys):
    missing, rusted = {"labelled": 0.2, "batch": 0.07}, {"labelled": 0.5, "batch": None}
    _show(presorted({"missing-hanger": missing, "rusted-connector": rusted}))
    shown = capsys.readouterr().out
    line = next(row for row in shown.splitlines() if "missing-hanger" in row)
    assert line.split()[-2:] == ["20%", "7%"]
    assert "cannot say" in next(row for row in shown.splitlines() if "rusted-connector" in row)
    assert "never applied" in SHARES
    assert SHARES in shown.replace("\n", " ")


def test_nothing_is_said_of_shares_without_a_model(capsys):
    _show(PresortResult("m" * 64, 0, {}, [], {}))
    assert "never applied" not in capsys.readouterr().out
