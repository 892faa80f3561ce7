"""Photo-based defect triage for existing residential wood decks."""

__version__ = "0.1.0"
