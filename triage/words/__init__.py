"""The words room."""
