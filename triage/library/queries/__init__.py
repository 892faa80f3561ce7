"""Named queries of a library by subject; the only way in which other rooms ask its database.

Each takes a library, which is asked in a read of its own, or a connection, within that transaction:
`queries.photos(library, deck)`. What is offered stands in `__init__.pyi`; a name is imported on first use,
because the database toolkit takes a moment to load.
"""

from __future__ import annotations

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
