"""The slate room."""
