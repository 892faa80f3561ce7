"""The label room."""
