"""The cache of assessments: how every deck stands, kept beside the event log and brought up to date.

`stale` marks decks that something new was recorded about, in the same transaction; `refresh` assesses those
again; `lines` reads what is kept, worst first. What is kept is what `assess_library` returns: a test compares
the two. The tables are `standing` and `standing_summary`.
"""
