"""A library of the format before opens, with a copy of it kept; a newer one is refused."""

import hashlib
import json
import sqlite3
import threading
from pathlib import Path

import pytest

from triage.errors import Damaged, TriageError
from triage.library import Library, migrate, queries
from triage.library.backup import restore
from triage.library.tables import FORMAT_VERSION, metadata
from triage.library.verify import verify

OLDER = range(1, FORMAT_VERSION)
"""Each has a `format-N.backup`, made by the program of that format itself: see `make_old_format.py`."""

SCHEMAS = {2: "4175abbb0db7a191", 3: "82f9e26dedcdf11c", 4: "73830cbe77a11b3b"}
"""Begin of the SHA-256 of columns and indexes. Changed tables need a new format, a revision, a line here."""


@pytest.fixture(params=OLDER)
def older(request, tmp_path):
    """The number of an older format, and a library of it."""
    restore(Path(__file__).with_name(f"format-{request.param}.backup"), tmp_path / "old")
    return request.param, tmp_path / "old"


@pytest.fixture
def old(older):
    return older[1]


def rows(database: Path, query: str):
    connection = sqlite3.connect(database)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def schema(database: Path):
    found = rows(database, "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'")
    return sorted((kind, name, " ".join(sql.split())) for kind, name, sql in found)


def test_a_change_of_the_tables_is_a_new_format():
    tables = [
        [
            table.name,
            [[col.name, str(col.type), bool(col.nullable), bool(col.primary_key)] for col in table.columns],
            sorted([index.name, [col.name for col in index.columns]] for index in table.indexes),
        ]
        for table in metadata.sorted_tables
    ]
    assert hashlib.sha256(json.dumps(tables).encode()).hexdigest()[:16] == SCHEMAS[FORMAT_VERSION]


def test_a_library_of_an_older_format_opens_with_all_its_words(older):
    number, old = older
    with Library.open(old) as library:
        assert library.brought.before == number
        assert library.brought.after == FORMAT_VERSION
        photos = queries.photos(library)
        assert [photo.path_name for photo in photos] == [f"D-17/IMG_041{number}.jpg" for number in range(3)]
        word = queries.words(library)[photos[0].sha, "missing-hanger"]
        assert (word.value, word.disputed, word.settled) == ("present", False, True)
        assert {one.note for one in word.labels} == {"said by ann", "said by ben"}
        assert len(queries.labels(library, tag="shows-ledger")) == 3
        assert queries.facts(library, "D-17")["joist_size"].value == "2x6"  # 2x8 was taken back
        assert [finding.text for finding in queries.findings(library, "D-17")] == ["bounces"]
        assert (verify(library).damaged, verify(library).missing) == ([], [])
        library.say("fact", {"deck": "D-17", "key": "joist_size", "value": "2x10"}, by="ann")
        assert queries.log_faults(library) == []
    with Library.open(old) as library:
        assert library.brought is None


def test_the_copy_from_before_holds_every_event_in_the_old_format(older):
    number, old = older
    before = rows(old / "library.sqlite", "SELECT * FROM event ORDER BY log_id, seq")
    old_schema = schema(old / "library.sqlite")
    with Library.open(old) as library:
        copy = library.brought.copy
        assert [event.hash for event in library.events()] == [row[-1] for row in before]
    assert rows(copy, "SELECT * FROM event ORDER BY log_id, seq") == before
    assert schema(copy) == old_schema
    assert rows(copy, "SELECT value FROM meta WHERE key = 'format'") == [(str(number),)]


def test_a_migrated_library_has_the_tables_and_indexes_of_a_new_one(old, tmp_path):
    Library.open(old).close()
    Library.create(tmp_path / "new").close()
    assert schema(old / "library.sqlite") == schema(tmp_path / "new" / "library.sqlite")
    assert f"format = {FORMAT_VERSION}" in (old / "library.toml").read_text()


def test_a_library_at_home_goes_on_with_its_own_chain(old):
    """The migration writes `library.toml` again, and still takes the library for the one it was."""
    place = migrate.place_of(old / "library.toml")
    connection = sqlite3.connect(old / "library.sqlite")
    connection.execute("UPDATE meta SET value = ? WHERE key = 'place'", (place,))
    connection.commit()
    connection.close()
    with Library.open(old) as library:
        library.say("fact", {"deck": "D-17", "key": "attached", "value": True}, by="ann")
        assert len(library.head()) == 1


def test_a_migration_that_fails_leaves_the_library_as_it_was(older, monkeypatch):
    number, old = older
    before = rows(old / "library.sqlite", "SELECT * FROM event"), schema(old / "library.sqlite")

    def broken(connection, found):
        connection.exec_driver_sql("DROP INDEX label_tag")
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(migrate, "_run", broken)
        with pytest.raises(TriageError, match=rf"format {number} .* as it was"):
            Library.open(old)
    assert (rows(old / "library.sqlite", "SELECT * FROM event"), schema(old / "library.sqlite")) == before
    with Library.open(old) as library:
        assert library.brought.before == number


def test_two_programs_that_open_an_old_library_at_once_migrate_it_once(old):
    done, faults = [], []

    def run():
        try:
            with Library.open(old) as library:
                done.append(library.brought)
        except Exception as error:
            faults.append(error)

    threads = [threading.Thread(target=run) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sum(one is not None for one in done) == 1
    assert len(list((old / "copies").iterdir())) == 1


def test_a_database_of_a_newer_format_is_refused_whatever_the_file_beside_it_says(tmp_path):
    Library.create(tmp_path / "lib").close()
    connection = sqlite3.connect(tmp_path / "lib" / "library.sqlite")
    connection.execute("UPDATE meta SET value = '99' WHERE key = 'format'")
    connection.commit()
    connection.close()
    with pytest.raises(Damaged, match="newer deck-triage .format 99, this one knows") as caught:
        Library.open(tmp_path / "lib")
    assert "Upgrade" in caught.value.hint


def test_a_database_that_does_not_say_its_format_is_damaged(tmp_path):
    Library.create(tmp_path / "lib").close()
    connection = sqlite3.connect(tmp_path / "lib" / "library.sqlite")
    connection.execute("DELETE FROM meta WHERE key = 'format'")
    connection.commit()
    connection.close()
    with pytest.raises(Damaged, match="does not say its format"):
        Library.open(tmp_path / "lib")
