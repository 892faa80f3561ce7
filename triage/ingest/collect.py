"""Which files are offered: folders, single files and zips, with the folders that lead to each photo.

What the folders say about the deck is read by `folders`; a photo's name is its path below the deck's folder.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import unicodedata
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from triage.errors import BadInput
from triage.ingest.folders import Says, read_folders

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".jpe", ".png", ".heic", ".heif", ".hif", ".webp", ".tif", ".tiff")
_QUIET = (".ds_store", "thumbs.db", "desktop.ini")
MAX_ZIP_FILES = 50_000
MAX_ZIP_FILE_BYTES = 500_000_000
MAX_ZIP_BYTES = 50_000_000_000
_MAX_RATIO = 200
_BAD_NAME = "its name is not valid UTF-8; rename it and ingest it again"


@dataclass(frozen=True)
class SourceFile:
    """A photo file that is offered: where it lies, deck and name it would get, where it came from, why.

    `root` is the name of the folder that was given, `parts` are the folders below it that lead to the photo.
    `deck` is empty where nothing names one.
    """

    path: Path
    deck: str
    name: str
    origin: str
    shown: str
    why: str | None = None
    root: str = ""
    parts: tuple[str, ...] = ()
    says: Says = Says.TOLD


@dataclass(frozen=True)
class SetAside:
    """A file that was not taken, with the reason."""

    file: str
    reason: str


def clean_name(text: str) -> str:
    """Return a name without control characters, in Unicode's composed form."""
    text = unicodedata.normalize("NFC", text)
    return (
        "".join(char for char in text if unicodedata.category(char) not in ("Cc", "Cf", "Cs")).strip()
        or "unnamed"
    )


def collect(paths: list[Path], deck: str | None, scratch: Path) -> Iterator[SourceFile | SetAside]:
    """Yield the photos below some paths, and what is set aside, in order of the paths.

    Zips are unpacked below `scratch`, which the caller empties. Raises BadInput for a path that is not there.
    """
    for path in paths:
        if not path.exists():
            raise BadInput(f"There is no file or folder {path}.", "Check the path.")
        where = path.absolute()
        named_by = where if path.is_dir() else where.parent
        if deck is None and not _is_text(named_by.name):
            yield SetAside(
                _show(str(path)),
                "its folder's name is not valid UTF-8; say --deck NAME, or rename the folder",
            )
        elif path.is_dir():
            yield from _folder(path, deck, str(path), None)
        elif path.suffix.lower() == ".zip":
            yield from _zip(path, deck, scratch)
        else:
            yield from _one_file(path, deck)


def _one_file(path: Path, deck: str | None) -> Iterator[SourceFile | SetAside]:
    if not _is_text(path.name):
        yield SetAside(_show(path.name), _BAD_NAME)
        return
    yield _file(path, path.parent, deck, path.name, path.parent.resolve().name, None)


def _folder(root: Path, deck: str | None, shown: str, origin: str | None) -> Iterator[SourceFile | SetAside]:
    root = root.resolve()
    unread: list[OSError] = []
    for folder, folders, files in os.walk(root, followlinks=False, onerror=unread.append):
        here = Path(folder)

        def show(name: str, here: Path = here) -> str:
            return _show(f"{shown}/{(here / name).relative_to(root).as_posix()}")

        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in [one for one in folders if not _is_text(one)]:
            yield SetAside(show(name), "the folder's name is not valid UTF-8; rename it and ingest it again")
            folders.remove(name)
        for name in [one for one in folders if (here / one).is_symlink()]:
            yield SetAside(show(name), "a link to another folder is not followed")
        for name in sorted(files):
            path = here / name
            if name.lower() in _QUIET or name.startswith("."):
                continue
            if not _is_text(name):
                yield SetAside(show(name), _BAD_NAME)
                continue
            yield _file(path, root, deck, show(name), root.name, origin)
    for error in unread:
        place = Path(error.filename).relative_to(root).as_posix()
        yield SetAside(_show(f"{shown}/{place}"), f"the folder cannot be read: {error.strerror or error}")


def _is_text(name: str) -> bool:
    """Say whether the bytes of a file's name are valid UTF-8."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return False
    return True


def _show(name: str) -> str:
    """Return a name as text, with a backslash and the number for each byte that is not UTF-8."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _file(
    path: Path, root: Path, deck: str | None, shown: str, root_name: str, origin: str | None
) -> SourceFile | SetAside:
    if path.is_symlink() and not path.resolve().is_relative_to(root.resolve()):
        return SetAside(shown, "a link that leads out of the folder is not followed")
    if not stat.S_ISREG(path.stat().st_mode):
        return SetAside(shown, "not an ordinary file")
    if path.suffix.lower() not in PHOTO_SUFFIXES:
        return SetAside(shown, _not_a_photo(path.suffix.lower()))
    parts = path.relative_to(root).parts if path.is_relative_to(root) else (path.name,)
    folders = tuple(clean_name(part) for part in parts[:-1])
    name = "/".join((*folders, clean_name(parts[-1])))
    return SourceFile(
        path,
        clean_name(deck) if deck else "",
        name,
        origin or str(root),
        shown,
        root=clean_name(root_name),
        parts=folders,
    )


def by_folders(
    items: Sequence[SourceFile], level: int | None = None, *, nothing: bool = False
) -> list[SourceFile]:
    """Return the files with the deck that their folders name, and their names below that deck's folder.

    With `level` the folder so many steps below the given one is the deck; with `nothing` no folder is.
    """
    lots = read_folders(((one.root, one.parts) for one in items), level)
    several = len({(one.origin, one.root) for one in items}) > 1
    found = []
    for one in items:
        lot = lots[one.root, one.parts]
        file = PurePosixPath(one.name).name
        if nothing or lot.says is Says.NOTHING:
            above = (one.root, *one.parts) if several else one.parts
            found.append(replace(one, deck="", says=Says.NOTHING, name="/".join((*above, file))))
            continue
        depth = len(one.parts) - len(lot.inside)
        origin = "/".join((one.origin, *one.parts[:depth])).replace("!/", "!", 1)
        name = "/".join((*lot.inside, file))
        found.append(replace(one, deck=clean_name(lot.deck), says=lot.says, name=name, origin=origin))
    return found


def _not_a_photo(suffix: str) -> str:
    if suffix in (".mp4", ".mov", ".m4v", ".avi", ".3gp", ".mkv"):
        return "a video; take still photos from it first"
    if suffix in (".zip", ".rar", ".7z", ".tar", ".gz"):
        return "an archive inside the folder; unpack it or name it by its own path"
    return f"not a photo file ({suffix or 'no ending'})"


_DRIVE = re.compile(r"^[A-Za-z]:")


def _zip(path: Path, deck: str | None, scratch: Path) -> Iterator[SourceFile | SetAside]:
    target = scratch / f"zip-{abs(hash(str(path.resolve()))):x}"
    target.mkdir(parents=True, exist_ok=True)
    try:
        with zipfile.ZipFile(path) as archive:
            yield from _unpack(archive, path, target)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        yield SetAside(str(path), f"not a zip file that can be read ({error})")
        return
    root_name = clean_name(path.stem)
    for one in _folder(target, deck, str(path), None):
        if isinstance(one, SetAside):
            yield one
            continue
        yield replace(one, root=root_name, origin=f"{path.resolve()}!")


def _unpack(archive: zipfile.ZipFile, path: Path, target: Path) -> Iterator[SetAside]:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    if len(entries) > MAX_ZIP_FILES:
        yield SetAside(str(path), f"holds {len(entries)} files, more than {MAX_ZIP_FILES}")
        return
    if sum(entry.file_size for entry in entries) > MAX_ZIP_BYTES:
        yield SetAside(str(path), "would unpack to more than 50 GB")
        return
    for entry in entries:
        shown = f"{path}/{entry.filename}"
        reason = _zip_fault(entry)
        if reason:
            yield SetAside(clean_name(shown), reason)
            continue
        place = target / PurePosixPath(entry.filename.replace("\\", "/"))
        if place.name.startswith(".") or "__MACOSX" in place.parts:
            continue
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            with archive.open(entry) as source, place.open("wb") as out:
                _copy(source, out, entry.file_size)
        except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
            place.unlink(missing_ok=True)
            yield SetAside(clean_name(shown), f"damaged inside the zip ({error})")
        except OSError as error:
            if error.errno not in (
                errno.ENAMETOOLONG,
                errno.ENOTDIR,
                errno.EISDIR,
                errno.EEXIST,
                errno.EILSEQ,
            ):
                raise
            yield SetAside(clean_name(shown), f"cannot be unpacked: {error.strerror}")


def _zip_fault(entry: zipfile.ZipInfo) -> str | None:
    name = entry.filename.replace("\\", "/")
    if name.startswith("/") or _DRIVE.match(name) or ".." in PurePosixPath(name).parts or "\0" in name:
        return "its path leads out of the zip"
    if stat.S_ISLNK(entry.external_attr >> 16):
        return "a link inside a zip is not followed"
    if entry.file_size > MAX_ZIP_FILE_BYTES:
        return "larger than 500 MB"
    if entry.file_size > 1_000_000 and entry.file_size > _MAX_RATIO * max(1, entry.compress_size):
        return "packed far tighter than any photo; not unpacked"
    return None


def _copy(source: object, out: object, most: int) -> None:
    done = 0
    while chunk := source.read(1 << 20):  # type: ignore[attr-defined]
        done += len(chunk)
        if done > most:
            raise ValueError("larger than it says")
        out.write(chunk)  # type: ignore[attr-defined]
