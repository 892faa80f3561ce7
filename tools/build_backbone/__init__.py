"""Builds the frozen network and the cell projection that the wheel ships: see `python -m tools.build_backbone --help`."""
