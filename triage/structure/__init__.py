"""The structure room."""
