"""The jobs room."""
