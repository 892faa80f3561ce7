"""What a library's file `library.toml` says about the page: its table `[page]`."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from triage.errors import BadInput
from triage.library.migrate import LIBRARY_FILE

if TYPE_CHECKING:
    from triage.library import Library

AFTER, BEFORE = "after-answer", "before-answer"


def machine_word(library: Library) -> str:
    """Return when the machine's word is shown: 'after-answer', unless the file says 'before-answer'.

    The file says it as `machine_word = "before-answer"` in its table `[page]`. Raises BadInput for another
    word.
    """
    path = library.path / LIBRARY_FILE
    try:
        page = tomllib.loads(path.read_text(encoding="utf-8")).get("page", {})
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path.name} cannot be read: {error}.", "Mend the file or restore it.") from error
    said = page.get("machine_word", AFTER) if isinstance(page, dict) else page
    if said not in (AFTER, BEFORE):
        raise BadInput(
            f"{path.name}, [page] machine_word: {said!r} is not a way to show the machine's word.",
            f'Write "{AFTER}" or "{BEFORE}".',
        )
    return str(said)
