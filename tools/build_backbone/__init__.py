"""Builds the frozen network and the cell projection that the wheel ships (run it with --help)."""
