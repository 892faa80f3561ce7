"""The imaging room."""
