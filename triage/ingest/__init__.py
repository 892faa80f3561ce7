"""The ingest room."""
