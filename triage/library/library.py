"""The library: a folder with `library.toml`, the event log and its folds, originals and caches."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, insert, select

from triage.errors import BadInput, Damaged, NoLibrary, NotWritten
from triage.library import latest, listeners, log, migrate, modes, projections, queries, removal
from triage.library.database import DATABASE_VARIABLE, open_engine, plain_errors, reading, writing
from triage.library.log import Event, EventDraft
from triage.library.migrate import LIBRARY_FILE
from triage.library.store import Originals, Renditions, write_whole
from triage.library.tables import FORMAT_VERSION, meta, metadata
from triage.platforms import is_own_file

if TYPE_CHECKING:
    from triage.domain.vocabulary import Vocabulary


class Library:
    """An open library. Use as a context manager; writes go through `say`, everything else reads."""

    def __init__(self, path: Path | None, *, engine: Any = None) -> None:
        self._path = path
        self.engine = engine if engine is not None else open_engine(path)
        self._meta: dict[str, str] | None = None
        self.brought: migrate.MigrationResult | None = None
        """What was done at opening to a library of an older format."""
        self.not_removed: str | None = None
        """Why something of a removed photo is still there, or null where all of it is gone."""

    # ---- making and opening -------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, *, group: bool = False) -> Library:
        """Make an empty library in a folder that is new or empty; only its owner may look into it.

        With `group` the people of the folder's group may read and write it too. Raises BadInput when there is
        something in the folder already.
        """
        path = Path(path)
        if path.exists() and (not path.is_dir() or any(path.iterdir())):
            what = "is a library already" if (path / LIBRARY_FILE).exists() else "is not empty"
            raise BadInput(f"{path} {what}.", "Name a folder that does not exist yet.")
        was_there = path.exists()
        try:
            path.mkdir(parents=True, exist_ok=True)
            modes.close_folder(path, group=group)
            return cls._fill(path, group=group)
        except BaseException:  # nothing half made stays: the same command can be given again
            for name in (LIBRARY_FILE, "library.sqlite", "library.sqlite-wal", "library.sqlite-shm"):
                (path / name).unlink(missing_ok=True)
            if not was_there and path.exists() and not any(path.iterdir()):
                path.rmdir()
            raise

    @classmethod
    def _fill(cls, path: Path, *, group: bool) -> Library:
        """Make the database and `library.toml` in an empty folder."""
        library = cls(path)
        library_id = log.new_id()
        with plain_errors():
            metadata.create_all(library.engine)
        if group and (path / "library.sqlite").exists():
            (path / "library.sqlite").chmod(0o660)  # SQLite makes its own file 0644 less the mask
        with writing(library.engine) as connection:
            if connection.execute(select(meta.c.value).where(meta.c.key == "format")).scalar() is None:
                rows = {"format": str(FORMAT_VERSION), "library_id": library_id, "log_id": library_id}
                connection.execute(insert(meta), [{"key": key, "value": rows[key]} for key in rows])
        text = f'format = {FORMAT_VERSION}\nid = "{library.id}"\ncreated_at = "{log.now()}"\n'
        if group:
            text += "group = true  # the folder's group may read and write\n"
        if os.environ.get(DATABASE_VARIABLE):
            text += 'database = "shared"  # its address is in the environment variable DECK_TRIAGE_DATABASE\n'
        write_whole(path / LIBRARY_FILE, text.encode())
        library.brought = migrate.bring_up(path, library.engine)  # a shared database may be older
        with writing(library.engine) as connection:
            library._own_log(connection)
        return library

    @classmethod
    def open(cls, path: Path) -> Library:
        """Open a library; one of an older format is brought up to ours, a copy of its database first.

        Raises NoLibrary, or Damaged when its format is not one of ours.
        """
        path = Path(path)
        if not (path / LIBRARY_FILE).is_file():
            raise NoLibrary(
                f"{path} is not a library: it holds no {LIBRARY_FILE}.",
                "Make one with: deck-triage new PATH, or name another with --library PATH.",
            )
        try:
            config = tomllib.loads((path / LIBRARY_FILE).read_text(encoding="utf-8"))
            version = int(config["format"])
        except (ValueError, KeyError, TypeError, OverflowError, RecursionError) as error:
            raise Damaged(f"{path / LIBRARY_FILE} cannot be read: {error}.", "Restore a backup.") from error
        migrate.check_format(version, path)
        if config.get("group") is True:
            modes.share_with_group()
        shared = config.get("database") == "shared"
        if shared and not os.environ.get(DATABASE_VARIABLE):
            raise NoLibrary(
                f"{path} keeps its data in a shared database.",
                f"Set {DATABASE_VARIABLE} to the database's URL.",
            )
        if not shared and not (path / "library.sqlite").is_file():
            raise Damaged(f"{path} has lost its database library.sqlite.", "Restore a backup of the library.")
        library = cls(path, engine=open_engine(path, shared=shared))
        library.brought = migrate.bring_up(path, library.engine)
        library.finish_removals()
        return library

    @staticmethod
    def find_upward(start: Path) -> Path | None:
        """Return the nearest folder upward that holds a library of the same user, or null."""
        for folder in (start.resolve(), *start.resolve().parents):
            file = folder / LIBRARY_FILE
            if file.is_file():
                return folder if is_own_file(file) else None
        return None

    def as_of(self, time: str) -> Library:
        """Return a read-only view of what was recorded up to a time (ISO 8601), folded in memory."""
        from triage.library.past import up_to_time, view_of

        return view_of(self, up_to_time(time))

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Library:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # ---- paths and settings -------------------------------------------------------------------

    @property
    def path(self) -> Path:
        """The library's folder."""
        if self._path is None:
            raise NoLibrary("This view of a library exists in memory only.")
        return self._path

    def _settings(self) -> dict[str, str]:
        if self._meta is None:
            with reading(self.engine) as connection:
                self._meta = {row.key: row.value for row in connection.execute(select(meta))}
        return self._meta

    @property
    def id(self) -> str:
        """The library's identifier, random, made when it was made."""
        return self._settings()["library_id"]

    @property
    def log_id(self) -> str:
        """The identifier of this library's own chain of events."""
        return self._settings()["log_id"]

    def _own_log(self, connection: Connection) -> str:
        """Return the chain to append to; a copy of a library begins one of its own at its first write.

        Two copies that went on with one chain could never be merged. A copy is known by its file
        `library.toml`, which is written once: moved it stays the same file, copied or restored it is another.
        """
        rows = {str(row.key): str(row.value) for row in connection.execute(select(meta))}
        if self._path is None or self.engine.dialect.name != "sqlite":
            return rows["log_id"]
        place = migrate.place_of(self._path / LIBRARY_FILE)
        if rows.get("place") == place:
            return rows["log_id"]
        changed = {"place": place}
        if "place" in rows:
            ended = log.heads(connection).get(rows["log_id"], {"seq": 0})["seq"]
            before = [*json.loads(rows.get("continued", "[]")), [rows["log_id"], ended]]
            changed |= {"log_id": log.new_id(), "continued": json.dumps(before)}
        for key, value in changed.items():
            connection.execute(delete(meta).where(meta.c.key == key))
            connection.execute(insert(meta).values(key=key, value=value))
        self._meta = None
        return changed.get("log_id", rows["log_id"])

    @property
    def originals(self) -> Originals:
        """The photo files as they came."""
        return Originals(self.path / "originals")

    @property
    def caches(self) -> Path:
        """A folder whose content may be deleted at any time."""
        return self.path / "cache"

    @property
    def renditions(self) -> Renditions:
        """Upright pictures for screens and reports."""
        return Renditions(self.caches / "renditions")

    @property
    def models_dir(self) -> Path:
        """The folder that holds one folder per trained model."""
        return self.path / "models"

    @property
    def own_tags(self) -> Path:
        """The firm's own vocabulary file (it may be missing)."""
        return self.path / "tags.toml"

    @property
    def own_rules(self) -> Path:
        """The firm's own rule file (it may be missing)."""
        return self.path / "rules.toml"

    @property
    def own_severity(self) -> Path:
        """The firm's own cells of the severity matrix (the file may be missing)."""
        return self.path / "severity.toml"

    @cached_property
    def _vocabulary(self) -> Vocabulary:
        from triage.domain.vocabulary import load_vocabulary

        return load_vocabulary(self.own_tags if self.own_tags.exists() else None)

    def vocabulary(self) -> Vocabulary:
        """Return the shipped tags with the library's own."""
        return self._vocabulary

    def forget_vocabulary(self) -> None:
        """Read the vocabulary again at the next call, after `tags.toml` changed."""
        self.__dict__.pop("_vocabulary", None)

    # ---- saying things --------------------------------------------------------------------------

    def finish_removals(self) -> None:
        """Delete what is still there of removed photos; where it cannot be, `not_removed` says why."""
        try:
            removal.finish(self)
            self.not_removed = None
        except (OSError, NotWritten) as error:
            self.not_removed = removal.why_not(error)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One write transaction, after what was removed is gone."""
        if self._path is not None:
            self.finish_removals()
        with writing(self.engine) as connection:
            yield connection

    def say(
        self,
        kind: str,
        payload: Mapping[str, Any],
        *,
        by: str,
        private: Mapping[str, str] | None = None,
        at: str | None = None,
    ) -> Event:
        """Append one event and fold it, in one transaction; it is on the disk when this returns."""
        return self.say_many([EventDraft(kind, payload, by, at, private or {})])[0]

    def say_many(self, said: Sequence[EventDraft], *, act: str | None = None) -> list[Event]:
        """Append events as one act (undone as a whole), all or none of them."""
        if not said:
            return []
        with self.writing() as connection:
            return self._append(connection, said, act)

    def say_after(self, decide: Callable[[Connection], Sequence[EventDraft]]) -> list[Event]:
        """Append what `decide` says after a look at the database; nobody else can write in between."""
        with self.writing() as connection:
            return self._append(connection, decide(connection))

    def _append(
        self, connection: Connection, said: Sequence[EventDraft], act: str | None = None
    ) -> list[Event]:
        """Append events to this library's own chain and fold them, inside a write transaction."""
        own = self._own_log(connection)
        events = log.append(connection, own, latest.with_replaced(connection, own, said), act)
        projections.apply(connection, events)
        if events and latest.clock_went_back(connection, events[0]) and latest.resolve_all(connection):
            listeners.all_changed(connection)
        return events

    def _chains_here(self, connection: Connection) -> list[tuple[str, int | None]]:
        """Return the chains that were written in this library, each with its last number here.

        A copy goes on with a chain of its own; what was said before it was copied was said here too.
        """
        own = self._own_log(connection)
        said = connection.execute(select(meta.c.value).where(meta.c.key == "continued")).scalar()
        return [(own, None), *((str(chain), int(last)) for chain, last in json.loads(said or "[]"))]

    def undo(self, by: str) -> list[Event]:
        """Take back a person's last act in this library that can be taken back, by adding an event.

        Returns the events that were undone. Raises BadInput when there is nothing to undo.
        """
        with self.writing() as connection:
            act = queries.last_act(connection, by, projections.UNDOABLE, self._chains_here(connection))
            if act is None:
                raise BadInput(f"There is nothing by {by} to undo.")
            self._append(connection, [EventDraft("undone", {"act": act}, by)])
            return queries.events_of_act(connection, act)

    def take_back(self, event: str, *, why: str, by: str) -> list[Event]:
        """Take back the whole act to which an event belongs, whoever said it, with a reason on record.

        `event` is the start of its hash, 8 digits or more. Returns the events that were taken back. Raises
        BadInput without a reason, and for what cannot be taken back or was already.
        """
        if not why.strip():
            raise BadInput("Taking back what somebody said needs a reason.", "Give one with --why TEXT.")
        with self.writing() as connection:
            act = queries.standing_act(connection, event, projections.UNDOABLE)
            self._append(connection, [EventDraft("undone", {"act": act}, by, None, {"why": why.strip()})])
            return queries.events_of_act(connection, act)

    # ---- reading ----------------------------------------------------------------------------------

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A consistent read of the database, for the rooms that ask in SQL."""
        with reading(self.engine) as connection:
            yield connection

    def events(self, kind: str | None = None) -> Iterator[Event]:
        """Yield events in folding order."""
        with self.read() as connection:
            yield from log.read(connection, kind=kind)

    def head(self) -> dict[str, dict[str, Any]]:
        """Return the last sequence number and hash of every chain."""
        with self.read() as connection:
            return log.heads(connection)

    def original(self, sha: str) -> Path:
        """Return the path of an original. Raises Damaged where it is missing."""
        path = self.originals.path(sha, queries.original_suffix(self, sha))
        if not path.exists():
            raise Damaged(
                f"The original of photo {sha[:12]} is missing from the library.",
                "Ingest the same file again, or restore a backup.",
            )
        return path

    @property
    def model_dir(self) -> Path:
        """The folder of the model in use. Raises BadInput when none was trained."""
        model = queries.model_in_use(self)
        if model is None:
            raise BadInput(
                "No model was trained on this library yet.", "Label some photos, then: deck-triage train"
            )
        return self.models_dir / model[:16]

    def rebuild(self) -> int:
        """Fold every event again from nothing; returns how many there were."""
        with writing(self.engine) as connection:
            return projections.rebuild(connection, log.read(connection))
