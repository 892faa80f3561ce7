"""The library room."""
