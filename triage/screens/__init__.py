"""The screens room."""
