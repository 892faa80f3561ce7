"""The program's own log: frames and types, an id to quote, nobody's text."""

from triage.library.logs import FILE, FOLDER, MOST_BYTES, log_error


def fail_with(text):
    raise ValueError(text)


def logged(folder, text):
    try:
        fail_with(text)
    except ValueError as error:
        return log_error(folder, error, "job train")


def test_an_entry_has_an_id_the_frames_and_no_message(tmp_path):
    entry = logged(tmp_path, "12 Harbor Lane, gate code 4711")
    text = (tmp_path / FOLDER / FILE).read_text()
    assert entry in text
    assert "job train: ValueError" in text
    assert "fail_with" in text
    assert "Harbor" not in text
    assert "4711" not in text


def test_the_log_is_rotated(tmp_path):
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / FILE).write_text("x" * MOST_BYTES)
    entry = logged(tmp_path, "full")
    assert entry in (tmp_path / FOLDER / FILE).read_text()
    assert (tmp_path / FOLDER / f"{FILE}.1").stat().st_size == MOST_BYTES


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path):
    (tmp_path / FOLDER).write_text("a file where the folder should be")
    assert logged(tmp_path, "any")
    assert logged(None, "any")
