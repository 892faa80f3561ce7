"""Alembic revisions of the library's tables, one per format; `triage.library.migrate` runs them.

A revision's name is the format it leads to. Making one: change `tables.py`, raise `FORMAT_VERSION`, add
`versions/format_N.py` that names its tables and indexes itself (it must not follow later changes of
`tables.py`), and keep a small library of the format before in `tests/library/`.
"""
