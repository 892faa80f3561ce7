"""A library whose words stand in a PostgreSQL database, on a real server."""

import os
import secrets
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import postgres
import pytest
from sqlalchemy import create_engine, inspect, make_url, select, text

from triage.assess.cache.refresh import bring_up
from triage.errors import BadInput, NoLibrary, TriageError
from triage.ingest import ingest
from triage.library import EventDraft, Library, queries
from triage.library.backup import backup, restore
from triage.library.copying import copy_database
from triage.library.tables import FOLDS, FORMAT_VERSION, metadata
from triage.library.verify import verify

VARIABLE = "DECK_TRIAGE_DATABASE"
SHA = "a" * 64


@pytest.fixture(scope="module")
def server():
    missing = None
    if postgres.programs() is None:
        missing = "no PostgreSQL server is installed (apt: postgresql)"
    else:
        try:
            import psycopg  # noqa: F401
        except ImportError:
            missing = "the PostgreSQL driver is not installed (pip: deck-triage[postgres])"
    if missing:
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with postgres.server(postgres.programs()) as address:
        yield address


@pytest.fixture
def address(server, monkeypatch):
    """A fresh database of the server, named in the environment."""
    name = f"t{secrets.token_hex(6)}"
    engine = create_engine(
        make_url(server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT"
    )
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    url = make_url(server).set(database=name).render_as_string(hide_password=False)
    monkeypatch.setenv(VARIABLE, url)
    return url


@pytest.fixture
def shared(address, tmp_path, card):
    with Library.create(tmp_path / "shared") as library:
        ingest(library, [card], by="ann", engine="here")
        yield library


def state(library):
    """Every row of the folded tables, comparable across databases."""
    with library.read() as connection:
        return {
            table.name: sorted(
                (tuple(row) for row in connection.execute(table.select())), key=lambda row: row[0]
            )
            for table in FOLDS
        }


def speak(library):
    sha = queries.photos(library, "D-17")[0].sha
    for by, value in (("ann", "absent"), ("ben", "present")):
        said = {"photo": sha, "tag": "missing-hanger", "value": value, "boxes": [[0.1, 0.2, 0.3, 0.4]]}
        library.say("label", said, by=by, private={"note": f"é ☂ {by}"})
    library.say(
        "settled",
        {"photo": sha, "tag": "missing-hanger", "value": "present"},
        by="cy",
        private={"why": "looked"},
    )
    for size in ("2x6", "2x8"):
        library.say("fact", {"deck": "D-17", "key": "joist_size", "value": size}, by="ann")
    library.undo("ann")
    return sha


def test_words_are_kept_folded_undone_and_found(shared):
    assert shared.engine.dialect.name == "postgresql"
    sha = speak(shared)
    word = queries.words(shared)[sha, "missing-hanger"]
    assert (word.value, word.settled) == ("present", True)
    assert {one.note for one in word.labels} == {"é ☂ ann", "é ☂ ben"}
    assert word.labels[0].boxes == ((0.1, 0.2, 0.3, 0.4),)
    assert queries.facts(shared, "D-17")["joist_size"].value == "2x6"
    assert (
        queries.find_photo(shared, "D-17/IMG_0410.jpg").sha == queries.find_photo(shared, sha[:8]).sha == sha
    )
    before = state(shared)
    shared.rebuild()
    assert state(shared) == before


def test_the_same_words_give_the_same_state_as_in_a_file(shared, tmp_path, monkeypatch):
    speak(shared)
    backup(shared, tmp_path / "b.zip")
    monkeypatch.delenv(VARIABLE)
    restore(tmp_path / "b.zip", tmp_path / "alone")
    with Library.open(tmp_path / "alone") as alone:
        assert alone.engine.dialect.name == "sqlite"
        assert list(alone.events()) == list(shared.events())
        assert state(alone) == state(shared)
        assert [alone.original(p.sha).read_bytes() for p in queries.photos(alone)] == [
            shared.original(p.sha).read_bytes() for p in queries.photos(shared)
        ]
        assert (verify(alone).damaged, verify(alone).missing) == ([], [])
        alone.say("fact", {"deck": "D-17", "key": "attached", "value": True}, by="ann")
        assert len(alone.head()) == 2  # a copy goes on with a chain of its own


def test_verify_finds_a_changed_row_and_mends_the_folds(shared):
    speak(shared)
    assert verify(shared).damaged == []
    with shared.engine.begin() as connection:
        connection.execute(text('DELETE FROM "placing"'))
    assert any("event log do not match" in one for one in verify(shared).damaged)
    assert verify(shared, mend=True).mended
    assert verify(shared).damaged == []
    with shared.engine.begin() as connection:
        connection.execute(text("UPDATE event SET payload = replace(payload, '2x6', '2x4')"))
    assert any("content was changed" in one for one in verify(shared).damaged)


def test_many_writers_at_once_make_one_whole_chain(shared):
    def write(number):
        with Library.open(shared.path) as mine:
            for step in range(20):
                mine.say_many(
                    [
                        EventDraft("label", {"photo": SHA, "tag": f"t{number}", "value": value}, f"p{number}")
                        for value in ("present", "absent")
                    ]
                )
                if step % 5 == 4:
                    mine.undo(f"p{number}")

    before = queries.event_count(shared)
    with ThreadPoolExecutor(5) as pool:
        list(pool.map(write, range(5)))
    assert queries.log_faults(shared) == []
    assert queries.event_count(shared) == before + 5 * (20 * 2 + 4)
    assert len(shared.head()) == 1
    now = state(shared)
    shared.rebuild()
    assert state(shared) == now


def test_a_backup_while_others_write_is_of_one_moment(shared, tmp_path, monkeypatch):
    writer = """
import sys
from pathlib import Path
from triage.library import Library
with Library.open(Path(sys.argv[1])) as library:
    for number in range(100_000):
        said = {"photo": "a" * 64, "tag": f"t{number % 7}", "value": "present"}
        library.say("label", said, by="eve")
        print(number, flush=True)
"""
    process = subprocess.Popen(
        [sys.executable, "-c", writer, str(shared.path)], stdout=subprocess.PIPE, text=True
    )
    try:
        for _ in range(20):
            process.stdout.readline()
        for number in range(3):
            backup(shared, tmp_path / f"{number}.zip")
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
    monkeypatch.delenv(VARIABLE)
    for number in range(3):
        restore(tmp_path / f"{number}.zip", tmp_path / f"again-{number}")
        with Library.open(tmp_path / f"again-{number}") as again:
            assert verify(again).damaged == []  # chain whole, folds of just these events


def test_the_password_stands_in_no_file_of_the_library(shared, address):
    password = make_url(address).password
    speak(shared)
    for file in (path for path in shared.path.rglob("*") if path.is_file()):
        assert password.encode() not in file.read_bytes(), file
    assert 'database = "shared"' in (shared.path / "library.toml").read_text()


def test_a_wrong_password_or_a_silent_server_is_said_without_the_password(shared, address, monkeypatch):
    for url in (
        make_url(address).set(password="wr0ng-w0rd"),  # noqa: S106
        make_url(address).set(port=1, password="wr0ng-w0rd"),  # noqa: S106
    ):
        monkeypatch.setenv(VARIABLE, url.render_as_string(hide_password=False))
        with pytest.raises(TriageError, match="shared database does not answer") as caught:
            Library.open(shared.path)
        assert "wr0ng-w0rd" not in str(caught.value) + caught.value.hint


def test_an_address_that_cannot_be_read_is_said(shared, monkeypatch):
    monkeypatch.setenv(VARIABLE, "no address")
    with pytest.raises(TriageError, match="cannot be read"):
        Library.open(shared.path)


def test_without_its_address_a_shared_library_does_not_open(shared, monkeypatch):
    monkeypatch.delenv(VARIABLE)
    with pytest.raises(NoLibrary, match="keeps its data in a shared database") as caught:
        Library.open(shared.path)
    assert VARIABLE in caught.value.hint


def test_a_second_folder_joins_the_same_words(shared, tmp_path):
    speak(shared)
    with Library.create(tmp_path / "second") as second:
        assert second.id == shared.id
        assert queries.words(second) == queries.words(shared)


def test_a_shared_database_of_the_format_before_is_brought_up_with_a_copy(shared, tmp_path):
    """No shared library of format 1 was ever made in earnest; its indexes are put back by hand here."""
    speak(shared)
    engine = shared.engine
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE standing, standing_summary"))
        for name in ("event_hash", "event_act", "label_tag", "statement_deck", "suggestion_rank"):
            connection.execute(text(f"DROP INDEX {name}"))
        connection.execute(text("CREATE INDEX label_tag ON label (current, tag)"))
        connection.execute(text("UPDATE meta SET value = '1' WHERE key = 'format'"))
    events = list(shared.events())
    with Library.open(shared.path) as library:
        assert (library.brought.before, library.brought.after) == (1, FORMAT_VERSION)
        assert list(library.events()) == events
        copy = create_engine(f"sqlite:///{library.brought.copy}")
        with copy.connect() as connection:
            count = connection.execute(text("SELECT count(*) FROM event")).scalar()
            assert count == len(events)
        copy.dispose()
        with library.read() as connection:
            for table in metadata.sorted_tables:
                found = {
                    index["name"]: index["column_names"]
                    for index in inspect(connection).get_indexes(table.name)
                }
                assert found == {index.name: [c.name for c in index.columns] for index in table.indexes}
    with Library.open(shared.path) as library:
        assert library.brought is None


def test_tables_of_any_format_are_copied_as_they_are_found(shared, tmp_path):
    """A format to come is not known by its tables here, but by what the database tells of them."""
    speak(shared)
    assert bring_up(shared) == len(queries.decks(shared)) > 0
    copy_database(shared.engine, tmp_path / "copy.sqlite", older=True)
    copy = create_engine(f"sqlite:///{tmp_path / 'copy.sqlite'}")
    with copy.connect() as connection, shared.read() as there:
        for table in metadata.sorted_tables:
            rows, copied = (
                sorted(map(repr, one.execute(select(table)).all())) for one in (there, connection)
            )
            assert [row for row in copied if "'place'" not in row] == rows
    copy.dispose()


def test_a_text_that_postgresql_cannot_keep_is_refused_everywhere(shared):
    with pytest.raises(BadInput, match="NUL"):
        shared.say("finding", {"deck": "D-17", "tier": "watch"}, by="ann", private={"text": "a\0b"})
    assert queries.findings(shared, "D-17") == []


def test_the_commands_work_on_a_shared_database(shared):
    command = str(Path(sys.executable).parent / "deck-triage")
    for words in (["status"], ["decks"], ["photos"], ["assess"], ["verify"], ["label", "log"]):
        done = subprocess.run(
            [command, *words, "--json", "-L", str(shared.path)], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, (words, done.stderr)


def test_no_table_of_the_server_holds_what_was_removed_for_good(shared):
    """The server's own log of writes is for the people who run it; its tables and indexes are searched."""
    from triage.ingest.moving import forget
    from triage.label.rows import give_labels

    photo = queries.photos(shared, "D-17")[0]
    told = {"place": "PLANTED-PLACE at the house", "note": "PLANTED-NOTE of the owner"}
    give_labels(shared, [(photo, {"missing-hanger": "present"})], by="ann", **told)
    bring_up(shared)
    assert planted_in(shared.engine) != []
    forget(shared, [photo], by="ann")
    assert planted_in(shared.engine) == []


def planted_in(engine) -> list[str]:
    """Return the files of the server's tables in which a planted text stands."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("CHECKPOINT"))
        folder = Path(connection.execute(text("SHOW data_directory")).scalar_one())
        number = connection.execute(
            text("SELECT oid FROM pg_database WHERE datname = current_database()")
        ).scalar_one()
    files = [path for path in (folder / "base" / str(number)).iterdir() if path.is_file()]
    return [path.name for path in files if b"PLANTED-" in path.read_bytes()]
