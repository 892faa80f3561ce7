"""What differs between Linux, macOS and Windows: the one place that knows, each with its fallback.

Modules that exist on one system only (`resource`, `fcntl`, `termios`) are imported inside the functions, so
that the package imports everywhere. `weaknesses()` says aloud what this system cannot do.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib.util
import os
import re
import signal
import stat
import sys
from collections.abc import Iterable
from pathlib import Path

RESERVED_NAMES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{kind}{number}" for kind in ("com", "lpt") for number in range(1, 10))]
)
"""Names that Windows keeps for devices, with or without an ending.

Source: Microsoft, "Naming Files, Paths, and Namespaces".
"""
MOST_NAME_BYTES = 200
"""Longest file name that is made up here: file systems allow 255 bytes, and endings are added."""
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')


def safe_file_name(name: str, taken: Iterable[str] = ()) -> str:
    """Return a file name that Windows, macOS and Linux all allow, close to the one given.

    Forbidden characters become hyphens; device names, names that end in a dot or a space, too long names and
    names that differ from one in `taken` by capitals alone get a short hash of the original, so that two
    stay two.
    """
    plain = _FORBIDDEN.sub("-", name.encode("utf-8", "replace").decode("utf-8")).rstrip(". ").lstrip(" ")
    stem, dot, ending = plain.rpartition(".")
    stem, ending = (stem, dot + ending) if stem and len(ending) <= 10 else (plain, "")
    crowded = plain.casefold() in {one.casefold() for one in taken}
    reserved = plain.split(".")[0].strip().casefold() in RESERVED_NAMES
    if plain == name and not crowded and not reserved and len(plain.encode()) <= MOST_NAME_BYTES and plain:
        return plain
    mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    room = MOST_NAME_BYTES - len(ending.encode()) - len(mark) - 1
    short = stem.encode()[: max(room, 0)].decode("utf-8", "ignore").rstrip(". ")
    return f"{short}-{mark}{ending}" if short and not reserved else f"file-{mark}{ending}"


def is_own_file(path: Path) -> bool:
    """Tell whether a file belongs to the user of this process; where files have no owner's number, yes."""
    return not hasattr(os, "getuid") or path.stat().st_uid == os.getuid()


def protect_original(path: Path) -> None:
    """Make an original read-only, so that nothing changes it by accident."""
    path.chmod(stat.S_IREAD if os.name == "nt" else path.stat().st_mode & 0o444)


def remove_file(path: Path) -> None:
    """Delete a file if it is there, also a read-only one where the system refuses that (Windows)."""
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        if os.name != "nt" or not path.exists():
            raise
        path.chmod(stat.S_IWRITE)
        path.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk; Windows opens no folders and does this by itself on NTFS."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def limit_memory(most_bytes: int) -> bool:
    """Limit what this process may allocate; return whether the system can."""
    if importlib.util.find_spec("resource") is None:
        return False
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    most = most_bytes if hard == resource.RLIM_INFINITY else min(hard, most_bytes)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))
    return True


def die_with_parent() -> None:
    """Ask the kernel to end this worker when its parent ends (Linux; elsewhere the closed pipe ends it)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None, use_errno=True).prctl(1, signal.SIGKILL)


def process_is_alive(pid: int) -> bool:
    """Tell whether a process of this number runs.

    Signal 0 asks on Linux and macOS; on Windows any signal would end the process, so its handle is asked.
    """
    if pid <= 0:
        return False
    if os.name == "nt":
        return _windows_process_is_alive(pid)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _windows_process_is_alive(pid: int) -> bool:
    query_limited_information, still_active = 0x1000, 259
    kernel32 = getattr(ctypes, "windll").kernel32  # noqa: B009 - there is none for the type checker on Linux
    handle = kernel32.OpenProcess(query_limited_information, False, pid)
    if not handle:
        return False
    try:
        code = ctypes.c_ulong()
        return bool(kernel32.GetExitCodeProcess(handle, ctypes.byref(code)) and code.value == still_active)
    finally:
        kernel32.CloseHandle(handle)


def has_unix_terminal() -> bool:
    """Tell whether the terminal can be asked what it draws (`termios`)."""
    return all(importlib.util.find_spec(name) is not None for name in ("termios", "fcntl", "tty"))


def make_output_safe() -> None:
    """Let no character end a command: what a console's code page (cp1252) lacks is written escaped."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None and (stream.encoding or "").lower().replace("-", "") != "utf8":
            reconfigure(errors="backslashreplace")


def weaknesses() -> list[str]:
    """Return what this system cannot do, in sentences for a person."""
    said = []
    if importlib.util.find_spec("resource") is None:
        said.append("Workers have no memory limit on this system; a damaged photo can use more memory.")
    if os.name == "nt" or not hasattr(os, "getuid"):
        said.append(
            "Files have no owner's number on this system: keep libraries in a folder that only you can open."
        )
    return said
