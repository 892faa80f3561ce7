"""Who else on this machine may read what is written: nobody, or the group of a shared library.

The commands keep every new file from others by the process's file mode mask, which also covers what the
database, backups and reports write. A library's own folder is closed whoever makes it.
"""

from __future__ import annotations

import os
from pathlib import Path


def share_with_group() -> None:
    """Give new files and folders of this process to their group too: modes 0660 and 0770."""
    os.umask(0o007)


def close_folder(folder: Path, *, group: bool = False) -> None:
    """Close a library's folder to others; with `group` what is made in it belongs to the folder's group."""
    if group:
        share_with_group()
    folder.chmod(0o2770 if group else 0o700)
