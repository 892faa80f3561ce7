"""The cache of assessments: each deck's summary, a materialized view of the event log.

`stale` marks decks that something new was recorded about, in the same transaction; `refresh` assesses those
again; `lines` reads what is kept, worst first. What is kept is what `assess_library` returns: a test compares
the two. The tables are `standing` and `standing_summary`.
"""
