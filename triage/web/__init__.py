"""The page on this machine: everything the commands can do, for somebody who is no programmer.

It calls the same functions as the commands and holds no logic of its own. Loopback only.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from triage.web.server import Running

__all__ = ["start"]


def start(home: Path | None, library: Path | None, *, port: int = 0) -> Running:
    """Return a page that listens and is ready to `run`.

    `library` is a library's folder to begin with; without `home`, the folder around it holds the libraries,
    without either `~/deck-triage` does. Raises NoLibrary, or TriageError where the port is taken.
    """
    from triage.errors import WrongUsage
    from triage.library import Library
    from triage.web.server import DEFAULT_HOME, Running

    if library is None and home is None:
        library = Library.find_upward(Path.cwd())
    first = None
    if library is not None:
        library = Path(library).resolve()
        Library.open(library).close()
        first = library.name
        if home is not None and Path(home).resolve() != library.parent:
            raise WrongUsage(f"{library} does not lie right below {home}.", "Name one of the two only.")
        home = library.parent
    folder = Path(home).resolve() if home is not None else Path.home() / DEFAULT_HOME
    folder.mkdir(parents=True, exist_ok=True)
    return Running(folder, port=port, library=first)
