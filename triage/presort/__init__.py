"""The presort room."""
