"""Ingest: from folders, zips and files to photo rows, with what was set aside and why."""

from triage.ingest.ingest import check_visit, ingest
from triage.ingest.ingest import ingest as ingest_photos
from triage.ingest.result import IngestResult

__all__ = ["IngestResult", "check_visit", "ingest", "ingest_photos"]
