"""The assess room."""
