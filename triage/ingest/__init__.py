"""Ingest: from folders, zips and files to photo rows, with what was set aside and why."""

from triage.ingest.ingest import IngestResult, check_visit, ingest

__all__ = ["IngestResult", "check_visit", "ingest"]
