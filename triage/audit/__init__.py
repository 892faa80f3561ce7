"""The audit room."""
